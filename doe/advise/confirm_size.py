"""How many fresh builds and readings would confirm a promise at a stated risk."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from doe.fit.effects import Effects
from doe.fit.equivalence import ALPHA, chance_not_short, chance_to_confirm
from doe.model.choices import Value
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError, listed
from doe.model.given import check_number
from doe.model.outcome import Outcome
from doe.model.wording import amount, counted, duration, number, percent, spaced

Array = npt.NDArray[Any]

MOST_BUILDS, MOST_ROUNDS, MOST_BESIDE = 12, 12, 4
RISK = 0.1
_PLACES = 41
"""Equally likely places of the truth beside a prediction that a chance is averaged over."""

COLUMNS = ["outcome", "margin", "build_sd", "reading_sd", "readings", "se", "chance", "believed", "alone"]

LESS, LESS_ROUNDS = (1, 3, 6), 3
"""Builds and rounds that are told of where nothing within reason confirms."""
_HOPELESS = 0.05
"""A chance to confirm below which no risk that may be asked for is one to live with."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter that a promise must be confirmed against, in outcome units.

    Attributes
    ----------
    build_sd, reading_sd, session_sd : float
        From build to build (units included), of one reading, and from session to session; infinite where all was read in one.
    df : float
        Degrees of freedom behind them.
    is_guess : bool
        Whether builds and readings could not be told apart; half of the variance is taken to be the builds', and a plan holds
        whatever the share.
    known_sd : float
        How well the adjusted value of something read before is known; matters where sessions differ.
    promise_sd : float
        How well the prediction that is promised is known; 0 where nobody asked.
    n_known : int
        Variants that were read before, and so can be read again beside fresh builds.
    """

    build_sd: float
    reading_sd: float
    session_sd: float
    df: float
    is_guess: bool = False
    known_sd: float = 0.0
    promise_sd: float = 0.0
    n_known: int = MOST_BESIDE

    def se(self, builds: int, readings: int, beside: int = 1) -> float:
        """Return the standard error of the mean of fresh builds, each read so often.

        Where sessions differ, some variants that were read before are read as often in the same session. What they tell of the
        session is off by their readings and by how well they were known; and sessions differ by so much only. Where builds and
        readings could not be told apart, more readings of a build are not counted on: all of the scatter may be the builds'.
        """
        counted_on = 1 if self.is_guess else readings
        variance = self.build_sd**2 / builds + self.reading_sd**2 / (builds * counted_on)
        if self.session_sd > 0:
            offset = (self.reading_sd**2 / readings + self.known_sd**2) / beside
            variance += offset / (1.0 + offset / self.session_sd**2)
        return float(np.sqrt(variance))


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class ConfirmationPlan:
    """How many fresh builds and readings to take.

    Attributes
    ----------
    builds, rounds : int
        Fresh builds, and rounds of readings of each; 0 where nothing within reason confirms.
    beside : int
        Variants read before that are read as often in the same session, where sessions differ; else 0.
    minutes : float
        Bench minutes of all of it.
    table : DataFrame
        One row per outcome: `outcome`, `margin`, `build_sd`, `reading_sd`, `readings` (a build), `se`, `chance` to confirm a
        promise that is kept to the letter, `believed`, the same over how far the prediction itself may be off, and `alone`, the
        builds that this outcome by itself would take.
    risk, alpha : float
        Of not confirming what is true, and of confirming what is off by the margin.
    headline : str
    notes : tuple of str
    """

    builds: int
    rounds: int
    beside: int
    minutes: float
    table: pd.DataFrame
    risk: float
    alpha: float
    headline: str
    notes: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Return the table, at full precision."""
        return self.table.copy()

    def summary(self) -> str:
        """Return the plan as text."""
        lines = [self.headline, ""]
        so_many = "" if self.builds else " with so many"
        told = _power if self.builds else _at_most
        for row in self.table.to_dict("records"):
            lines.append(
                f"  {row['outcome']}: margin {number(row['margin'])}, scatter from build to build {number(row['build_sd'], 2)}"
                f", of a reading {number(row['reading_sd'], 2)}; chance to confirm{so_many} {told(row['chance'])}"
            )
        return "\n".join([*lines, "", *(f"Note: {note}" for note in self.notes)]).rstrip() + "\n"

    def _repr_html_(self) -> str:
        return f"<p><strong>{escape(self.headline)}</strong></p>{self.table.to_html(index=False, border=0)}"

    def __repr__(self) -> str:
        return f"<ConfirmationPlan: {self.headline}>"


