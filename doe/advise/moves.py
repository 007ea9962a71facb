"""The moves that compete: build and read, read again, confirm on another unit; and what each is worth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise import gain
from doe.advise.belief import Belief
from doe.advise.reach import Reach
from doe.advise.space import Codes
from doe.model.effort import Effort

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.intp]

POWER = 0.85
"""Gain is divided by minutes to this power: 1 would starve rebuilds, 0 would forget the bench clock. Measured, in rehearsals
on seeds kept for tuning."""

SHARE_COUNTED = 0.5
"""Share of what matters that an improvement has to exceed before it counts: whatever is cheap could bring next to nothing
again and again, and the maker has said what is worth talking about."""

MOST_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Moves:
    """Moves side by side; all arrays have one entry, or column, per move.

    Attributes
    ----------
    codes : ndarray of shape (n_moves, n_factors)
        Settings of the variant that is read.
    start : ndarray of shape (n_moves,)
        Place in `Reach.starts`.
    build_minutes, price : ndarray of shape (n_moves,)
        To make the variant; nothing where it is there.
    rounds : ndarray of shape (n_moves,)
        Rounds of readings.
    variant : ndarray of shape (n_moves,)
        Place in `Belief.variants` of a variant read again; -1 where one is built.
    is_confirmation : ndarray of bool of shape (n_moves,)
        Whether the best variant is made once more.
    values : tuple of ndarray of shape (n_draws, n_moves)
        True outcome values of the very build that is read.
    worth : ndarray of shape (n_draws, n_moves)
        Their worth.
    """

    codes: Codes
    start: Ints
    build_minutes: Floats
    price: Floats
    rounds: Floats
    variant: Ints
    is_confirmation: npt.NDArray[np.bool_]
    values: tuple[Floats, ...]
    worth: Floats

    def __len__(self) -> int:
        return len(self.start)

    def take(self, places: Ints | npt.NDArray[np.bool_]) -> Moves:
        """Return some of the moves."""
        return Moves(
            self.codes[places],
            self.start[places],
            self.build_minutes[places],
            self.price[places],
            self.rounds[places],
            self.variant[places],
            self.is_confirmation[places],
            tuple(value[:, places] for value in self.values),
            self.worth[:, places],
        )

    def minutes(self, effort: Effort, *, is_new_session: bool = True) -> Floats:
        """Return the bench minutes of each move, its readings included."""
        fixed = effort.session_minutes if is_new_session else 0.0
        result: Floats = self.build_minutes + self.rounds * effort.reading_minutes + fixed
        return result


def rounds_for(build_minutes: Floats, effort: Effort) -> Floats:
    """Return the rounds of readings worth taking of a new build: sqrt(build / reading minutes), 1 to 3.

    Two-stage sampling: with about as much scatter between builds as between readings, the cheapest precision comes from
    this many readings per build (Cochran, W. G. (1977). Sampling Techniques, 3rd ed., section 10.6).
    """
    if effort.reading_minutes <= 0:
        return np.full(len(build_minutes), float(MOST_ROUNDS))
    rounds: Floats = np.clip(np.round(np.sqrt(build_minutes / effort.reading_minutes)), 1, MOST_ROUNDS)
    return rounds


def fitted(moves: Moves, effort: Effort, spent: float, most: float, *, is_new_session: bool) -> Moves:
    """Return moves with fewer rounds of readings, one at least, where they would take more than what is left of the minutes."""
    too_long = moves.minutes(effort, is_new_session=is_new_session) + spent - most
    if effort.reading_minutes <= 0 or not (too_long > 0).any():
        return moves
    rounds = moves.rounds - np.ceil(np.maximum(too_long, 0.0) / effort.reading_minutes)
    return replace(moves, rounds=np.maximum(rounds, 1.0))


def join(parts: Sequence[Moves]) -> Moves:
    """Put several sets of moves into one."""
    return Moves(
        np.vstack([part.codes for part in parts]),
        np.concatenate([part.start for part in parts]),
        np.concatenate([part.build_minutes for part in parts]),
        np.concatenate([part.price for part in parts]),
        np.concatenate([part.rounds for part in parts]),
        np.concatenate([part.variant for part in parts]),
        np.concatenate([part.is_confirmation for part in parts]),
        tuple(np.hstack(list(columns)) for columns in zip(*(part.values for part in parts), strict=True)),
        np.hstack([part.worth for part in parts]),
    )


def build_moves(
    belief: Belief, reach: Reach, codes: Codes, effort: Effort, carried: Mapping[int, int], best: int | None
) -> Moves:
    """List the moves that build a variant, each from the start that takes the fewest minutes.

    Parameters
    ----------
    belief : Belief
    reach : Reach
    codes : ndarray of shape (n_variants, n_factors)
        Variants to consider.
    effort : Effort
    carried : mapping of int to int
        Start -> place in `Belief.variants` of the variant it carries: those are there and need no building.
    best : int or None
        Place of the best variant, which is added as a confirmation on another unit.
    """
    minutes, price, start = reach.cheapest(codes)
    there = reach.stands(codes, start) & np.isin(start, list(carried))
    keep = np.isfinite(minutes) & ~there
    codes, minutes, price, start = codes[keep], minutes[keep], price[keep], start[keep]
    confirms = np.zeros(len(codes), dtype=bool)
    if best is not None:
        extra = _confirmation(belief, reach, carried, best)
        if extra is not None:
            same = (codes == extra[0]).all(axis=1)
            codes = np.vstack([codes[~same], extra[0][None]])
            minutes, price = np.append(minutes[~same], extra[1]), np.append(price[~same], extra[2])
            start, confirms = np.append(start[~same], extra[3]), np.append(confirms[~same], True)
    designs = belief.values_on(codes, reach.unit_names, start)
    return Moves(
        codes, start, minutes, price, rounds_for(minutes, effort), np.full(len(codes), -1), confirms,
        belief.as_built(designs), belief.design_worth(designs),
    )  # fmt: skip


def _confirmation(
    belief: Belief, reach: Reach, carried: Mapping[int, int], best: int
) -> tuple[Ints, float, float, int] | None:
    code = belief.variant_codes[best]
    if not reach.space.allowed(code[None])[0]:  # it was built before the limit was set
        return None
    start = elsewhere(reach, code)
    return (code, *start) if start is not None else None


def elsewhere(reach: Reach, code: Ints) -> tuple[float, float, int] | None:
    """Return minutes, price and start of building a variant on another unit than stands at it; None where that cannot be."""
    costs = [tables.total(code[None]) for tables in reach.tables]
    stands = reach.stands(np.tile(code, (len(costs), 1)), np.arange(len(costs)))
    return min(
        (
            (float(minutes[0]), float(price[0]), place)
            for place, (minutes, price) in enumerate(costs)
            if math.isfinite(minutes[0]) and not stands[place]
        ),
        default=None,
    )


def reading_moves(belief: Belief, reach: Reach, effort: Effort, carried: Mapping[int, int], n_factors: int) -> Moves:
    """List the moves that read again what the units carry."""
    starts = np.array(list(carried), dtype=np.intp)
    places = np.array(list(carried.values()), dtype=np.intp)
    nothing = np.zeros(len(starts))
    session = np.full(len(starts), effort.session_minutes)
    values = tuple(value[:, places] for value in belief.variant_values)
    codes = belief.variant_codes[places].reshape(len(starts), n_factors)
    return Moves(
        codes, starts, nothing, nothing, rounds_for(session, effort), places, np.zeros(len(starts), dtype=bool), values,
        belief.worth(values),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Judged:
    """What each move is expected to bring, in worth.

    Attributes
    ----------
    improve : ndarray of shape (n_moves,)
        How far a new variant is expected to lie above the best as believed now, beyond what does not count; both as their
        settings make them, so that nothing is gained by building the same again. Nothing for a reading.
    learn : ndarray of shape (n_moves,)
        How much better the best variant within reach would look.
    weights : pair of float
        What improving and what learning count for.
    """

    improve: Floats
    learn: Floats
    weights: tuple[float, float]

    @property
    def value(self) -> Floats:
        """Improving and learning in one currency."""
        result: Floats = self.weights[0] * self.improve + self.weights[1] * self.learn
        return result

    @property
    def is_mainly_improving(self) -> npt.NDArray[np.bool_]:
        """Whether improving is the larger part of a move's value."""
        result: npt.NDArray[np.bool_] = self.weights[0] * self.improve >= self.weights[1] * self.learn
        return result


