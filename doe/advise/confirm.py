"""Did fresh builds keep what was promised? Judged by equivalence and against the prediction, not by a lack of difference."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from doe.advise.allowed_for import allowed_for, as_read, is_noticed
from doe.advise.limits_kept import shortfall
from doe.fit import analyse
from doe.fit.compared import known_settings
from doe.fit.effects import Effects
from doe.fit.equivalence import ALPHA, two_one_sided
from doe.model.choices import Value
from doe.model.errors import DataError, FettleError, UsageError, did_you_mean, listed
from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.names import quoted
from doe.model.outcome import Outcome
from doe.model.stated import as_labels, label_text
from doe.model.wording import (
    FELL_SHORT,
    KEPT,
    NOT_KNOWN,
    Kept,
    counted,
    exact,
    fixed,
    number,
    places_for,
    spaced,
    unit_behind,
    with_interval,
)

COLUMNS = [
    "outcome", "promised", "promised_low", "promised_high", "observed", "difference", "low", "high", "margin", "p",
    "is_inside", "verdict", "finding",
]  # fmt: skip

_YET_WITHIN = (
    "; it lies within the prediction's interval (95 %), but the interval of the shortfall (90 %) leaves zero out"
)


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Confirmation:
    """How fresh builds compare with what the log before them promised.

    Attributes
    ----------
    table : DataFrame
        One row per outcome: `promised` with its 95 % prediction interval `promised_low, promised_high` for the mean of these
        builds; `observed`, adjusted for session and rater; `difference` with its 90 % interval `low, high`; `margin`, what
        matters; `p` of two one-sided tests; `is_inside` the prediction interval; `verdict`; `finding`, a sentence.
    verdict : {"kept its promise", "fell short", "not yet known"}
        Over all outcomes.
    settings : mapping of str to setting
        What was built.
    builds : tuple of str
        The fresh variants.
    n_readings : int
        Readings of them.
    headline : str
        The answer in one sentence.
    notes : tuple of str
        Contradictions, and what else must be known.
    """

    table: pd.DataFrame
    verdict: Kept
    settings: Mapping[str, Value]
    builds: tuple[str, ...]
    n_readings: int
    headline: str
    notes: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Return the table, at full precision."""
        return self.table.copy()

    def summary(self) -> str:
        """Return the answer as text."""
        lines = [self.headline, "", *(f"  {finding}" for finding in self.table["finding"]), ""]
        return "\n".join([*lines, *(f"Note: {note}" for note in self.notes)]).rstrip() + "\n"

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{escape(text)}</li>" for text in (*self.table["finding"], *self.notes))
        return f"<p><strong>{escape(self.headline)}</strong></p><ul>{items}</ul>"

    def __repr__(self) -> str:
        return f"<Confirmation: {self.headline}>"


def confirm(
    readings: pd.DataFrame | None,
    factors: Sequence[Factor],
    outcomes: Sequence[Outcome],
    fresh: Sequence[str],
    *,
    derived: Sequence[Derived] = (),
    terms: Sequence[str] | None = None,
    seed: int = 1,
) -> Confirmation:
    """Judge fresh builds by what the readings before them promised.

    The promise is the prediction from all other variants; the fresh builds' own values are those of the whole log, adjusted
    for session and rater (where sessions differ or a rater is new, both are counted from the other variants; where only new
    raters read them, nothing is known). An outcome kept its promise where
    two one-sided tests place the difference within plus and minus what `matters` (or, for goals raise and lower, where only
    the good side is open); it fell short where the 90 % interval of the difference lies wholly on the bad side and the
    estimate is off by what matters; anything else is not yet known.

    Parameters
    ----------
    readings : DataFrame or None
        As `doe.analyse` takes them, those of the fresh builds among them.
    factors, outcomes : sequence
    fresh : sequence of str
        Names of the fresh builds, all with the same settings.
    derived : sequence of Derived
        Quantities that `terms` may name.
    terms : sequence of str, optional
        Terms to predict with; by default the engine searches.
    seed : int

    Raises
    ------
    UsageError
        If a fresh build is unknown or none is named.
    DataError
        If the builds have different settings, or nothing else was read.
    """
    names = list(dict.fromkeys(fresh))
    frame, settings = _fresh(readings, factors, names)
    is_fresh = as_labels(frame["variant"]).isin(names)
    if "versus" in frame.columns:  # a comparison with a fresh build is a reading of it too
        is_fresh |= frame["versus"].map(label_text).isin(names)
    chosen = None if terms is None else list(terms)
    case = _Case(frame, frame[~is_fresh], frozenset(frame["outcome"][is_fresh].astype(str)), tuple(names), settings,
                 partial(analyse, factors=factors, terms=chosen, derived=derived, seed=seed))  # fmt: skip
    rows, notes = [], list(_same_unit(frame[is_fresh], names))
    for outcome in outcomes:
        if outcome.goal is None and outcome.matters is None:
            continue
        row, more = _judged(case, outcome)
        rows.append(row)
        notes += more
    table = pd.DataFrame(rows, columns=COLUMNS)
    verdict = _overall(table["verdict"].tolist())
    return Confirmation(
        table,
        verdict,
        settings,
        tuple(names),
        int(is_fresh.sum()),
        _headline(table, verdict, names),
        tuple(dict.fromkeys(notes)),
    )


