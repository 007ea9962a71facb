"""Abilities from comparisons, against statsmodels and a general optimiser."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize

from doe.fit.paired import HELD_SD, Pairs, abilities, fit_pairs, linked_parts

NONE = np.zeros(6)
DESIGN = np.array([[0.3, -1.0], [1.0, 0.4], [-0.6, 0.2], [0.1, 1.0]])
FREE = np.eye(4)[:, 1:]


def pairs(losses=(2, 3, 1, 5, 3, 2), ties=NONE):
    """Each of four items with each of the others, between seven and eleven times."""
    first, second = np.array([0, 0, 0, 1, 1, 2]), np.array([1, 2, 3, 2, 3, 3])
    return Pairs(
        first, second, np.array([6.0, 4, 7, 3, 5, 2]), np.array(losses, dtype=float), np.array(ties, dtype=float), 4
    )


TIED = pairs(ties=(1, 0, 3, 2, 1, 4))


def likelihood(at, design, made, held=0.0):
    """Davidson's, written out: exp(d/2) : exp(-d/2) : nu; less half of `held` times the abilities' squares about their mean."""
    ability, has_ties = design @ at[: design.shape[1]], made.ties.any()
    gap = ability[made.first] - ability[made.second]
    whole = np.exp(gap / 2) + np.exp(-gap / 2) + (np.exp(at[-1]) if has_ties else 0.0)
    told = (made.wins - made.losses) * gap / 2 - (made.wins + made.losses + made.ties) * np.log(whole)
    told = told.sum() + (made.ties.sum() * at[-1] if has_ties else 0.0)
    return float(told - held / 2 * ((ability - ability.mean()) ** 2).sum())


def top_of(start, *args):
    """Where it is highest, by a general optimiser, and the inverse of its curvature there, by differences."""
    found, step = optimize.minimize(lambda at: -likelihood(at, *args), start, tol=1e-12), 1e-4 * np.eye(len(start))
    bends = [[sum(a * b * likelihood(found.x + a * one + b * two, *args) for a in (1, -1) for b in (1, -1)) / 4e-8
              for two in step] for one in step]  # fmt: skip
    return found.x, np.linalg.inv(-np.array(bends)), -found.fun


def test_without_ties_it_is_logistic_regression_on_differences():
    """Estimates, covariance and likelihood as of statsmodels' binomial regression, its constant of counting apart."""
    made = pairs()
    fit = fit_pairs(made, DESIGN)
    counts = np.column_stack([made.wins, made.losses])
    theirs = sm.GLM(counts, DESIGN[made.first] - DESIGN[made.second], family=sm.families.Binomial()).fit()
    np.testing.assert_allclose(fit.coefficients, theirs.params, rtol=1e-7)
    np.testing.assert_allclose(fit.covariance, theirs.cov_params(), rtol=1e-6)
    assert (fit.tie, fit.is_held) == (-np.inf, False)
    assert fit.log_likelihood == pytest.approx(likelihood(fit.coefficients, DESIGN, made))


@pytest.mark.parametrize("design", [DESIGN, FREE])
def test_with_ties_it_is_the_top_of_davidsons_likelihood(design):
    """The tie's own doubt is allowed for in the covariance."""
    fit = fit_pairs(TIED, design)
    at, covariance, top = top_of(np.zeros(design.shape[1] + 1), design, TIED)
    np.testing.assert_allclose(np.append(fit.coefficients, fit.tie), at, atol=1e-5)
    assert fit.log_likelihood == pytest.approx(top)
    np.testing.assert_allclose(fit.covariance, covariance[:-1, :-1], rtol=1e-4)


def test_free_abilities_add_to_zero_and_so_does_their_covariance():
    """What they differ by, and how surely, is that of the fit with one of them at zero."""
    values, covariance, fit = abilities(TIED)
    assert values.sum() == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(covariance.sum(axis=0), 0.0, atol=1e-9)
    np.testing.assert_allclose(values[1:] - values[0], fit.coefficients, rtol=1e-9)
    less = np.eye(4)[1:] - np.eye(4)[0]
    np.testing.assert_allclose(less @ covariance @ less.T, fit.covariance, rtol=1e-8)


def test_abilities_without_a_top_are_held_by_a_normal_prior_about_their_mean():
    """The first item always wins."""
    made = pairs(losses=(0, 0, 0, 5, 3, 2))
    fit = fit_pairs(made, FREE)
    assert fit.is_held
    at, covariance, _ = top_of(np.zeros(3), FREE, made, 1 / HELD_SD**2)
    np.testing.assert_allclose(fit.coefficients, at, atol=1e-4)
    np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-4)


def test_parts_are_linked_whichever_way_round_they_were_compared():
    first, second = np.array([4, 2, 3, 8, 7]), np.array([2, 0, 1, 7, 6])
    ones = np.ones(5)
    assert linked_parts(Pairs(first, second, ones, ones, ones, 9)) == [[0, 2, 4], [6, 7, 8], [1, 3], [5]]
