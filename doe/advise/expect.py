"""What the maker expects of a factor, as a mild prior that readings overrule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, get_args

import numpy as np
import numpy.typing as npt

from doe.advise.prior import FullDraws
from doe.coding import Term
from doe.model import wording
from doe.model.choices import Direction
from doe.model.expectation import Expectation
from doe.model.outcome import Outcome

Floats = npt.NDArray[np.floating[Any]]

OVERRULED = 0.05
"""An expectation whose chance has fallen below this is said to be overruled."""

ODDS = 3.0
"""How many times likelier a world counts that is as expected: a mild opinion, which a few clear readings overrule."""


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
    """Say what was expected and how it is believed now, and which expectations the readings overrule."""
    place = {outcome.name: number for number, outcome in enumerate(outcomes)}
    return tuple(
        f"Expected by the maker, as a mild prior: {item.sentence()}; "
        + _belief(item, draws[place[item.outcome]] if item.outcome in place else None)
        for item in expectations
    )


def _belief(item: Expectation, draws: FullDraws | None) -> str:
    if draws is None:
        return f"{item.outcome} plays no part in this advice yet."
    chance = float(agrees(item, draws).mean())
    if not draws.variants:
        return f"before any reading the chance of it is put at {wording.chance(chance)}."
    overruled = f"; the readings overrule it{_instead(item, draws)}" if chance < OVERRULED else ""
    return f"with the readings the chance of it is {wording.chance(chance)}{overruled}."


def _instead(item: Expectation, draws: FullDraws) -> str:
    """Say what is believed in its place, where the readings settle on one thing."""
    chances: dict[Direction, float] = {
        other: float(agrees(replace(item, effect=other, size=None), draws).mean())
        for other in get_args(Direction)
        if other != item.effect
    }
    other = max(chances, key=lambda name: chances[name])
    words = {"raises": "more of it raises", "lowers": "more of it lowers", "nothing": "it does nothing to"}
    return f" ({words[other]} {item.outcome})" if chances[other] > 0.5 else ""


def _slope(item: Expectation, draws: FullDraws) -> Floats:
    """First column of the main effect, the others as they stood: half the change between ends, or first to last level."""
    start = 1
    for term, width in zip(draws.terms, draws.widths, strict=True):
        if term == Term((item.factor,)):
            return draws.as_read[:, start]
        start += width
    raise AssertionError("all factors have a main effect")


def _size_weight(item: Expectation, draws: FullDraws) -> Floats:
    if item.size is None:
        return np.zeros(len(draws.build_sd))
    away = (np.abs(2 * _slope(item, draws)) - item.size) / item.size
    result: Floats = -0.5 * np.minimum(away**2, 2 * np.log(ODDS))
    return result
