"""What the maker expects of a factor, as a mild prior that readings overrule."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
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

OVERRULED = 0.02
"""An expectation whose chance has fallen below this, although it counts, is overruled: it is said to be, and counts no more.
With 0.05 a third of those that were right of an effect that just matters were; with this 12 to 20 %, and what pointed the wrong
way was in 78 to 82 % of logs of four variants and 95 to 100 % of eight."""

SURE = 0.95
"""What is believed instead is said to be so from this chance on, else to be most likely."""

ODDS = 3.0
"""How many times likelier a world counts that is as expected: a mild opinion, which a few clear readings overrule."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """What expectations make of the worlds.

    Attributes
    ----------
    log_weight : ndarray of shape (n_draws,)
        Of each world.
    overruled : frozenset of Expectation
        Those that readings overrule; they weigh nothing.
    """

    log_weight: Floats
    overruled: frozenset[Expectation]


def weigh(
    expectations: Sequence[Expectation],
    outcomes: Sequence[Outcome],
    draws: Sequence[FullDraws],
    log_weight: Floats | float = 0.0,
) -> Weighed:
    """Weigh worlds by what is expected, as long as readings do not overrule it.

    Parameters
    ----------
    expectations : sequence of Expectation
    outcomes : sequence of Outcome
    draws : sequence of FullDraws
        One per outcome.
    log_weight : ndarray of shape (n_draws,), optional
        Of each world, from elsewhere.
    """
    place = {outcome.name: number for number, outcome in enumerate(outcomes)}
    before = np.zeros(len(draws[0].build_sd)) + log_weight
    total, overruled = before.copy(), set()
    for item in expectations:
        if item.outcome not in place:
            continue
        mine = draws[place[item.outcome]]
        agreed = agrees(item, mine)
        if mine.variants and _chance(agreed, before) < OVERRULED:
            overruled.add(item)
        else:
            total += np.where(agreed, np.log(ODDS), 0.0) + _size_weight(item, mine)
    return Weighed(total, frozenset(overruled))


def _chance(agreed: npt.NDArray[np.bool_], log_weight: Floats) -> float:
    """Chance of what is expected, if it counts."""
    weight = np.exp(log_weight - log_weight.max()) * np.where(agreed, ODDS, 1.0)
    return float(weight[agreed].sum() / weight.sum())


def agrees(item: Expectation, draws: FullDraws) -> npt.NDArray[np.bool_]:
    """Tell in which worlds the factor does what is expected, shape (n_draws,)."""
    if item.effect == "nothing":
        touched = [place for place, term in enumerate(draws.terms) if item.factor in term.factors]
        return ~np.asarray(draws.included[:, touched].any(axis=1), dtype=bool)
    slope = _slope(item, draws)
    return np.asarray(slope > 0 if item.effect == "raises" else slope < 0, dtype=bool)


def notes_on(
    expectations: Sequence[Expectation],
    outcomes: Sequence[Outcome],
    draws: Sequence[FullDraws],
    overruled: Collection[Expectation],
    units: Mapping[str, str],
) -> tuple[str, ...]:
    """Say what was expected and how it is believed now, and which expectations the readings overrule.

    Sizes are told in the `units` of their outcomes, those without a goal among them.
    """
    place = {outcome.name: number for number, outcome in enumerate(outcomes)}
    return tuple(
        f"Expected by the maker, as a mild prior: {item.sentence(units.get(item.outcome, ''))}; "
        + _belief(item, draws[place[item.outcome]] if item.outcome in place else None, item in overruled)
        for item in expectations
    )


def _belief(item: Expectation, draws: FullDraws | None, is_overruled: bool) -> str:
    if draws is None:
        return f"{wording.spaced(item.outcome)} plays no part in this advice yet."
    chance = float(agrees(item, draws).mean())
    if not draws.variants:
        return f"before any reading the chance of it is put at {wording.chance(chance)}."
    found = f"with the readings the chance of it is {wording.chance(chance)}"
    return (
        f"{found}; they overrule it, and it counts no more{_instead(item, draws)}."
        if is_overruled
        else f"{found}, for this advice; analyses go by readings alone."
    )


def _instead(item: Expectation, draws: FullDraws) -> str:
    """Say what is believed in its place, where the readings settle on one thing."""
    chances: dict[Direction, float] = {
        other: float(agrees(replace(item, effect=other, size=None), draws).mean())
        for other in get_args(Direction)
        if other != item.effect
    }
    other = max(chances, key=lambda name: chances[name])
    words = {"raises": "more of it raises", "lowers": "more of it lowers", "nothing": "it does nothing to"}
    if chances[other] <= 0.5:
        return ""
    is_sure = other != "nothing" and chances[other] > SURE  # that it does nothing is for the analysis to say
    return f" ({'' if is_sure else 'most likely '}{words[other]} {wording.spaced(item.outcome)})"


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
