"""What the maker expects of a factor, as a mild prior that readings overrule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from doe.advise.prior import FullDraws
from doe.coding import Coding, Term
from doe.model import wording
from doe.model.choices import choose
from doe.model.errors import UsageError, did_you_mean
from doe.model.numbers import finite
from doe.model.outcome import Outcome

Floats = npt.NDArray[np.floating[Any]]
Direction = Literal["raises", "lowers", "nothing"]

ODDS = 3.0
"""How many times likelier a world counts that is as expected: a mild opinion, which a few clear readings overrule."""


@dataclass(frozen=True, slots=True)
class Expectation:
    """One thing the maker expects.

    Attributes
    ----------
    factor, outcome : str
        Which factor acts on which outcome.
    effect : {"raises", "lowers", "nothing"}
        What more of the factor does.
    size : float or None
        Change of the outcome over the factor's range that is expected, in its unit, without sign.

    Raises
    ------
    UsageError
        If the effect is none of these, or the size is not above zero.
    """

    factor: str
    outcome: str
    effect: Direction
    size: float | None = None

    def __post_init__(self) -> None:
        choose(f"What is expected of {self.factor}", self.effect, Direction)
        if self.size is not None and (self.effect == "nothing" or finite("size", self.size) <= 0):
            raise UsageError(
                f"The size expected of {self.factor} is {self.size}; it must be above 0, and fits no 'nothing'."
            )

    def sentence(self) -> str:
        """Say it as the maker would."""
        if self.effect == "nothing":
            return f"{self.factor} does nothing to {self.outcome}"
        size = f" by about {wording.number(self.size)}" if self.size is not None else ""
        return f"more {self.factor} {self.effect} {self.outcome}{size}"


def check_expectations(expectations: Sequence[Expectation], coding: Coding, outcomes: Sequence[Outcome]) -> None:
    """Check names, and that a direction is expected only of what has one.

    Raises
    ------
    UsageError
        On the first that is wrong.
    """
    names = [outcome.name for outcome in outcomes]
    known = {factor.name: factor for factor in coding.factors}
    for item in expectations:
        if item.factor not in known:
            raise UsageError(
                f"Something is expected of '{item.factor}', which is no factor.{did_you_mean(item.factor, known)}"
            )
        if item.outcome not in names:
            raise UsageError(
                f"{item.factor} is expected to act on '{item.outcome}', which is no outcome with a goal."
                f"{did_you_mean(item.outcome, names)}"
            )
        if item.effect != "nothing" and known[item.factor].kind == "categorical":
            raise UsageError(
                f"{item.factor} has no order, so there is no more of it; only 'nothing' can be expected of it."
            )


def weigh(expectations: Sequence[Expectation], outcomes: Sequence[Outcome], draws: Sequence[FullDraws]) -> Floats:
    """Return the log weight of each world, shape (n_draws,).

    Parameters
    ----------
    expectations : sequence of Expectation
    outcomes : sequence of Outcome
    draws : sequence of FullDraws
        One per outcome.
    """
    place = {outcome.name: number for number, outcome in enumerate(outcomes)}
    total = np.zeros(len(draws[0].build_sd))
    for item in expectations:
        if item.outcome in place:
            total += np.where(agrees(item, draws[place[item.outcome]]), np.log(ODDS), 0.0)
            total += _size_weight(item, draws[place[item.outcome]])
    return total


def agrees(item: Expectation, draws: FullDraws) -> npt.NDArray[np.bool_]:
    """Tell in which worlds the factor does what is expected, shape (n_draws,)."""
    if item.effect == "nothing":
        touched = [place for place, term in enumerate(draws.terms) if item.factor in term.factors]
        return ~np.asarray(draws.included[:, touched].any(axis=1), dtype=bool)
    slope = _slope(item, draws)
    return np.asarray(slope > 0 if item.effect == "raises" else slope < 0, dtype=bool)


def notes_on(
    expectations: Sequence[Expectation], outcomes: Sequence[Outcome], draws: Sequence[FullDraws]
) -> tuple[str, ...]:
    """Say what was expected and how it is believed now."""
    place = {outcome.name: number for number, outcome in enumerate(outcomes)}
    return tuple(
        f"Expected by the maker, as a mild prior: {item.sentence()}; with the readings the chance of it is "
        f"{wording.percent(float(agrees(item, draws[place[item.outcome]]).mean()))}."
        for item in expectations
        if item.outcome in place
    )


def _slope(item: Expectation, draws: FullDraws) -> Floats:
    """First column of the main effect: half the change from the low to the high end, or from first to last level."""
    start = 1
    for term, width in zip(draws.terms, draws.widths, strict=True):
        if term == Term((item.factor,)):
            return draws.coefficients[:, start]
        start += width
    raise AssertionError("all factors have a main effect")


def _size_weight(item: Expectation, draws: FullDraws) -> Floats:
    if item.size is None:
        return np.zeros(len(draws.build_sd))
    away = (np.abs(2 * _slope(item, draws)) - item.size) / item.size
    result: Floats = -0.5 * np.minimum(away**2, 2 * np.log(ODDS))
    return result
