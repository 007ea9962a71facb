import numpy as np
import pytest
from scipy import integrate, stats
from scipy.stats import qmc

from doe.advise import gain
from doe.advise.moves import after
from doe.advise.nodes import normal_nodes, sobol_points


def test_expected_excess_is_the_integral_of_the_positive_part():
    """Jones, Schonlau & Welch (1998) eq. 15 against numerical integration of max(x, 0) under the normal density."""
    for mean, spread in [(-0.4, 0.3), (0.0, 1.0), (0.7, 0.2)]:
        exact, _ = integrate.quad(lambda x, m=mean, s=spread: x * stats.norm.pdf(x, m, s), 0, mean + 9 * spread)
        assert gain.expected_excess(np.array(mean), np.array(spread)) == pytest.approx(exact, rel=1e-7)


def linear_world(seed=1, n_draws=40_000):
    """Three correlated true values; worth is the value itself, so that everything is Gaussian and closed forms hold."""
    rng = np.random.default_rng(seed)
    covariance = np.array([[0.04, 0.02, 0.0], [0.02, 0.09, 0.03], [0.0, 0.03, 0.06]])
    mean = np.array([0.5, 0.45, 0.3])
    return mean, covariance, rng.multivariate_normal(mean, covariance, n_draws)


def test_shifts_are_those_of_gaussian_conditioning():
    """Frazier, Powell & Dayanik (2009): the mean moves by Sigma e_x / sqrt(lambda_x + Sigma_xx) per standard deviate."""
    _, covariance, draws = linear_world()
    noise = np.array([[0.01, 0.02, 0.03]])
    root = gain.inverse_root(gain.reading_covariance([draws], noise))
    found = gain.shifts(draws, [draws], root)[0]
    expected = covariance / np.sqrt(noise + np.diag(covariance))
    np.testing.assert_allclose(found, expected, atol=0.004)
    np.testing.assert_allclose(gain.own_shifts(draws, [draws], root)[0], np.diag(expected), atol=0.004)


def test_expected_best_of_two_is_the_closed_form():
    """E max(a, b) of two normals (Clark, C. E. 1961, Operations Research 9, 145-162), here along one shared deviate."""
    means, shift = np.array([0.5, 0.45]), np.array([[[0.05], [0.20]]])
    gap = 0.15
    expected = 0.5 + gain.expected_excess(np.array(-0.05), np.array(gap))
    found = gain.expected_best(means, shift, normal_nodes(256, 1))[0]
    assert found == pytest.approx(float(expected), abs=5e-4)


@pytest.mark.slow
def test_few_nodes_come_close_to_many_draws_with_three_outcomes():
    rng = np.random.default_rng(3)
    means, shift = rng.uniform(0.3, 0.6, 30), rng.normal(0, 0.05, (3, 30, 8))
    deviates = rng.standard_normal((40_000, 3))
    exact = (means[None, :, None] + np.einsum("dk,kan->dan", deviates, shift)).max(axis=1).mean(axis=0)
    found = gain.expected_best(means, shift, normal_nodes(32, 3))
    np.testing.assert_allclose(found, exact, atol=0.004)


def test_readings_in_two_outcomes_together_tell_more_than_one():
    rng = np.random.default_rng(4)
    first, second = rng.standard_normal((2, 5000, 1))
    worth = 0.1 * (first + second)
    noise = np.full((2, 1), 0.5)
    root = gain.inverse_root(gain.reading_covariance([first, second], noise))
    both = np.sqrt((gain.shifts(worth, [first, second], root) ** 2).sum(axis=0))
    alone = np.abs(gain.shifts(worth, [first], gain.inverse_root(gain.reading_covariance([first], noise[:1]))))[0]
    assert both[0, 0] == pytest.approx(np.sqrt(2) * alone[0, 0], rel=0.05)


def test_sobol_points_are_those_of_scipy():
    """Against scipy.stats.qmc.Sobol without scrambling, all eight dimensions, to the last bit."""
    np.testing.assert_array_equal(sobol_points(64, 8), qmc.Sobol(8, scramble=False).random(64))


def test_nodes_have_mean_zero_and_variance_one():
    nodes = normal_nodes(16, 10)
    assert nodes.shape == (32, 10)
    np.testing.assert_allclose(nodes.mean(axis=0), 0, atol=1e-12)
    np.testing.assert_allclose((nodes**2).mean(axis=0), 1)


def test_what_is_left_after_a_reading_is_the_conditional_covariance():
    """Matheron's rule: covariance Sigma - Sigma_x Sigma_x' / (Sigma_xx + noise), means untouched."""
    _, covariance, draws = linear_world()
    noise = 0.02
    (left,) = after([draws], [draws[:, 1]], np.array([noise]), np.random.default_rng(5))
    column = covariance[:, [1]]
    np.testing.assert_allclose(np.cov(left.T), covariance - column @ column.T / (covariance[1, 1] + noise), atol=0.003)
    np.testing.assert_allclose(left.mean(axis=0), draws.mean(axis=0), atol=1e-9)


def test_expected_improvement_of_joint_draws_is_the_closed_form():
    """E max(a - b, 0) of two correlated normals: the difference is normal with variance Saa + Sbb - 2 Sab."""
    mean, covariance, draws = linear_world()
    found = gain.expected_improvement(draws, draws[:, [0]])
    spread = np.sqrt(covariance[1, 1] + covariance[0, 0] - 2 * covariance[0, 1])
    assert found[0] == 0
    assert found[1] == pytest.approx(float(gain.expected_excess(mean[1] - mean[0], spread)), abs=0.002)