def _fresh(
    readings: pd.DataFrame | None, factors: Sequence[Factor], names: Sequence[str]
) -> tuple[pd.DataFrame, dict[str, Value]]:
    if not names:
        raise UsageError(
            "Name at least one fresh build to confirm with: a variant that was built anew with the settings of another, and "
            "read."
        )
    known = [] if readings is None else _read(readings)
    for name in names:
        if name not in known:
            raise UsageError(
                f"Nothing has been read of variant '{name}' yet; read it before it is judged.{did_you_mean(name, known)}",
                command=f"'fettle read {quoted(name)} OUTCOME=VALUE' stores a reading",
            )
    assert readings is not None  # something is known
    columns, stated = [factor.name for factor in factors], known_settings(readings, factors)
    kinds = pd.DataFrame([stated[name] for name in names if name in stated], columns=columns).drop_duplicates()
    if not stated.keys() >= set(names):
        raise DataError(
            f"{listed([name for name in names if name not in stated], 'and')}: a reference object has no settings, so "
            "nothing was promised of it; name builds of your own alone."
        )
    if len(kinds) > 1:
        different = next(name for name in columns if kinds[name].nunique() > 1)
        values = listed([number(v, 6) if not isinstance(v, str) else v for v in kinds[different].unique()], "and")
        raise DataError(
            f"The fresh builds differ in {different} ({values}); only builds of the same settings confirm it, so judge them "
            "one after the other."
        )
    settings = {factor.name: factor.read(kinds.iloc[0][factor.name]) for factor in factors}
    if set(known) <= set(names):
        raise DataError(
            "Nothing but these builds has been read, so nothing was promised before them; read other variants too, or name "
            "fewer as fresh."
        )
    return readings, settings


def _same_unit(fresh: pd.DataFrame, names: Sequence[str]) -> list[str]:
    if "unit" not in fresh.columns or len(names) < 2:
        return []
    units = fresh[["variant", "unit"]].drop_duplicates().dropna()["unit"]
    shared = units[units.duplicated()]
    return (
        [f"Two of these builds are on unit {shared.iloc[0]}; what is special to that unit counts twice."]
        if len(shared)
        else []
    )


def _read(readings: pd.DataFrame) -> list[str]:
    """List the variants read, in order, those that only stood second in comparisons last."""
    names = as_labels(readings["variant"]).tolist()
    names += readings["versus"].dropna().map(label_text).tolist() if "versus" in readings.columns else []
    return list(dict.fromkeys(names))


@dataclass(frozen=True, slots=True)
class _Case:
    """The readings that fresh builds are judged by.

    Attributes
    ----------
    whole, before : DataFrame
        All readings, and those of neither side a fresh build.
    was_read : frozenset of str
        Outcomes that were read of the fresh builds.
    names : tuple of str
        The fresh builds.
    settings : mapping of str to setting
        Theirs.
    analysed : callable
        Analyses readings for an outcome.
    """

    whole: pd.DataFrame
    before: pd.DataFrame
    was_read: frozenset[str]
    names: tuple[str, ...]
    settings: Mapping[str, Value]
    analysed: Callable[..., Effects]


def _judged(case: _Case, outcome: Outcome) -> tuple[dict[str, Any], list[str]]:
    """Return the row of one outcome, and what must be said beside it."""
    if outcome.name not in case.was_read:
        return _unknown(outcome, "it was not read of these builds, so read it."), []
    joined, alone = _new_raters(case, outcome)
    if alone:
        return _unknown(outcome, _strangers(joined)), []
    try:
        promise = case.analysed(case.before, outcome=outcome)
        predicted = promise.predict(dict(case.settings)).iloc[0]
        whole = case.analysed(case.whole, outcome=outcome)
        from_others = bool(joined) or counts_from_others(whole)
        observed, se, df = fresh_value(whole, case.names, from_others=from_others)
        if from_others:
            observed += others_mean(promise, case.names)
    except FettleError as err:
        return _unknown(outcome, str(err)), []
    reach = float(stats.t.ppf(0.975, df)) * float(np.hypot(predicted["sd"], se))
    promised = float(predicted["mean"])
    margin = reach if outcome.matters is None else outcome.matters
    read, allowed = as_read(case.whole, whole, case.names), allowed_for(whole)
    bare = read if allowed and is_noticed(observed, read, margin) else None
    return judge(outcome, promised, (promised - reach, promised + reach), observed, se, df, bare=bare, allowed=allowed)