def judge(
    moves: Moves,
    *,
    kept: Floats,
    promised: Floats,
    noise: Floats,
    weights: tuple[float, float],
    nodes: Floats,
    bar: Floats,
) -> Judged:
    """Judge moves by what they are expected to bring, and by what their readings are expected to change.

    Parameters
    ----------
    moves : Moves
    kept : ndarray of shape (n_draws, n_kept)
        Worth of the variants that exist.
    promised : ndarray of shape (n_draws, n_promised)
        Worth of variants that could be built later.
    noise : ndarray of shape (n_outcomes, n_moves)
        Variance of the readings of each move.
    weights : pair of float
        What improving and what learning count for.
    nodes : ndarray of shape (n_nodes, n_outcomes)
        See `nodes.normal_nodes`.
    bar : ndarray of shape (n_draws,)
        Worth that a new variant has to exceed, world by world.
    """
    values = list(moves.values)
    root = gain.inverse_root(gain.reading_covariance(values, noise))
    is_built = moves.variant < 0
    own_mean = np.where(is_built, moves.worth.mean(axis=0), -1.0)
    own_shift = np.where(is_built, gain.own_shifts(moves.worth, values, root), 0.0)
    improve = np.where(is_built, gain.expected_improvement(moves.worth, bar[:, None]), 0.0)
    alternatives = np.hstack([kept, promised])
    means, shift = alternatives.mean(axis=0), gain.shifts(alternatives, values, root)
    learn = _with_own(means, shift, own_mean, own_shift, nodes) - max(means.max(), 0.0)
    return Judged(improve, np.maximum(learn, 0.0), weights)