def scatter_of(effects: Effects, settings: Mapping[str, Value] | None = None) -> Scatter:
    """Read out of an analysis the scatter that `doe.advise.confirm` will judge by.

    Parameters
    ----------
    effects : Effects
    settings : mapping of str to setting, optional
        What is to be built; without it, how well the promise is known is left open.
    """
    sds = {str(row["source"]): float(row["sd"]) for _, row in effects.variance.iterrows()}
    basis = effects.fitted_basis()
    build, reading = float(np.sqrt(np.diag(basis.builds.between).mean())), basis.reading_sd
    together = sds.get("build and reading together")
    if together is not None:
        build = reading = together / math.sqrt(2.0)  # as draws of builds take it
        build = math.hypot(build, sds.get("unit", 0.0))
    return Scatter(
        build,
        reading,
        basis.builds.session_sd,
        float(basis.averages.posterior.df),
        is_guess=together is not None,
        known_sd=_known_sd(basis.builds.reading),
        promise_sd=0.0 if settings is None else float(effects.predict(dict(settings))["sd"].iloc[0]),
        n_known=len(basis.variants),
    )


def _known_sd(reading: Array) -> float:
    """Return how well a usual variant is known beside the mean of all: fresh builds are counted from there."""
    take = np.eye(len(reading)) - 1.0 / len(reading)
    return float(np.sqrt(np.median(np.diag(take @ reading @ take.T))))


def size_confirmation(
    scatters: Mapping[str, Scatter],
    outcomes: Sequence[Outcome],
    *,
    effort: Effort | None = None,
    build_minutes: float = 0.0,
    raters: Mapping[str, int] | None = None,
    risk: float = RISK,
    alpha: float = ALPHA,
) -> ConfirmationPlan:
    """Find the fewest bench minutes of fresh builds and readings that confirm every outcome.

    Parameters
    ----------
    scatters : mapping of str to Scatter
        By outcome.
    outcomes : sequence of Outcome
        Those that say what `matters`; it is the margin.
    effort : Effort, optional
        What readings and sessions take.
    build_minutes : float
        Of one fresh build.
    raters : mapping of str to int, optional
        Readings that one round gives, by outcome.
    risk : float
        Of not confirming although the promise is kept to the letter, above 0 and below 0.5, in each outcome.
    alpha : float
        Of confirming although it is off by the margin.

    Returns
    -------
    ConfirmationPlan

    Raises
    ------
    UsageError
        If the risk is out of its range.
    DataError
        If no outcome says what matters.

    Notes
    -----
    Power of two one-sided tests with the log's degrees of freedom and those of the fresh builds; see
    `doe.fit.equivalence.chance_to_confirm`.
    """
    check_number("risk", risk)
    if not 0 < risk < 0.5:
        raise UsageError(f"risk is {risk}; it must be above 0 and below 0.5.")
    judged = [outcome for outcome in outcomes if outcome.matters is not None and outcome.name in scatters]
    if not judged:
        raise DataError(
            "No outcome that was read says what matters, so there is no margin to confirm; set 'matters' on one."
        )
    sizing = _Sizing(scatters, raters or {}, effort or Effort(), build_minutes, alpha)
    known = [scatters[one.name].n_known for one in judged if scatters[one.name].session_sd > 0]
    most_beside = min(MOST_BESIDE, *known) if known else 0
    found = _fewest(lambda size: min(sizing.chances(size, judged)) >= 1 - risk, sizing.minutes, most_beside)
    size = found or _Size(MOST_BUILDS, MOST_ROUNDS, most_beside)
    table = pd.DataFrame([sizing.row(size, outcome, risk) for outcome in judged], columns=COLUMNS)
    notes = _notes(table, [scatters[one.name] for one in judged])
    if found is None:
        hard = [outcome for outcome, chance in zip(judged, table["chance"], strict=True) if chance < 1 - risk]
        names = [spaced(outcome.name) for outcome in hard]
        less = [_Size(builds, LESS_ROUNDS, most_beside) for builds in LESS]
        tried = [(one.builds, sizing.minutes(one), min(sizing.chances(one, hard))) for one in less]
        within = [_told_within(_least_margin(*sizing.sure(size, one), risk, alpha), one) for one in hard]
        notes = (_less(tried, names), _reachable(names, within), *notes)
        return ConfirmationPlan(0, 0, 0, float("nan"), table, risk, alpha, _too_many(names), notes)
    notes = (*_doubts(table, risk), *notes)
    headline = _headline(size, sizing.minutes(size), risk, alpha)
    return ConfirmationPlan(*size, sizing.minutes(size), table, risk, alpha, headline, notes)


