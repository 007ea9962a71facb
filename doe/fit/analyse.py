"""From readings to effects, step by step: gather, find the scatter, whiten, search, judge."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.coding import Coding, Term
from doe.fit.checks import margins_of, run_checks
from doe.fit.classical import COLUMNS as CLASSICAL_COLUMNS
from doe.fit.effects import Basis, Effects, empty_table
from doe.fit.estimates import Averages, averages, swings
from doe.fit.evidence import Evidence
from doe.fit.origins import origin_of
from doe.fit.passes import Fitted, fit
from doe.fit.pictures import cells_of, levels_of, variance_of, variants_of
from doe.fit.priors import Prior
from doe.fit.tangled import EXACT, Rules, Tie, breaking_variant, changed_together, correlations, main_ties, session_ties
from doe.fit.through import act_through
from doe.fit.verdicts import CLAIM, Judged, either_active, judge
from doe.fit.whiten import usable_terms
from doe.fit.words import headline, open_sizes, sensitivity_line
from doe.model.errors import UsageError, listed
from doe.model.factor import Factor
from doe.model.given import check_each, check_frame, check_names, check_one, check_whole, described
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.threads import one_thread
from doe.model.wording import CANT_TELL, MOVES, TANGLED, capital, counted, spaced, spoken

Array = npt.NDArray[Any]

MOST_PAIRED = 14
_MOST_TIES = 6

TWO = 2
"""Variants that differ by what their factors do and by themselves, and by nothing that tells the two apart."""


@one_thread()
def analyse(
    readings: pd.DataFrame,
    factors: Sequence[Factor],
    outcome: Outcome,
    terms: str | Sequence[str] | None = None,
    *,
    derived: Sequence[Derived] = (),
    limits: Sequence[Limit] = (),
    prior: Prior | None = None,
    seed: int = 1,
) -> Effects:
    """Find out which factor moves an outcome.

    Readings are fitted by a linear mixed model with unit, build, session and rater as sources of scatter (REML), then
    shrunk to one whitened row per build; terms are judged by averaging over sparse models (Box & Meyer 1993; Chipman 1996).

    Parameters
    ----------
    readings : DataFrame
        Tidy, one row per reading: `variant, outcome, value`, optionally `session, rater, order, unit`, and one column per
        factor. A reference object has empty factor cells.
    factors : sequence of Factor
        What could be changed.
    outcome : Outcome
        What is judged.
    terms : {"main", "two-factor", "quadratic"}, sequence of str, or None
        Candidate terms; None lets the engine look at main effects, two-factor interactions and curvature.
    derived : sequence of Derived
        Quantities that may be named in `terms`; left alone, each is compared with the factors it is written in.
    limits : sequence of Limit
        Rules that a variant which is told to part two terms keeps.
    prior : Prior, optional
        Beliefs about effects; the documented default otherwise.
    seed : int
        Kept with the result for whatever is drawn from it later.

    Returns
    -------
    Effects

    Raises
    ------
    DataError
        If a reading is no finite number, off the scale of a rated outcome, or contradicts the factors.
    FitError
        If there is no reading of any variant with settings.
    UsageError
        If a term is unknown, no factor is given, or an argument is no such thing.
    """
    check_each("factors", factors, Factor)
    check_each("limits", limits, Limit)
    check_one("outcome", outcome, Outcome)
    check_frame("readings", readings)
    seed = check_whole("seed", seed)
    if prior is not None and not isinstance(prior, Prior):
        raise UsageError(f"prior is {described(prior)}; it must be a Prior of doe.fit.")
    if terms is not None and not isinstance(terms, str):
        terms = check_names("terms", terms)
        if not terms:
            raise UsageError("There is no term to look at; name one, or leave 'terms' out.")
    if not factors:
        raise UsageError("There is no factor to analyse.", command="add one with 'fettle factor add'")
    coding = Coding(tuple(factors), tuple(derived) if _uses_derived(terms, derived) else ())
    origin = origin_of(readings, coding, outcome)
    evidence = origin.evidence
    varied = evidence.varied
    candidates, skipped = _candidates(coding, varied, terms)
    usable = usable_terms(coding.matrix(evidence.settings, candidates), candidates)[0]
    notes = [
        *evidence.notes,
        *origin.notes,
        *_unvaried_notes(evidence, varied),
        *_unseen_notes(evidence, varied, candidates if isinstance(terms, tuple) else (), usable),
        *skipped,
        *_scatter_notes(coding, evidence),
    ]
    reason = _hopeless(evidence, usable, varied, candidates if terms is None else coding.terms(terms))
    if reason:
        return _nothing(coding, evidence, candidates, (reason, *notes), seed)
    prior = Prior() if prior is None else prior
    fitted = fit(origin, coding, candidates, prior, exact=terms is not None)
    through = act_through(coding, derived if terms is None else (), evidence, fitted, prior)
    return _result(coding, evidence, fitted, through, Rules(tuple(limits), tuple(derived)), notes, seed)


def _uses_derived(terms: str | Sequence[str] | None, derived: Sequence[Derived]) -> bool:
    if terms is None or isinstance(terms, str):
        return False
    names = {quantity.name for quantity in derived}
    return any(part in names for term in terms for part in term.removesuffix("^2").split(":"))


def _candidates(
    coding: Coding, varied: Sequence[str], terms: str | Sequence[str] | None
) -> tuple[tuple[Term, ...], list[str]]:
    """Terms to search, and a sentence where pairs had to be left out.

    A pair with a factor that stood still is the other's main effect under another name.
    """
    if terms is not None:
        still = {factor.name for factor in coding.factors}.difference(varied)
        asked = coding.terms(terms)
        return tuple(term for term in asked if len(term.factors) == 1 or still.isdisjoint(term.factors)), []
    if len(varied) <= MOST_PAIRED:
        return coding.terms("quadratic", varied), []
    note = f"With {len(varied)} factors only main effects are looked at; name pairs to look at with 'terms'."
    return coding.terms("main", varied), [note]


def _unvaried_notes(evidence: Evidence, varied: Sequence[str]) -> list[str]:
    names = [name for name in evidence.settings.columns if name not in varied]
    if not names or evidence.n_built < 2:
        return []
    word = "has" if len(names) == 1 else "have"
    them = "it" if len(names) == 1 else "them"
    return [f"{listed(map(spaced, names), 'and')} {word} had one setting only, so nothing can be said of {them}."]


def _unseen_notes(
    evidence: Evidence, varied: Sequence[str], named: Sequence[Term], usable: Sequence[Term]
) -> list[str]:
    """Name the terms asked for that stood still though their factors did not: a quantity, a bend between two settings."""
    still = set(evidence.settings.columns).difference(varied)
    lost = [spaced(term.name) for term in named if term not in usable and still.isdisjoint(term.factors)]
    if not lost or not usable:
        return []
    them = "it" if len(lost) == 1 else "them"
    return [f"The variants do not differ in {listed(lost, 'and')}, so nothing can be said of {them}."]


def _scatter_notes(coding: Coding, evidence: Evidence) -> list[str]:
    """Say where nothing shows how builds of the same settings differ, what is taken for it, and which build would show it."""
    count = evidence.n_built
    is_repeated = count > len(evidence.settings.drop_duplicates())
    if count < 2 or is_repeated or 1 + sum(coding.axes[name].width for name in evidence.varied) < count:
        return []
    taken = "so nothing is called too small" if count == TWO else "and verdicts take it that few factors act"
    return [
        "How builds of the same settings differ is not known from this log: the factors could be all that these "
        f"{count} differ by, {taken}. Build one of these settings once more to see it."
    ]


def _hopeless(evidence: Evidence, usable: Sequence[Term], varied: Sequence[str], asked: Sequence[Term]) -> str:
    """Say why nothing can be estimated, or nothing."""
    name = spaced(evidence.outcome.name)
    if evidence.n_built < 2:
        return f"Only one variant has a reading of {name}; effects need at least two that differ."
    if not varied:
        return f"All variants with a reading of {name} have the same settings; change something and read again."
    if not usable:
        still = [name for name in evidence.settings.columns if name not in varied]
        parts = dict.fromkeys(part for term in asked for part in term.factors)
        what = [part for part in parts if part in still] or [term.name for term in asked]
        return (
            f"The variants with a reading of {name} do not differ in {listed(map(spaced, what), 'and')}; change that and "
            "read again."
        )
    if evidence.spread == 0:
        return f"All {counted(evidence.n_readings, 'reading')} of {name} are equal, so they cannot tell factors apart."
    return ""


def _result(
    coding: Coding,
    evidence: Evidence,
    fitted: Fitted,
    through: pd.DataFrame,
    rules: Rules,
    notes: Sequence[str],
    seed: int,
) -> Effects:
    average = averages(coding, fitted.posterior)
    table, ties = _table(coding, evidence, average)
    matrix = coding.matrix(evidence.settings, average.terms)
    supported = coding.matrix(evidence.settings, coding.terms(fitted.classical.table["term"].tolist()))
    moving = set(table["term"][table["verdict"] == MOVES])
    claimed = [term.name in moving for term in average.terms]
    names = evidence.variants[: evidence.n_built]
    return Effects(
        outcome=evidence.outcome,
        coding=coding,
        table=table,
        levels=levels_of(average),
        cells=cells_of(average),
        variance=variance_of(fitted.classical.model, fitted.reading_sd, fitted.problem),
        classical=fitted.classical.table,
        checks=run_checks(evidence, fitted.builds, supported, coding, fitted.classical.table),
        variants=variants_of(evidence, fitted.builds, average, matrix.values),
        models=_models(average),
        through=through,
        notes=_sentences(
            *notes,
            *fitted.notes,
            *open_sizes(table, _unordered(coding)),
            *_tie_notes(coding, evidence, average, ties, table, rules),
        ),
        headline=headline(evidence.outcome, table),
        sensitivity=sensitivity_line(
            [term.name for term in average.terms], claimed, fitted.posterior.sensitivity, CLAIM
        ),
        covered=fitted.posterior.covered,
        n_readings=_number_read(evidence),
        n_variants=evidence.n_built,
        seed=seed,
        basis=Basis(average, fitted.builds, matrix.values, names, fitted.reading_sd),
        margins=margins_of(fitted.classical.table),
    )


def _number_read(evidence: Evidence) -> int:
    """Count the readings; a comparison is a reading of two variants, and one all the same."""
    return evidence.n_readings // 2 if evidence.outcome.kind == "compared" else evidence.n_readings


def _table(coding: Coding, evidence: Evidence, average: Averages) -> tuple[pd.DataFrame, list[Tie]]:
    posterior = average.posterior
    rows = swings(average)
    related = correlations(posterior.problem)
    ties = main_ties(posterior.problem, related) + session_ties(evidence, coding)
    low, high = (np.array([row[end] for row in rows], dtype=float) for end in ("low", "high"))
    either = either_active(posterior.included, posterior.weights)
    judged = judge(
        average.terms,
        posterior.activity,
        low,
        high,
        evidence.outcome.matters if evidence.n_built > TWO else None,
        related=related,
        either=either,
        ties=ties,
    )
    table = pd.DataFrame(
        [_table_row(coding, row, float(posterior.activity[place]), judged[place]) for place, row in enumerate(rows)],
        columns=list(empty_table().columns),
    )
    size = table["activity"] * table["swing"].abs().fillna(0.0)
    return table.iloc[np.argsort(-size.to_numpy(), kind="stable")].reset_index(drop=True), ties


def _table_row(coding: Coding, row: dict[str, Any], activity: float, judged: Judged) -> dict[str, Any]:
    term: Term = row["term"]
    per_step = np.nan
    factor = coding.axes[term.factors[0]].factor
    if term.is_main and factor is not None and factor.step is not None:
        low, high = factor.span
        per_step = row["swing"] * factor.step / (high - low)
    return {
        **row,
        "term": term.name,
        "per_step": per_step,
        "activity": activity,
        "verdict": judged.verdict,
        "tangled_with": judged.tangled_with,
    }


def _unordered(coding: Coding) -> set[str]:
    return {factor.name for factor in coding.factors if factor.kind == "categorical" and len(factor.levels) > 2}


def _models(average: Averages, most: int = 10) -> pd.DataFrame:
    """Most probable sets of terms, summed over the prior scales."""
    posterior = average.posterior
    sets, inverse = np.unique(posterior.included, axis=0, return_inverse=True)
    weights = np.bincount(inverse.ravel(), posterior.weights, len(sets))
    order = np.argsort(-weights, kind="stable")[:most]
    names = [term.name for term in average.terms]
    texts = [" + ".join(name for name, is_in in zip(names, sets[place], strict=True) if is_in) for place in order]
    return pd.DataFrame({"terms": [text or "nothing" for text in texts], "probability": weights[order]})


def _tie_notes(
    coding: Coding, evidence: Evidence, average: Averages, ties: Sequence[Tie], table: pd.DataFrame, rules: Rules
) -> list[str]:
    """Name each tie, and the cheapest single variant that would break it."""
    terms = {term.name: term for term in average.terms}
    found = [(tie.first, tie.second, _how(tie, evidence)) for tie in ties]
    named = {frozenset((tie.first, tie.second)) for tie in ties}
    tangled = table[table["verdict"] == TANGLED]
    for name, partners in zip(tangled["term"], tangled["tangled_with"], strict=True):
        other = partners.split(", ")[0]
        if other in terms and frozenset((name, other)) not in named:
            named.add(frozenset((name, other)))
            found.append((name, other, "went together in these variants"))
    return [
        f"{spoken(one)} changed only together with the session; repeat one setting in another session."
        if other == "session"
        else _part(terms[one], terms[other], how, coding, evidence, rules)
        for one, other, how in found[:_MOST_TIES]
    ]


def _how(tie: Tie, evidence: Evidence) -> str:
    if tie.correlation < EXACT:
        return "nearly always changed together"
    if tie.second == "session" or changed_together(tie.first, tie.second, evidence.settings):
        return "always changed together"
    return "cannot be told apart by these variants"


def _part(one: Term, other: Term, how: str, coding: Coding, evidence: Evidence, rules: Rules) -> str:
    remedy = breaking_variant((one, other), evidence.settings, coding, rules)
    what = f"to part them, {remedy}" if remedy else "no single change within the limits parts them"
    return f"{spoken(one.name)} and {spoken(other.name)} {how}; {what}."


def _sentences(*notes: str) -> tuple[str, ...]:
    """Begin each note with a capital; many begin with a name."""
    return tuple(map(capital, notes))


def _nothing(
    coding: Coding, evidence: Evidence, candidates: Sequence[Term], notes: tuple[str, ...], seed: int
) -> Effects:
    """Refuse by a result: every term is open, and the notes say why."""
    blank = [{"term": term.name, "verdict": CANT_TELL, "tangled_with": "", "from": "", "to": ""} for term in candidates]
    table = pd.DataFrame(blank, columns=list(empty_table().columns)) if blank else empty_table()
    frames = {
        "levels": ["factor", "level", "mean", "low", "high"],
        "cells": ["term", "first", "second", "mean", "low", "high"],
        "variance": ["source", "sd", "share"],
        "classical": CLASSICAL_COLUMNS,
        "checks": ["check", "finding", "level", "advice"],
        "models": ["terms", "probability"],
        "through": ["quantity", "parts", "odds", "finding"],
    }
    empty: dict[str, Any] = {name: pd.DataFrame(columns=columns) for name, columns in frames.items()}
    count = len(evidence.variants)
    readings = evidence.total(evidence.variant, count)
    means = np.bincount(evidence.variant, evidence.counts * evidence.means, count) / readings
    means += evidence.location if evidence.origin is None else -means[evidence.origin]
    variants = pd.DataFrame({"variant": evidence.variants[: evidence.n_built], "mean": means[: evidence.n_built]})
    for name in ("low", "high"):
        variants[name] = np.nan
    variants["readings"] = readings[: evidence.n_built]
    variants["fitted"] = np.nan
    return Effects(
        outcome=evidence.outcome, coding=coding, table=table, variants=variants, notes=_sentences(*notes),
        headline=headline(evidence.outcome, table),
        sensitivity="", covered=1.0, n_readings=_number_read(evidence), n_variants=evidence.n_built, seed=seed, **empty,
    )  # fmt: skip
