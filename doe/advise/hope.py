"""Goals are set within reach: worlds in which nothing good exists are harder to believe.

Whoever states at which value an outcome is worth everything, and at which nothing, has seen such things or has reason to
think them possible. A world in which no variant at all comes near is not impossible, but it has to be shown by readings.
Without this, a log of poor variants would soon look as if nothing better existed, and the search would end where it began.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.belief import quick
from doe.advise.prior import FullDraws
from doe.advise.space import Codes, Space, drawn_codes
from doe.advise.worth import best_worth
from doe.fit.picking import systematic_picks
from doe.model.outcome import Outcome
from doe.model.patience import checkpoint

Floats = npt.NDArray[np.floating[Any]]

HOPED_FOR = 0.9
"""Worth of the best variant within the limits from which on nothing speaks against a world."""

SPREAD = 0.12
"""How fast belief falls below it: one standard deviation of a half normal curve."""

LEAST = 0.02
"""Weight that even a hopeless world keeps."""

N_LOOKED_AT = 2_000

AT_ONCE = 128
"""Worlds looked at together: as many as fit a processor's cache."""


def hope(outcomes: Sequence[Outcome], draws: Sequence[FullDraws], space: Space, rng: np.random.Generator) -> Floats:
    """Return the log weight of each world by how far its best variant makes the goals look set within reach.

    Parameters
    ----------
    outcomes : sequence of Outcome
        With a goal.
    draws : sequence of FullDraws
        One per outcome; draw d of all of them is one world.
    space : Space
        Where each world's best variant is looked for: in a sample of the grid, and among the variants read.
    rng : numpy Generator

    Returns
    -------
    ndarray of shape (n_draws,)
    """
    codes = sampled(space, rng)
    matrices = [space.matrix(codes, item.terms).T for item in draws]
    coefficients = [quick(item.coefficients) for item in draws]
    best = []
    for start in range(0, len(coefficients[0]), AT_ONCE):
        checkpoint()
        block = slice(start, start + AT_ONCE)
        values = [rows[block] @ matrix for rows, matrix in zip(coefficients, matrices, strict=True)]
        best.append(best_worth(outcomes, values))
    reached = np.maximum(np.concatenate(best), _kept(outcomes, draws))
    missing = np.maximum(HOPED_FOR - reached, 0.0) / SPREAD
    result: Floats = np.log(np.maximum(np.exp(-0.5 * missing**2), LEAST))
    return result


def picked(
    draws: Sequence[FullDraws], log_weight: Floats, n_draws: int, rng: np.random.Generator
) -> tuple[FullDraws, ...]:
    """Pick worlds in proportion to their weights, the same worlds for every outcome.

    Parameters
    ----------
    draws : sequence of FullDraws
        One per outcome, several times as many as wanted.
    log_weight : ndarray of shape (n_given,)
    n_draws : int
        Worlds wanted.
    rng : numpy Generator

    Notes
    -----
    Sampling-importance resampling (Rubin, D. B. 1988, Using the SIR algorithm to simulate posterior distributions, Bayesian
    Statistics 3, 395-402), with systematic picks.
    """
    picks = systematic_picks(np.exp(log_weight - log_weight.max()), n_draws, rng)
    return tuple(item.taken(picks) for item in draws)


def _kept(outcomes: Sequence[Outcome], draws: Sequence[FullDraws]) -> Floats:
    """Best worth among the variants that all outcomes were read of, world by world."""
    common = [name for name in draws[0].variants if all(name in item.variants for item in draws)]
    if not common:
        return np.zeros(len(draws[0].build_sd))
    columns = [[item.variants.index(name) for name in common] for item in draws]
    values = [item.variant_means[:, places] for item, places in zip(draws, columns, strict=True)]
    return best_worth(outcomes, values)


def sampled(space: Space, rng: np.random.Generator) -> Codes:
    """Return variants that keep the limits: all of a small grid, some of a large one; or any, where none of those does."""
    codes = space.everything() if space.size <= N_LOOKED_AT else drawn_codes(space.shape, N_LOOKED_AT, rng)
    allowed = space.allowed(codes)
    return codes[allowed] if allowed.any() else codes