class _Size(NamedTuple):
    builds: int
    rounds: int
    beside: int


@dataclass(frozen=True, slots=True)
class _Sizing:
    """What a size takes and how surely it confirms; the words are those of `size_confirmation`."""

    scatters: Mapping[str, Scatter]
    raters: Mapping[str, int]
    effort: Effort
    build_minutes: float
    alpha: float

    def minutes(self, size: _Size) -> float:
        builds, rounds, beside = size
        reading = (builds + beside) * rounds * self.effort.reading_minutes
        return builds * self.build_minutes + reading + self.effort.session_minutes

    def readings(self, size: _Size, outcome: Outcome) -> int:
        """Return the readings of each build."""
        return size.rounds * self.raters.get(outcome.name, 1)

    def sure(self, size: _Size, outcome: Outcome) -> tuple[float, float]:
        """Return the standard error of the builds' mean, and its degrees of freedom."""
        scatter = self.scatters[outcome.name]
        return scatter.se(size.builds, self.readings(size, outcome), size.beside), scatter.df + size.builds - 1

    def chances(self, size: _Size, outcomes: Sequence[Outcome]) -> list[float]:
        """Return the chance of each to be confirmed where its promise is kept to the letter."""
        return [chance_to_confirm(_margin(one), *self.sure(size, one), self.alpha) for one in outcomes]

    def row(self, size: _Size, outcome: Outcome, risk: float) -> tuple[Any, ...]:
        """Return the outcome's row of the table."""
        scatter = self.scatters[outcome.name]
        se, df = self.sure(size, outcome)
        sizes = (size._replace(builds=builds) for builds in range(1, MOST_BUILDS + 1))
        enough = (one.builds for one in sizes if self.chances(one, [outcome])[0] >= 1 - risk)
        return (
            outcome.name, outcome.matters, scatter.build_sd, scatter.reading_sd, self.readings(size, outcome), se,
            self.chances(size, [outcome])[0], _believed(scatter.promise_sd, outcome, se, df, self.alpha), next(enough, 0),
        )  # fmt: skip


def _margin(outcome: Outcome) -> float:
    assert outcome.matters is not None  # only those are asked
    return outcome.matters


def _believed(promise_sd: float, outcome: Outcome, se: float, df: float, alpha: float) -> float:
    """Return the mean chance over where the log places the truth beside its prediction; better counts as kept under a goal."""
    judge = chance_not_short if outcome.goal in ("raise", "lower") else chance_to_confirm
    shifts = promise_sd * special.ndtri((np.arange(_PLACES) + 0.5) / _PLACES)
    return float(np.mean([judge(_margin(outcome), se, df, alpha, float(shift)) for shift in shifts]))


def _fewest(is_enough: Callable[[_Size], bool], minutes: Callable[[_Size], float], most_beside: int) -> _Size | None:
    """Return what takes the fewest minutes and is enough; fewer builds first where two take the same."""
    besides = range(1, most_beside + 1) if most_beside else (0,)
    sizes = itertools.product(range(1, MOST_BUILDS + 1), range(1, MOST_ROUNDS + 1), besides)
    for size in sorted(map(_Size._make, sizes), key=lambda size: (minutes(size), size)):
        if is_enough(size):
            return size
    return None


def _headline(size: _Size, minutes: float, risk: float, alpha: float) -> str:
    each = f"{counted(size.rounds, 'round')} of readings{' of each' if size.builds + size.beside > 1 else ''}"
    joined = f" beside {counted(size.beside, 'earlier variant')}, " if size.beside else " and "
    return (
        f"Confirm with {counted(size.builds, 'fresh build')}{joined}{each}, {duration(minutes)}: a promise that is kept "
        f"is confirmed with {percent(1 - risk)} or more in each outcome, one that is off by what matters with "
        f"{percent(alpha)} at most."
    )


