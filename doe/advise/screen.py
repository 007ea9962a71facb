"""From all variants within reach to the few worth a close look."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.belief import Belief
from doe.advise.reach import Reach
from doe.advise.search import climb, pool
from doe.advise.space import Codes, Space
from doe.model.effort import Effort

Floats = npt.NDArray[np.floating[Any]]

MOST_ENUMERATED = 24_000
"""Variants up to which the whole grid is looked at; beyond it is searched."""

SCREEN_DRAWS = 96
LOOKED_AT = 140
NEARLY = 1e-6
"""Weight of a variant's worth beside its expected improvement, where hardly any is expected to improve."""


@dataclass(frozen=True, slots=True)
class Shortlist:
    """What is left to compare closely.

    Attributes
    ----------
    codes : ndarray of shape (n_variants, n_factors)
        Variants that could be the next build.
    promising : ndarray of shape (n_promising, n_factors)
        Variants that are best in some possible world, whatever they take.
    cheapest_minutes : float
        Of building anything, whatever the hours left; infinite where nothing is within reach.
    """

    codes: Codes
    promising: Codes
    cheapest_minutes: float


def shortlist(
    belief: Belief,
    reach: Reach,
    effort: Effort,
    bar: Floats,
    carried: Collection[int],
    *,
    most_minutes: float,
    power: float,
    rng: np.random.Generator,
) -> Shortlist:
    """Pick the variants worth a close look.

    Parameters
    ----------
    belief : Belief
    reach : Reach
    effort : Effort
    bar : ndarray of shape (n_draws,)
        Worth that a variant has to exceed, world by world.
    carried : collection of int
        Starts whose unit carries a variant that was read: that is there, and no build.
    most_minutes : float
        Bench minutes left.
    power : float
        Gain is divided by minutes to this power.
    rng : numpy Generator
    """
    fixed = effort.session_minutes + effort.reading_minutes
    scorer = _Scorer(belief, reach, bar[:SCREEN_DRAWS], fixed, most_minutes, power)
    codes = candidates(reach.space, scorer, [belief.variant_codes], reach, rng)
    score, worths, start, minutes = scorer.full(codes)
    is_built = ~(reach.stands(codes, start) & np.isin(start, list(carried)))
    cheapest = float(minutes[is_built].min(initial=np.inf))
    within = np.isfinite(score)
    if not within.all():
        codes, score, worths, start = codes[within], score[within], worths[:, within], start[within]
    if not len(codes):
        return Shortlist(codes, codes, cheapest)
    chosen = _best_of(score, start, LOOKED_AT)
    promising = np.unique(np.concatenate([worths.argmax(axis=1), np.argsort(-worths.mean(axis=0))[:24]]))
    return Shortlist(codes[chosen], codes[promising], cheapest)


def candidates(
    space: Space,
    score: Callable[[Codes], Floats],
    seeds: Sequence[Codes],
    reach: Reach,
    rng: np.random.Generator,
) -> Codes:
    """Return the variants that keep all limits: all of a small grid, the well-scored part of a large one."""
    if space.size <= MOST_ENUMERATED:
        codes = space.everything()
        return codes[space.allowed(codes)]
    at_hand = [space.code(unit.settings) for unit in reach.starts if unit is not None]
    centres = np.unique(np.vstack([*seeds, *(code[None] for code in at_hand)]).astype(np.intp), axis=0)
    return climb(space, score, pool(space, centres, rng))


@dataclass(frozen=True, slots=True)
class _Scorer:
    """Quick score of many variants: expected improvement per minutes to a power, from few draws."""

    belief: Belief
    reach: Reach
    bar: Floats
    fixed_minutes: float
    most_minutes: float
    power: float

    def __call__(self, codes: Codes) -> Floats:
        return self.full(codes)[0]

    def full(self, codes: Codes) -> tuple[Floats, Floats, npt.NDArray[np.intp], Floats]:
        """Return score (minus infinity out of reach), worth per draw, start, and minutes to build."""
        minutes, _, start = self.reach.cheapest(codes)
        worths = self.belief.worth_on(codes, self.reach.unit_names, start, len(self.bar))
        gain = worths - self.bar[:, None].astype(worths.dtype)
        better = np.maximum(gain, 0, out=gain).mean(axis=0)
        if np.count_nonzero(better) < LOOKED_AT:  # then what comes nearest
            better = better + NEARLY * worths.mean(axis=0)
        total = minutes + self.fixed_minutes
        score = np.where(total <= self.most_minutes, better / np.maximum(total, 1.0) ** self.power, -np.inf)
        return score, worths, start, minutes


def _best_of(score: Floats, start: npt.NDArray[np.intp], count: int) -> npt.NDArray[np.intp]:
    """Return the places of the best scores, and of the best few from each start."""
    order = np.argsort(-score, kind="stable")
    places = [order[:count]]
    places += [order[start[order] == unit][: max(8, count // 10)] for unit in np.unique(start)]
    return np.unique(np.concatenate(places))