def _new_raters(case: _Case, outcome: Outcome) -> tuple[list[str], bool]:
    """Return who read the fresh builds and nothing else, and whether nobody else read them.

    The level of a log is what its raters give on average, and moves with each that joins in. Readings by nobody in particular
    are by anyone.
    """
    if "rater" not in case.whole.columns or outcome.kind == "compared":
        return [], False
    is_mine = case.whole["outcome"].astype(str) == outcome.name
    fresh = case.whole["rater"][is_mine & as_labels(case.whole["variant"]).isin(case.names)]
    known = case.before["rater"][case.before["outcome"].astype(str) == outcome.name]
    if fresh.isna().any() or known.isna().any():
        return [], False
    seen = set(known.astype(str))
    joined = [name for name in dict.fromkeys(fresh.astype(str)) if name not in seen]
    return joined, bool(joined) and set(joined) == set(fresh.astype(str))


def _strangers(raters: Sequence[str]) -> str:
    who = listed(raters, "and")
    return (
        f"only {who} read these builds and nothing else, so what {who} would give others is not known: have someone read them "
        f"who read others, or {who} read others too."
    )


def fresh_value(whole: Effects, names: Sequence[str], *, from_others: bool = False) -> tuple[float, float, float]:
    """Return the adjusted mean of some builds, its standard error over builds, and the degrees of freedom.

    It is counted from the mean of the other variants where that is asked for or `counts_from_others` says so.

    Raises
    ------
    FitError
        If nothing could be fitted.
    """
    basis = whole.fitted_basis()
    builds, df = basis.builds, float(basis.averages.posterior.df)
    mine = np.isin(basis.variants, list(names))
    weights = mine / mine.sum()
    between = float(weights @ builds.between @ weights)
    if from_others or counts_from_others(whole):
        weights = weights - ~mine / np.sum(~mine)
    return float(weights @ builds.means), float(np.sqrt(weights @ builds.reading @ weights + between)), df


def counts_from_others(whole: Effects) -> bool:
    """Tell whether fresh builds are counted from the other variants, since the level of all moves as they join in.

    Comparisons tell differences only; and where sessions differ, the level is the mean of the sessions, that of the fresh
    builds among them, so that what was promised stands on another one.
    """
    return whole.outcome.kind == "compared" or whole.fitted_basis().builds.session_sd > 0


def others_mean(effects: Effects, names: Sequence[str]) -> float:
    """Return the mean of the builds that are not among `names`."""
    basis = effects.fitted_basis()
    return float(basis.builds.means[~np.isin(basis.variants, list(names))].mean())


def _label(outcome: Outcome) -> str:
    return spaced(outcome.name).capitalize()


def _unknown(outcome: Outcome, why: str) -> dict[str, Any]:
    told = {
        "outcome": outcome.name, "margin": outcome.matters or float("nan"), "is_inside": None, "verdict": NOT_KNOWN,
        "finding": f"{_label(outcome)}: {NOT_KNOWN}; {why}",
    }  # fmt: skip
    return dict.fromkeys(COLUMNS, float("nan")) | told


