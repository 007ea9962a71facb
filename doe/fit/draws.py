"""Joint draws from the model-averaged posterior, for decisions that weigh several outcomes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import linalg

from doe.coding import Coding, Term
from doe.fit.active import Posterior
from doe.fit.builds import Builds
from doe.fit.estimates import Averages
from doe.fit.moment import moment_picks
from doe.fit.picking import systematic_picks
from doe.fit.whiten import Problem

Array = npt.NDArray[Any]
Index = npt.NDArray[np.intp]

READING_WEIGHT = 1.0
"""Replicates that the scatter of readings is trusted like, beside those there are."""

LEAST_SHARE = 0.05
"""Of a draw's scatter that is the builds' at least, where replicates alone would account for all of it."""


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of all that is uncertain about one outcome.

    Attributes
    ----------
    coding : Coding
        Makes the columns that `coefficients` belong to.
    terms : tuple of Term
        Candidate terms; columns are those of ``coding.matrix(settings, terms)``.
    coefficients : ndarray of shape (n_draws, 1 + n_columns)
        Mean first, then outcome units per coded unit; 0 for terms absent from that draw's model.
    included : ndarray of bool, shape (n_draws, n_terms)
        Terms of that draw's model.
    build_sd : ndarray of shape (n_draws,)
        Scatter from build to build, in outcome units.
    reading_sd : ndarray of shape (n_draws,)
        Scatter of one reading, in outcome units.
    variants : tuple of str
        Variants with settings.
    variant_means : ndarray of shape (n_draws, n_variants)
        True value of each variant as built, its own offset included.
    reading_df : float
        Readings that tell how far readings scatter, as in `Builds`.
    session_sd : float
        How a new session lies off those seen, in outcome units, as in `Builds.new_session_sd`.
    """

    coding: Coding
    terms: tuple[Term, ...]
    coefficients: Array
    included: npt.NDArray[np.bool_]
    build_sd: Array
    reading_sd: Array
    variants: tuple[str, ...]
    variant_means: Array
    reading_df: float = np.inf
    session_sd: float = 0.0


def draw(
    average: Averages, builds: Builds, rows: Array, *, variants: tuple[str, ...], reading_sd: float, n_draws: int,
    rng: np.random.Generator, proposals: int = 1,
) -> Draws:  # fmt: skip
    """Draw from the posterior.

    Parameters
    ----------
    average : Averages
        Posterior with its coding.
    builds : Builds
        What it was computed from.
    rows : ndarray of shape (n_variants, n_columns)
        Model matrix of the variants.
    variants : tuple of str
        Their labels.
    reading_sd : float
        Scatter of one reading, in outcome units.
    n_draws : int
        At least 1.
    rng : numpy.random.Generator
        Source of randomness.
    proposals : int
        With more than one for each draw, effects follow moment priors instead of normal ones (`moment_picks`).
    """
    posterior, problem = average.posterior, average.posterior.problem
    models = systematic_picks(posterior.weights, proposals * n_draws, rng)
    ratio = posterior.df / rng.chisquare(posterior.df, len(models))
    sigma2 = posterior.variances[models] * ratio
    coefficients = _coefficients(posterior, models, np.sqrt(ratio), rng)
    if proposals > 1:
        picks = moment_picks(posterior, models, coefficients, sigma2, n_draws, rng)
        models, sigma2, coefficients = models[picks], sigma2[picks], coefficients[picks]
    centre = (problem.ones_values - coefficients @ problem.ones_columns) / problem.ones
    centre += np.sqrt(sigma2 / problem.ones) * rng.standard_normal(n_draws)
    coded = coefficients @ average.changes.T
    expected = centre[:, None] + coded @ rows.T
    readings = _reading_scale(builds, n_draws, rng)
    between = _between_variance(problem, sigma2, readings)
    return Draws(
        coding=average.coding,
        terms=average.terms,
        coefficients=np.column_stack([centre, coded]),
        included=posterior.included[models],
        build_sd=np.sqrt(between),
        reading_sd=reading_sd * np.ones(n_draws),
        variants=variants,
        variant_means=expected
        + _offsets(builds, expected, problem, sigma2=sigma2, between=between, readings=readings, rng=rng),
        reading_df=builds.reading_df,
        session_sd=builds.new_session_sd,
    )


def _reading_scale(builds: Builds, n_draws: int, rng: np.random.Generator) -> Array:
    """Draw how far readings may scatter, over what the few replicates there are have shown; in squares, shape (n_draws,)."""
    if np.isinf(builds.reading_df):
        return np.ones(n_draws)
    df = builds.reading_df + READING_WEIGHT
    return np.asarray(df / rng.chisquare(df, n_draws))


def _between_variance(problem: Problem, sigma2: Array, readings: Array) -> Array:
    """Return what of each draw's scatter is the builds' own, shape (n_draws,).

    Replicates tell how far readings scatter, whatever the builds do; the rest is the builds'. Where the two cannot be told
    apart, half of the scatter is taken to be the builds'.
    """
    if problem.reading_share >= 1.0:
        return np.asarray(0.5 * sigma2)
    reading = readings * problem.reading_share * problem.unit**2
    return np.maximum(sigma2 - reading, LEAST_SHARE * sigma2)


def _coefficients(posterior: Posterior, models: Index, widening: Array, rng: np.random.Generator) -> Array:
    """Draw the coefficients of each draw's model, shape (n_draws, n_columns); 0 where absent."""
    n_columns = posterior.coefficients.shape[1]
    used, which = np.unique(models, return_inverse=True)
    columns = posterior.columns[used]
    square = posterior.covariances[used]
    places = np.arange(columns.shape[1])
    square[:, places, places] += columns == n_columns  # padding needs a factor too
    lower = np.linalg.cholesky(square)
    rows, mine = np.arange(len(models))[:, None], columns[which]
    drawn = np.hstack([posterior.coefficients[models], np.zeros((len(models), 1))])
    noise = rng.standard_normal(mine.shape) * widening[:, None]
    drawn[rows, mine] += np.einsum("dij,dj->di", lower[which], noise)
    return drawn[:, :-1]


def _offsets(
    builds: Builds,
    expected: Array,
    problem: Problem,
    *,
    sigma2: Array,
    between: Array,
    readings: Array,
    rng: np.random.Generator,
) -> Array:
    """Draw the builds' own offsets given the means of their readings (conditional normal), shape (n_draws, n_variants).

    In the basis in which the readings' covariance is the identity and that of the offsets diagonal, each draw has its own
    ratio of the two.
    """
    if problem.reading_share >= 1.0:
        share = sigma2 / problem.unit**2
        reading_cov, offset_cov, of_readings, of_builds = builds.total / 2, builds.total / 2, share, share
    else:
        reading_cov, offset_cov = builds.reading, builds.between
        of_readings, of_builds = readings, between / ((1.0 - problem.reading_share) * problem.unit**2)
    lower = np.linalg.cholesky(reading_cov)
    half = linalg.solve_triangular(lower, offset_cov, lower=True)
    values, vectors = np.linalg.eigh(linalg.solve_triangular(lower, half.T, lower=True))
    basis = lower @ vectors
    offsets = of_builds[:, None] * np.maximum(values, 0.0)
    gain = offsets / (offsets + of_readings[:, None])
    away = linalg.solve_triangular(lower, (builds.means - expected).T, lower=True).T @ vectors
    noise = np.sqrt(gain * of_readings[:, None]) * rng.standard_normal(expected.shape)
    return np.asarray((gain * away + noise) @ basis.T)
