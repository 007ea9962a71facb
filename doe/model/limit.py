"""Limits on settings taken together, and quantities derived from them."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from doe.model.errors import DataError, UsageError, shown
from doe.model.expression import Expression
from doe.model.factor import Factor
from doe.model.given import check_each
from doe.model.names import check_name


@dataclass(frozen=True, slots=True)
class Limit:
    """A rule that every variant must keep.

    Attributes
    ----------
    rule : str
        A comparison over factors and derived quantities, such as ``"rings * 42 - wool * 2.1 >= 180"``.
    note : str
        Why, for people.

    Raises
    ------
    UsageError
        If the rule is no comparison that can be read.
    """

    rule: str
    note: str = ""
    expression: Expression = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "expression", Expression(self.rule))
        if not self.expression.is_comparison:
            raise UsageError(f"Limit '{shown(self.rule)}' compares nothing; write it with <, <=, >, >=, == or !=.")


@dataclass(frozen=True, slots=True)
class Derived:
    """A quantity computed from the settings, such as an air volume.

    Attributes
    ----------
    name : str
        Letters, digits and underscores; may be used in limits and as a term.
    expression : str
        Arithmetic over factors, such as ``"rings * 42 - wool * 2.1"``.
    unit : str
        Unit of measure, for people.

    Raises
    ------
    UsageError
        If the expression cannot be read, or yields true or false.
    """

    name: str
    expression: str
    unit: str = ""
    parsed: Expression = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", check_name("Derived quantity", self.name))
        object.__setattr__(self, "parsed", Expression(self.expression))
        if self.parsed.is_comparison:
            raise UsageError(f"Derived quantity '{self.name}' is a comparison; it must be arithmetic.")


def derive(settings: Mapping[str, Any], derived: Iterable[Derived]) -> dict[str, Any]:
    """Return the settings with each derived quantity beside them; scalars, or arrays of shape (n_variants,).

    Raises
    ------
    DataError
        If a quantity cannot be computed; a cell of an array is NaN instead.
    """
    values = dict(settings)
    for quantity in derived:
        values[quantity.name] = quantity.parsed.evaluate(values)
    return values


def derive_possible(settings: Mapping[str, Any], derived: Iterable[Derived]) -> dict[str, Any]:
    """Return the settings of one variant with those derived quantities beside them that have a number there."""
    values = dict(settings)
    for quantity in derived:
        with contextlib.suppress(DataError):
            values[quantity.name] = quantity.parsed.evaluate(values)
    return values


def names_behind(names: Iterable[str], derived: Sequence[Derived]) -> set[str]:
    """Return names with all that they rest on: those in derived quantities among them, and so on."""
    found = set(names)
    for quantity in reversed(derived):  # each may use the ones before it
        if quantity.name in found:
            found |= quantity.parsed.names
    return found


def check_rules(factors: Iterable[Factor], limits: Iterable[Limit], derived: Iterable[Derived]) -> None:
    """Check that rules use known names only, and that no name is taken twice.

    Raises
    ------
    UsageError
        On the first name that is unknown, defined twice (capitals make no difference), or used against its kind.
    """
    check_each("limits", limits, Limit)
    check_each("derived", derived, Derived)
    known: dict[str, Sequence[str]] = {}
    taken: set[str] = set()
    for factor in factors:
        if factor.name.casefold() in taken:
            raise UsageError(f"Factor '{factor.name}' is defined twice.")
        taken.add(factor.name.casefold())
        known[factor.name] = factor.levels
    levels = {name: found for name, found in known.items() if found}
    for quantity in derived:
        if quantity.name.casefold() in taken:
            raise UsageError(f"Derived quantity '{quantity.name}' has the name of something defined before it.")
        quantity.parsed.check_names(known, f"Derived quantity '{quantity.name}':")
        quantity.parsed.check_levels(levels, f"Derived quantity '{quantity.name}':")
        taken.add(quantity.name.casefold())
        known[quantity.name] = ()
    for limit in limits:
        limit.expression.check_names(known, "Limit")
        limit.expression.check_levels(levels, "Limit")


def broken_limits(settings: Mapping[str, Any], limits: Iterable[Limit], derived: Iterable[Derived] = ()) -> list[Limit]:
    """Return the limits that one variant breaks; a limit that cannot be computed there counts as broken."""
    broken = []
    values = derive_possible(settings, derived)
    for limit in limits:
        try:
            kept = bool(limit.expression.evaluate(values))
        except DataError:
            kept = False
        if not kept:
            broken.append(limit)
    return broken
