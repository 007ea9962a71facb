"""Effects that act are not next to nothing: a prior that vanishes at zero, drawn from, and posterior draws picked by it.

A normal prior on an active effect believes most in sizes that nobody could tell from none; whoever chooses by it goes on
trying changes that can bring nothing worth having. The moment prior is the normal one times the squared effect (Johnson, V.
and Rossell, D. (2010). On the use of non-local prior densities in Bayesian hypothesis tests. Journal of the Royal
Statistical Society B 72, 143-170, equation 6 with r = 1, and section 4.2 for several columns.
doi:10.1111/j.1467-9868.2009.00730.x): what hardly moves an outcome is soon held for inactive.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from doe.fit.active import Posterior
from doe.fit.picking import systematic_picks

Array = npt.NDArray[Any]
Index = npt.NDArray[np.intp]

_LEAST = 1e-12


def moment_picks(
    posterior: Posterior,
    models: Index,
    coefficients: Array,
    variances: Array,
    n_draws: int,
    rng: np.random.Generator,
) -> Index:
    """Pick draws made under normal priors so that those picked follow moment priors with the same scales.

    Parameters
    ----------
    posterior : Posterior
    models : ndarray of int, shape (n_given,)
        Model of each draw.
    coefficients : ndarray of shape (n_given, n_columns)
        In outcome units per column of equal prior; 0 where absent.
    variances : ndarray of shape (n_given,)
        Row variance of each draw, in squared outcome units.
    n_draws : int
        Draws to pick, several times fewer than given.
    rng : numpy.random.Generator

    Returns
    -------
    ndarray of int, shape (n_draws,)
        Places among those given (sampling-importance resampling, Rubin 1988).
    """
    slices = [posterior.problem.slices[term.name] for term in posterior.problem.terms]
    widths = np.array([place.stop - place.start for place in slices])
    squares = coefficients**2
    if squares.shape[1] > len(slices):
        squares = np.add.reduceat(squares, [place.start for place in slices], axis=1) / widths
    squares /= (posterior.scales[models] ** 2 * variances)[:, None]
    np.maximum(squares, _LEAST, out=squares)
    squares[~posterior.included[models]] = 1.0
    return systematic_picks(squares.prod(axis=1), n_draws, rng)


def moment_draws(n_draws: int, width: int, rng: np.random.Generator) -> Array:
    """Draw effects of terms from the moment prior of mean square one per column, shape (n_draws, width).

    Every direction is alike; the squared length has a chi-squared distribution with two degrees of freedom more than there are
    columns.
    """
    direction = rng.standard_normal((n_draws, width))
    squares = rng.chisquare(width + 2, n_draws) * width / (width + 2)
    return np.asarray(direction * np.sqrt(squares / (direction**2).sum(axis=1))[:, None])
