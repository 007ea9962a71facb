"""A factor that moves one outcome is likely to move others: worlds in which outcomes agree on what acts are easier to believe.

Each outcome is fitted by itself, so that a factor would be thought to act on one of three outcomes far more often than on one
of one, and what is plain in one outcome would say nothing where another scatters too much to tell. Whoever listens to several
outcomes of one thing knows better: most factors do something to the thing or do not (Brown, P. J., Vannucci, M. and Fearn, T.
(1998). Multivariate Bayesian variable selection and prediction. Journal of the Royal Statistical Society B 60, 627-641, who
let a factor act on all responses or none; here it may pass over some. doi:10.1111/1467-9868.00144).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.prior import FullDraws
from doe.coding import Coding
from doe.fit.picking import systematic_picks
from doe.model.patience import checkpoint

Floats = npt.NDArray[np.floating[Any]]
Index = npt.NDArray[np.intp]

USUAL = 0.3
"""Chance that a factor acts on an outcome, about as the outcomes' own priors have it: 0.35 for factors never varied, 0.25 for
others. Pairing three outcomes lifts the first to 0.41, towards what benches show (see DEVELOPERS.md)."""

ALIVE, DEAD = 0.8, 0.05
"""The same for a factor that does something to the thing, and for one that does not."""


def related(draws: Sequence[FullDraws], coding: Coding, rng: np.random.Generator) -> tuple[FullDraws, ...]:
    """Pair the draws of several outcomes so that they follow the prior under which outcomes share what acts.

    Parameters
    ----------
    draws : sequence of FullDraws
        One per outcome, all with the same number of draws, each from the posterior of that outcome by itself.
    coding : Coding
        Names the factors.
    rng : numpy Generator

    Returns
    -------
    tuple of FullDraws
        As many draws of each; draw d of all of them together is one world. Alone, an outcome is returned as it is.

    Notes
    -----
    Outcomes are joined one after another. All draws so far are weighed against all draws of the next by the ratio of the
    joint prior to the separate ones, and pairs are picked in proportion (sequential importance resampling; Liu, J. S. and
    Chen, R. (1998). Sequential Monte Carlo methods for dynamic systems. Journal of the American Statistical Association 93,
    1032-1044). The ratio depends on what acts only, so draws alike in that are weighed together.
    """
    if len(draws) == 1:
        return tuple(draws)
    acting = [_acting(item, coding) for item in draws]
    picks, counts = [np.arange(len(acting[0]))], acting[0].astype(np.intp)
    for place, mine in enumerate(acting[1:], start=1):
        checkpoint()
        before, after = _grouped(counts), _grouped(mine.astype(np.intp))
        weights = np.exp(_log_ratio(before.patterns, after.patterns, place))
        weights *= np.outer(before.sizes, after.sizes)
        pairs = np.unravel_index(systematic_picks(weights.ravel(), len(mine), rng), weights.shape)
        first, second = before.members(pairs[0], rng), after.members(pairs[1], rng)
        picks = [*(pick[first] for pick in picks), second]
        counts = counts[first] + mine[second]
    return tuple(item.taken(pick) for item, pick in zip(draws, picks, strict=True))


def _log_ratio(counts: Index, acting: Index, n_outcomes: int) -> Floats:
    """Weigh what acted on `counts` of `n_outcomes` against what acts on the next, shape (n_counts, n_acting); at most 0."""
    numbers = np.arange(n_outcomes + 1)
    so_far = _log_chance(numbers, n_outcomes - numbers)
    with_it = _log_chance(numbers + 1, n_outcomes - numbers) - so_far - np.log(USUAL)
    without = _log_chance(numbers, n_outcomes + 1 - numbers) - so_far - np.log(1.0 - USUAL)
    result: Floats = without[counts].sum(axis=1)[:, None] + (with_it - without)[counts] @ acting.T
    result -= result.max()
    return result


def _log_chance(n_with: Index, n_without: Index) -> Floats:
    """Log chance that a factor acts on some given outcomes and not on some others."""
    is_alive = (USUAL - DEAD) / (ALIVE - DEAD)
    alive = is_alive * ALIVE**n_with * (1.0 - ALIVE) ** n_without
    result: Floats = np.log(alive + (1.0 - is_alive) * DEAD**n_with * (1.0 - DEAD) ** n_without)
    return result


@dataclass(frozen=True, slots=True)
class _Groups:
    """Rows that are alike: one of each, how many there are, and their places, group by group."""

    patterns: Index
    sizes: Index
    order: Index

    def members(self, groups: Index, rng: np.random.Generator) -> Index:
        """Pick a place at random from each of the groups given."""
        starts = np.cumsum(self.sizes) - self.sizes
        places: Index = self.order[starts[groups] + rng.integers(self.sizes[groups])]
        return places


def _grouped(rows: Index) -> _Groups:
    # a row as one item: five times as fast as unique rows
    whole = np.ascontiguousarray(rows).view(np.dtype((np.void, rows.dtype.itemsize * rows.shape[1]))).ravel()
    _, first, group, sizes = np.unique(whole, return_index=True, return_inverse=True, return_counts=True)
    return _Groups(rows[first], sizes, np.argsort(group, kind="stable"))


def _acting(item: FullDraws, coding: Coding) -> npt.NDArray[np.bool_]:
    """Return which factors act on the outcome, by themselves or with others, shape (n_draws, n_factors)."""
    result = np.zeros((len(item.included), len(coding.factors)), dtype=bool)
    place = {factor.name: where for where, factor in enumerate(coding.factors)}
    for column, term in enumerate(item.terms):
        for name in place.keys() & set(term.factors):
            result[:, place[name]] |= item.included[:, column]
    return result