def _power(chance: float) -> str:
    """Write the power of a test, which is never quite nothing."""
    return percent(max(chance, 1e-9))


def _at_most(chance: float) -> str:
    """Write it rounded down, so that none that is too small reads as if it were enough."""
    return _power(math.floor(100 * chance) / 100)


def _told_within(margin: float, outcome: Outcome) -> str:
    """Write what could be confirmed, rounded up: so much will do, and it is seen to be more than what matters."""
    step = 10.0 ** (math.floor(math.log10(margin)) - 2)
    return amount(math.ceil(margin / step - 1e-6) * step, outcome.unit)


def _less(tried: Sequence[tuple[int, float, float]], hard: Sequence[str]) -> str:
    """Say what builds within reason would give: a risk that can be lived with, or none that can."""
    most = max(chance for *_, chance in tried)
    if most < _HOPELESS:
        return (
            f"Fewer builds will not do either: up to {LESS[-1]} of them with {counted(LESS_ROUNDS, 'round')} of readings each, "
            f"the chance to confirm {listed(hard, 'and')} is {_power(most)} at most, whatever the risk."
        )
    told = [
        f"{_power(chance)} with {counted(builds, 'fresh build') if place == 0 else builds} ({duration(minutes)})"
        for place, (builds, minutes, chance) in enumerate(tried)
    ]
    names = listed(hard, "and")
    return (
        f"With {counted(LESS_ROUNDS, 'round')} of readings of each, the chance to confirm {names} is {listed(told, 'and')}. If "
        f"that will do, ask with a larger risk; or say that only a larger difference in {names} matters."
    )


def _reachable(hard: Sequence[str], within: Sequence[str]) -> str:
    """Say what difference the most builds could tell from what is promised, and what to do to tell less."""
    told = [f"{margin} in {name}" for margin, name in zip(within, hard, strict=True)]
    return (
        f"What {MOST_BUILDS} fresh builds with {MOST_ROUNDS} rounds each could confirm is a promise to within "
        f"{listed(told, 'and')}. Say that only so much matters, or bring the scatter down first: build and read more alike."
    )


def _least_margin(se: float, df: float, risk: float, alpha: float) -> float:
    """Return the margin within which a kept promise is confirmed at this risk; it is in proportion to the standard error."""
    low, high = 0.0, 1.0
    while chance_to_confirm(high * se, se, df, alpha) < 1 - risk:
        low, high = high, 2 * high
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if chance_to_confirm(middle * se, se, df, alpha) >= 1 - risk else (middle, high)
    return high * se


def _too_many(hard: Sequence[str]) -> str:
    return (
        f"Not even {MOST_BUILDS} fresh builds with {MOST_ROUNDS} rounds each would confirm {listed(hard, 'and')} at this risk: "
        "the scatter is too large beside what matters."
    )


def _doubts(table: pd.DataFrame, risk: float) -> tuple[str, ...]:
    """Say what is to be expected where the prediction may well be off by more than fresh builds could confirm."""
    doubted = table[table["believed"] < 1 - risk]
    told = [f"{spaced(row['outcome'])} with {percent(row['believed'])}" for row in doubted.to_dict("records")]
    if not told:
        return ()
    return (
        f"The prediction itself may be off. With that counted, the log expects {listed(told, 'and')} to be confirmed; what "
        "raises this is a log that knows more, not more fresh builds.",
    )


def _notes(table: pd.DataFrame, scatters: Sequence[Scatter]) -> tuple[str, ...]:
    notes = []
    if any(scatter.is_guess for scatter in scatters):
        notes.append(
            "Every build was read once, so that builds and readings cannot be told apart: both are taken to scatter alike, and "
            "more readings of a build are not counted on. Read some builds twice and ask again; it may take fewer builds."
        )
    sessions = max(scatter.session_sd for scatter in scatters)
    if sessions > 0:
        why = "Sessions differ" if math.isfinite(sessions) else "All was read in one session, and another may differ"
        notes.append(
            f"{why}: read what was read before - the best variant, and others of several sessions - as often in the same "
            "session. How well these are known counts."
        )
    if (table["build_sd"] > 0.5 * table["margin"]).any():
        notes.append(
            "Builds of the same settings differ by much of what matters; more readings of one build do not help there."
        )
    return tuple(notes)