def _with_own(means: Floats, shift: Floats, own_mean: Floats, own_shift: Floats, nodes: Floats) -> Floats:
    every_mean = np.vstack([np.broadcast_to(means[:, None], shift.shape[1:]), own_mean[None]])
    every_shift = np.concatenate([shift, own_shift[:, None]], axis=1)
    return gain.expected_best(every_mean, every_shift, nodes)


def after(
    arrays: Sequence[Floats], readings: Sequence[Floats], noise: Floats, rng: np.random.Generator
) -> list[Floats]:
    """Return draws with the scatter that is left once a move's readings are in, their means unchanged.

    Parameters
    ----------
    arrays : sequence of ndarray of shape (n_draws, ...)
        What is believed.
    readings : sequence of ndarray of shape (n_draws,)
        True value that the move reads, one per outcome.
    noise : ndarray of shape (n_outcomes,)
        Variance of its readings.
    rng : numpy Generator

    Notes
    -----
    Matheron's rule: each draw is corrected by the readings it would have produced (Journel, A. and Huijbregts, C.
    (1978). Mining Geostatistics, ch. VII).
    """
    seen = np.stack(
        [value + math.sqrt(var) * rng.standard_normal(len(value)) for value, var in zip(readings, noise, strict=True)],
        axis=1,
    )
    seen = seen - seen.mean(axis=0)
    inverse = np.linalg.pinv(seen.T @ seen / len(seen))
    result = []
    for array in arrays:
        flat = array.reshape(len(array), -1)
        together = seen.T @ (flat - flat.mean(axis=0)) / len(seen)
        result.append((flat - seen @ (inverse @ together)).reshape(array.shape))
    return result


def without(moves: Moves, start: int) -> Moves:
    """Leave out the readings of what a unit carries, once it is to be changed."""
    return moves.take(~((moves.variant >= 0) & (moves.start == start)))


def with_worth(moves: Moves, values: Sequence[Floats], worth: Floats) -> Moves:
    """Return the moves with other draws."""
    return replace(moves, values=tuple(values), worth=worth)
