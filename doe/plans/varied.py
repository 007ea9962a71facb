"""Which factors a plan's model is built from: where settings must add up to a number, one of them follows from the others."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from doe.coding import Coding, Term
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.sums import Sum, sums


def named_terms(coding: Coding, model: str, limits: Sequence[Limit]) -> tuple[Term, ...]:
    """List the terms of a model by name, such as ``"main"``, without the factors that follow from others."""
    return coding.terms(model, compared_names(coding, (), limits))


def compared_names(coding: Coding, terms: Sequence[Term], limits: Sequence[Limit]) -> tuple[str, ...]:
    """Name the factors whose effects a plan may mix up: all but those that follow from others."""
    gone = {factor for factor, _ in following(coding, terms, limits)}
    return tuple(factor.name for factor in coding.factors if factor not in gone)


def following(coding: Coding, terms: Collection[Term], limits: Sequence[Limit]) -> list[tuple[Factor, Sum]]:
    """List the factors that follow from others, each with the rule by which it does: one of each rule that no term names."""
    named = {name for term in terms for name in term.factors}
    found: list[tuple[Factor, Sum]] = []
    for rule in sums(coding.factors, limits, coding.derived):
        taken = {factor for factor, _ in found}
        free = [part for part in (rule.rest, *rule.others) if part.name not in named and part not in taken]
        found += [(part, rule) for part in free[:1]]
    return found
