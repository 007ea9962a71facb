from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from doe.fit.mixture import mixture


def test_quantiles_of_one_component_are_those_of_t():
    one = mixture(np.ones(1), np.array([[3.0]]), np.array([[4.0]]), 7.0)
    assert one.quantile(0.975)[0] == pytest.approx(stats.t.ppf(0.975, 7, 3, 2), abs=1e-5)
    assert one.sd[0] == pytest.approx(stats.t.std(7, 3, 2), rel=1e-9)


def test_quantiles_of_a_mixture_solve_its_distribution_function():
    """Against scipy's root finder on the sum of scipy's t distributions."""
    rng = np.random.default_rng(1)
    weights, means, variances = rng.dirichlet(np.ones(5)), rng.normal(0, 3, (5, 4)), rng.uniform(0.01, 4, (5, 4))
    found = mixture(weights, means, variances, 4.0)
    for probability in (0.025, 0.5, 0.975):
        ours = found.quantile(probability)
        for place in range(4):
            scale = np.sqrt(variances[:, place])

            def excess(x: float, place: int = place, scale: np.ndarray = scale, p: float = probability) -> float:
                return float(weights @ stats.t.cdf(x, 4, means[:, place], scale)) - p

            assert ours[place] == pytest.approx(optimize.brentq(excess, -200, 200), abs=1e-4)


def test_each_quantity_may_be_asked_for_a_quantile_of_its_own():
    rng = np.random.default_rng(2)
    found = mixture(rng.dirichlet(np.ones(5)), rng.normal(0, 3, (5, 3)), rng.uniform(0.01, 4, (5, 3)), 4.0)
    own = found.quantile(np.array([0.025, 0.3, 0.99]))
    for place, probability in enumerate((0.025, 0.3, 0.99)):
        assert own[place] == pytest.approx(found.quantile(probability)[place], abs=1e-4)


def test_a_mixture_has_the_distribution_function_and_density_of_its_parts():
    """Against scipy, four quantities; weights need not add to one, and where all are zero all models count alike."""
    rng = np.random.default_rng(3)
    weights, means, variances = rng.uniform(0.1, 5, (5, 4)), rng.normal(0, 3, (5, 4)), rng.uniform(0.01, 4, (5, 4))
    weights[:, 2] = 0.0
    weights[1, 3] = 0.0
    found, at = mixture(weights, means, variances, 6.0), rng.normal(0, 3, 4)
    shares = np.where(weights.sum(axis=0) > 0, weights / np.maximum(weights.sum(axis=0), 1e-9), 0.2)
    theirs = stats.t(6, means, np.sqrt(variances))
    np.testing.assert_allclose(found.below(at), (shares * theirs.cdf(at)).sum(axis=0), rtol=1e-10)
    np.testing.assert_allclose(found.density(at), (shares * theirs.pdf(at)).sum(axis=0), rtol=1e-10)
    np.testing.assert_allclose(found.mean, (shares * means).sum(axis=0), rtol=1e-10)
    second = (shares * (theirs.var() + means**2)).sum(axis=0)
    np.testing.assert_allclose(found.sd, np.sqrt(second - found.mean**2), rtol=1e-10)


def test_fewer_degrees_of_freedom_leave_the_sums_of_squares():
    """Squared scale times degrees of freedom stays; with two or fewer there is no variance, and the scale stands for it."""
    one = mixture(np.ones(1), np.array([[3.0, 3.0]]), np.array([[4.0, 4.0]]), 8.0)
    fewer = one.with_df(np.array([2.0, 4.0]))
    np.testing.assert_allclose(fewer.scales, [[4.0, np.sqrt(8.0)]])
    np.testing.assert_allclose(fewer.sd, [4.0, stats.t.std(4, scale=np.sqrt(8.0))])


def test_what_is_known_exactly_has_its_value_for_every_quantile():
    exact = mixture(np.ones(2), np.array([[3.0, 1.0], [3.0, 2.0]]), np.zeros((2, 2)), 5.0)
    np.testing.assert_allclose(exact.below(np.array([2.9, 1.5])), [0.0, 0.5])
    np.testing.assert_allclose(exact.quantile(0.2), [3.0, 1.0], atol=1e-4)
    np.testing.assert_allclose(exact.quantile(0.9), [3.0, 2.0], atol=1e-4)
