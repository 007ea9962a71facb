"""Rated outcomes as what they are: ordered grades, by a cumulative logit with an offset for each rater.

P(grade <= k) = logistic(threshold_k - eta), eta linear in the terms (McCullagh 1980, J. Roy. Statist. Soc. B 42, 109-142).
It stands beside the mixed model on grades as a second opinion that does not take the steps of the scale to be equal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from doe.fit.multinomial import climb

Array = npt.NDArray[Any]


@dataclass(frozen=True, slots=True)
class OrderedFit:
    """A fitted cumulative logit.

    Attributes
    ----------
    coefficients : ndarray of shape (n_columns,)
        In log odds; positive moves grades up.
    thresholds : ndarray of shape (n_grades - 1,)
        In log odds, increasing.
    covariance : ndarray of shape (n_columns + n_grades - 1, n_columns + n_grades - 1)
        Of coefficients, then thresholds.
    log_likelihood : float
    is_finite : bool
        False where some setting had only the highest or only the lowest grades.
    """

    coefficients: Array
    thresholds: Array
    covariance: Array
    log_likelihood: float
    is_finite: bool


def fit_ordered(X: Array, grades: npt.NDArray[np.intp], weights: Array) -> OrderedFit:
    """Fit a cumulative logit by maximum likelihood.

    Parameters
    ----------
    X : ndarray of shape (n_rows, n_columns)
        Terms and offsets, without a column of ones, of full column rank together with one.
    grades : ndarray of int, shape (n_rows,)
        Grades as 0, 1, ..., each of them taken at least once.
    weights : ndarray of shape (n_rows,)
        How often each row was seen.
    """
    n_columns, n_cuts = X.shape[1], int(grades.max())
    share = np.cumsum(np.bincount(grades, weights))[:-1] / weights.sum()
    start = np.concatenate([np.zeros(n_columns), np.log(share / (1 - share))])
    upper, lower = _cuts(X, grades, n_cuts)

    def criterion(parameters: Array) -> tuple[float, Array, Array]:
        return _likelihood(parameters, upper, lower, grades, weights, n_cuts)

    found = climb(criterion, start)
    return OrderedFit(
        found.parameters[:n_columns],
        found.parameters[n_columns:],
        found.covariance,
        found.log_likelihood,
        found.is_finite,
    )


def _cuts(X: Array, grades: npt.NDArray[np.intp], n_cuts: int) -> tuple[Array, Array]:
    """Rows that give the linear predictors above and below each grade; zeros at the ends of the scale."""
    rows = np.arange(len(grades))
    upper, lower = np.hstack([-X, np.zeros((len(X), n_cuts))]), np.hstack([-X, np.zeros((len(X), n_cuts))])
    inner = grades < n_cuts
    upper[rows[inner], X.shape[1] + grades[inner]] = 1.0
    inner = grades > 0
    lower[rows[inner], X.shape[1] + grades[inner] - 1] = 1.0
    return upper, lower


def _likelihood(
    parameters: Array, upper: Array, lower: Array, grades: npt.NDArray[np.intp], weights: Array, n_cuts: int
) -> tuple[float, Array, Array]:
    """Log-likelihood, gradient and observed information; minus infinity where thresholds cross."""
    n_parameters = len(parameters)
    if np.any(np.diff(parameters[n_parameters - n_cuts :]) <= 0):
        return -np.inf, np.zeros(n_parameters), np.eye(n_parameters)
    is_top, is_bottom = grades == n_cuts, grades == 0
    above = np.where(is_top, 1.0, expit(upper @ parameters))
    below = np.where(is_bottom, 0.0, expit(lower @ parameters))
    chance = np.maximum(above - below, 1e-300)
    slope_above, slope_below = above * (1 - above), below * (1 - below)
    bend_above, bend_below = slope_above * (1 - 2 * above), slope_below * (1 - 2 * below)
    first = (slope_above[:, None] * upper - slope_below[:, None] * lower) / chance[:, None]
    gradient = weights @ first
    information = (first * weights[:, None]).T @ first
    information -= (upper * (weights * bend_above / chance)[:, None]).T @ upper
    information += (lower * (weights * bend_below / chance)[:, None]).T @ lower
    return float(weights @ np.log(chance)), gradient, information