def judge(
    outcome: Outcome,
    promised: float,
    interval: tuple[float, float],
    observed: float,
    se: float,
    df: float,
    *,
    bare: float | None = None,
    allowed: str = "",
) -> tuple[dict[str, Any], list[str]]:
    """Judge one outcome by a promise with its 95 % prediction interval; return its row and what must be said beside it.

    Where the plain mean of the readings (`bare`) is given, it is told beside, with what was `allowed` for since.
    """
    label, unit = _label(outcome), unit_behind(outcome.unit)
    margin, nan = outcome.matters, float("nan")
    tests = two_one_sided(observed - promised, se, df, margin if margin is not None else 1.0)
    short = _shortfall_interval(outcome, promised, tests.low, tests.high)
    estimate = float(shortfall(outcome, np.array(observed)) - shortfall(outcome, np.array(promised)))
    if outcome.goal is None:
        estimate = abs(observed - promised)
    is_inside = interval[0] <= observed <= interval[1]
    if margin is None:
        verdict: Kept = NOT_KNOWN
        why = "; say what 'matters' in it, since without a margin nothing can be called the same"
    elif tests.p < ALPHA or (outcome.goal is not None and short[1] < margin):
        verdict = KEPT
        why = "" if tests.p < ALPHA or estimate >= 0 else f", better than promised by {number(-estimate, 2)}{unit}"
    elif short[0] > 0 and estimate >= margin:
        verdict = FELL_SHORT
        why = _YET_WITHIN if is_inside else ""
    else:
        verdict = NOT_KNOWN
        why = f"; with these readings it may be off by up to {number(max(abs(tests.low), abs(tests.high)), 2)}{unit}"
    why += _in_range(outcome, promised, observed)
    by = f" by {with_interval(estimate, short[0], short[1], outcome.unit)}" if verdict == FELL_SHORT else ""
    told = outcome.told(promised, *interval)
    came = f"came out at {_value(observed, interval)}{unit}"
    if bare is not None:
        came += f" ({_value(bare, interval)}{unit} as read, before allowing for {allowed})"
    finding = f"{label}: {verdict}{by} - promised {told}, {came}{why}."
    row = {
        "outcome": outcome.name, "promised": promised, "promised_low": interval[0], "promised_high": interval[1],
        "observed": observed, "difference": observed - promised, "low": tests.low, "high": tests.high,
        "margin": nan if margin is None else margin, "p": nan if margin is None else tests.p, "is_inside": is_inside,
        "verdict": verdict, "finding": finding,
    }  # fmt: skip
    return row, [] if is_inside else [_contradiction(outcome, row, estimate)]


def _in_range(outcome: Outcome, promised: float, observed: float) -> str:
    """Say of a goal within whether what was promised and what came out lie in the range; empty for other goals."""
    if outcome.goal != "within":
        return ""
    low, high = outcome.inner
    told = f"{exact(low)} to {exact(high)}{unit_behind(outcome.unit)}"
    lies = [low <= value <= high for value in (promised, observed)]
    if lies[0] == lies[1]:
        return f"; {'both lie' if lies[0] else 'neither lies'} in the range of {told}"
    inside, outside = ("what was promised", "what came out") if lies[0] else ("what came out", "what was promised")
    return f"; {inside} lies in the range of {told}, {outside} does not"


def _value(observed: float, interval: tuple[float, float]) -> str:
    return fixed(observed, places_for(interval[1] - interval[0]))


def _shortfall_interval(outcome: Outcome, promised: float, low: float, high: float) -> tuple[float, float]:
    """Turn an interval of the difference into one of the shortfall: what is lost towards the goal."""
    if outcome.goal is None:
        ends = [abs(low), abs(high)]
        return (0.0 if low < 0 < high else min(ends)), max(ends)
    points = promised + np.linspace(low, high, 201)
    lost = shortfall(outcome, points) - float(shortfall(outcome, np.array(promised)))
    return float(lost.min()), float(lost.max())


def _contradiction(outcome: Outcome, row: Mapping[str, Any], shortfall: float) -> str:
    """Say that an outcome lies outside of what was predicted: better or worse, or, where it is neither, higher or lower."""
    label, difference = _label(outcome), row["difference"]
    if row["verdict"] == KEPT and abs(difference) < row["margin"]:
        return f"{label} lies outside of what the log predicted, though by less than what matters."
    side = "worse" if shortfall > 0 else "better"
    if outcome.goal is None or shortfall == 0:
        side = "higher" if difference > 0 else "lower"
    return (
        f"{label} contradicts the log: it came out {side} than 95 % of what was predicted. Look for what else was different "
        "about these builds or this session before either is believed."
    )


def _overall(verdicts: Sequence[str]) -> Kept:
    if FELL_SHORT in verdicts:
        return FELL_SHORT
    return KEPT if verdicts and all(verdict == KEPT for verdict in verdicts) else NOT_KNOWN


def _headline(table: pd.DataFrame, verdict: Kept, names: Sequence[str]) -> str:
    who = f"Variant{'s' if len(names) > 1 else ''} {listed(names, 'and')} ({counted(len(names), 'fresh build')})"
    if verdict == KEPT:
        return f"{who} kept the promise in every outcome." if len(table) > 1 else f"{who} kept the promise."
    them = listed(map(spaced, table.loc[table["verdict"] == verdict, "outcome"]), "and")
    if verdict == FELL_SHORT:
        return f"{who} fell short in {them}."
    return f"{who}: not yet known whether the promise is kept{f' in {them}' if them else ''}."
