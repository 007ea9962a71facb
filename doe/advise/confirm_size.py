"""How many fresh builds and readings would confirm a promise at a stated risk."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import pandas as pd

from doe.fit.effects import Effects
from doe.fit.equivalence import ALPHA, chance_to_confirm
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError, listed
from doe.model.outcome import Outcome
from doe.model.wording import counted, duration, number, percent

MOST_BUILDS, MOST_ROUNDS = 12, 12
RISK = 0.1
LESS, LESS_ROUNDS = (1, 3, 6), 3
"""Builds and rounds that are told of where nothing within reason confirms."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter that a promise must be confirmed against, in outcome units.

    Attributes
    ----------
    build_sd, reading_sd, session_sd : float
        From build to build (units included), of one reading, and from session to session.
    df : float
        Degrees of freedom behind them.
    is_guess : bool
        Whether builds and readings could not be told apart, and half of the variance is taken to be the builds'.
    """

    build_sd: float
    reading_sd: float
    session_sd: float
    df: float
    is_guess: bool = False

    def se(self, builds: int, readings: int) -> float:
        """Return the standard error of the mean of fresh builds, each read so often.

        Where sessions differ, something that was read before is read as often in the same session, and its readings count too.
        """
        variance = self.build_sd**2 / builds + self.reading_sd**2 / (builds * readings)
        return float(np.sqrt(variance + (self.reading_sd**2 / readings if self.session_sd > 0 else 0.0)))


@dataclass(frozen=True, slots=True, repr=False)
class ConfirmationPlan:
    """How many fresh builds and readings to take.

    Attributes
    ----------
    builds, rounds : int
        Fresh builds, and rounds of readings of each; 0 where nothing within reason confirms.
    minutes : float
        Bench minutes of all of it.
    table : DataFrame
        One row per outcome: `outcome`, `margin`, `build_sd`, `reading_sd`, `readings` (a build), `se`, `chance` to confirm a
        promise that is kept to the letter, and `alone`, the builds that this outcome by itself would take.
    risk, alpha : float
        Of not confirming what is true, and of confirming what is off by the margin.
    headline : str
    notes : tuple of str
    """

    builds: int
    rounds: int
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
        for row in self.table.to_dict("records"):
            lines.append(
                f"  {row['outcome']}: margin {number(row['margin'])}, scatter from build to build {number(row['build_sd'], 2)}"
                f", of a reading {number(row['reading_sd'], 2)}; chance to confirm {percent(row['chance'])}"
            )
        return "\n".join([*lines, "", *(f"Note: {note}" for note in self.notes)]).rstrip() + "\n"

    def _repr_html_(self) -> str:
        return f"<p><strong>{escape(self.headline)}</strong></p>{self.table.to_html(index=False, border=0)}"

    def __repr__(self) -> str:
        return f"<ConfirmationPlan: {self.headline}>"


def scatter_of(effects: Effects) -> Scatter:
    """Read the scatter out of an analysis."""
    sds = {str(row["source"]): float(row["sd"]) for _, row in effects.variance.iterrows()}
    basis = effects._fitted()
    build, reading = sds.get("build", 0.0), basis.reading_sd
    if effects.outcome.kind == "compared":  # its table of scatter is about comparisons
        build = float(np.sqrt(np.diag(basis.builds.between).mean()))
    together = sds.get("build and reading together")
    if together is not None:
        build = reading = together / math.sqrt(2.0)  # as draws of builds take it
    build = math.hypot(build, sds.get("unit", 0.0))
    df = float(basis.averages.posterior.df)
    return Scatter(build, reading, sds.get("session", 0.0), df, is_guess=together is not None)


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
    if not 0 < risk < 0.5:
        raise UsageError(f"risk is {risk}; it must be above 0 and below 0.5.")
    judged = [outcome for outcome in outcomes if outcome.matters is not None and outcome.name in scatters]
    if not judged:
        raise DataError(
            "No outcome that was read says what matters, so there is no margin to confirm; set 'matters' on one."
        )
    cost, many = effort or Effort(), raters or {}

    def chances(builds: int, rounds: int, which: Sequence[Outcome]) -> list[float]:
        return [_chance(scatters[one.name], one, builds, rounds * many.get(one.name, 1), alpha) for one in which]

    def minutes(builds: int, rounds: int) -> float:
        beside = 1 if any(scatters[one.name].session_sd > 0 for one in judged) else 0
        return builds * build_minutes + (builds + beside) * rounds * cost.reading_minutes + cost.session_minutes

    found = _fewest(lambda b, r: min(chances(b, r, judged)) >= 1 - risk, minutes)
    builds, rounds = found or (MOST_BUILDS, MOST_ROUNDS)
    rows = []
    for outcome, chance in zip(judged, chances(builds, rounds, judged), strict=True):
        scatter, readings = scatters[outcome.name], rounds * many.get(outcome.name, 1)
        alone = next((b for b in range(1, MOST_BUILDS + 1) if chances(b, rounds, [outcome])[0] >= 1 - risk), 0)
        rows.append(
            (
                outcome.name,
                outcome.matters,
                scatter.build_sd,
                scatter.reading_sd,
                readings,
                scatter.se(builds, readings),
                chance,
                alone,
            )
        )
    table = pd.DataFrame(
        rows, columns=["outcome", "margin", "build_sd", "reading_sd", "readings", "se", "chance", "alone"]
    )
    total = minutes(builds, rounds)
    notes = _notes(table, [scatters[one.name] for one in judged])
    if found is None:
        hard = [outcome for outcome, chance in zip(judged, table["chance"], strict=True) if chance < 1 - risk]
        names = [outcome.name for outcome in hard]
        tried = [(b, minutes(b, LESS_ROUNDS), min(chances(b, LESS_ROUNDS, hard))) for b in LESS]
        notes = (_less(tried, names), *notes)
        return ConfirmationPlan(0, 0, float("nan"), table, risk, alpha, _too_many(names), notes)
    return ConfirmationPlan(
        builds, rounds, total, table, risk, alpha, _headline(builds, rounds, total, risk, alpha), notes
    )


def _chance(scatter: Scatter, outcome: Outcome, builds: int, readings: int, alpha: float) -> float:
    assert outcome.matters is not None  # only those are asked
    return chance_to_confirm(outcome.matters, scatter.se(builds, readings), scatter.df + builds - 1, alpha)


def _fewest(is_enough: Callable[[int, int], bool], minutes: Callable[[int, int], float]) -> tuple[int, int] | None:
    """Return the builds and rounds with the fewest minutes that are enough; fewer builds first where two take the same."""
    pairs = [(b, r) for b in range(1, MOST_BUILDS + 1) for r in range(1, MOST_ROUNDS + 1)]
    for builds, rounds in sorted(pairs, key=lambda pair: (minutes(*pair), pair[0], pair[1])):
        if is_enough(builds, rounds):
            return builds, rounds
    return None


def _headline(builds: int, rounds: int, minutes: float, risk: float, alpha: float) -> str:
    each = f"{counted(rounds, 'round')} of readings{' of each' if builds > 1 else ''}"
    return (
        f"Confirm with {counted(builds, 'fresh build')} and {each}, {duration(minutes)}: a promise that is kept is confirmed "
        f"with {percent(1 - risk)} or more in each outcome, one that is off by what matters with {percent(alpha)} at most."
    )


def _less(tried: Sequence[tuple[int, float, float]], hard: Sequence[str]) -> str:
    """Say what builds within reason would give: a risk that can be lived with, or none that can."""
    told = [
        f"{percent(chance)} with {counted(builds, 'fresh build') if place == 0 else builds} ({duration(minutes)})"
        for place, (builds, minutes, chance) in enumerate(tried)
    ]
    names = listed(hard, "and")
    return (
        f"With {counted(LESS_ROUNDS, 'round')} of readings of each, the chance to confirm {names} is {listed(told, 'and')}. If "
        f"that will do, ask with a larger risk; or say that only a larger difference in {names} matters."
    )


def _too_many(hard: Sequence[str]) -> str:
    return (
        f"Not even {MOST_BUILDS} fresh builds with {MOST_ROUNDS} rounds each would confirm {', '.join(hard)} at this risk: the "
        "scatter is too large beside what matters."
    )


def _notes(table: pd.DataFrame, scatters: Sequence[Scatter]) -> tuple[str, ...]:
    notes = []
    if any(scatter.is_guess for scatter in scatters):
        notes.append(
            "Every build was read once, so that builds and readings cannot be told apart: both are taken to scatter alike. "
            "Read some builds twice and ask again."
        )
    if any(scatter.session_sd > 0 for scatter in scatters):
        notes.append(
            "Sessions differ: read something that was read before (the reference, or the best variant) as often in the same "
            "session."
        )
    if (table["build_sd"] > 0.5 * table["margin"]).any():
        notes.append(
            "Builds of the same settings differ by much of what matters; more readings of one build do not help there."
        )
    return tuple(notes)
