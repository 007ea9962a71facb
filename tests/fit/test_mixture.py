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
