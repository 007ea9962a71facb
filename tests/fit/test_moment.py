"""Moment priors, drawn from and picked by, against closed forms."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from doe.fit.moment import moment_draws, moment_picks


def posterior_of(included, scales, widths):
    """As much of a posterior as picking looks at: terms of some widths, and models that hold them."""
    ends = np.cumsum(widths)
    terms = [SimpleNamespace(name=str(place)) for place in range(len(widths))]
    slices = {str(place): slice(end - width, end) for place, (width, end) in enumerate(zip(widths, ends, strict=True))}
    return SimpleNamespace(
        problem=SimpleNamespace(terms=terms, slices=slices), included=np.array(included), scales=np.array(scales)
    )


def test_one_effect_follows_its_normal_posterior_times_its_square():
    """With beta ~ N(m, v) the density beta^2 N(m, v) / (m^2 + v) has the mean m (m^2 + 3 v) / (m^2 + v)."""
    rng, m, v = np.random.default_rng(1), 0.4, 0.25
    beta = m + np.sqrt(v) * rng.standard_normal(400_000)
    posterior = posterior_of([[True]], [0.7], [1])
    picks = moment_picks(posterior, np.zeros(len(beta), int), beta[:, None], np.ones(len(beta)), 100_000, rng)
    assert beta[picks].mean() == pytest.approx(m * (m**2 + 3 * v) / (m**2 + v), abs=0.01)
    assert np.mean(np.abs(beta[picks]) < 0.1) < 0.02 < np.mean(np.abs(beta) < 0.1)


def test_a_model_whose_effect_is_next_to_nothing_loses_by_the_closed_form():
    """Each of two models with the same weight before: that with the effect gets (m^2 + v) / (gamma^2 sigma^2) times as much."""
    rng, n, m, sd, gamma, sigma = np.random.default_rng(2), 400_000, 0.1, 0.2, 0.5, 1.5
    models = np.arange(n) % 2
    beta = np.where(models == 1, m + sd * rng.standard_normal(n), 0.0)
    posterior = posterior_of([[False], [True]], [gamma, gamma], [1])
    picks = moment_picks(posterior, models, beta[:, None], np.full(n, sigma**2), 100_000, rng)
    ratio = (m**2 + sd**2) / (gamma * sigma) ** 2
    assert models[picks].mean() == pytest.approx(ratio / (1 + ratio), abs=0.005)


def test_a_term_of_three_columns_drawn_from_its_prior_comes_out_with_the_moment_prior():
    """Its squared length over gamma^2 sigma^2 is then chi-squared with two degrees of freedom more (Johnson & Rossell 2010)."""
    rng, gamma = np.random.default_rng(3), 0.3
    beta = gamma * rng.standard_normal((300_000, 4))
    posterior = posterior_of([[False, True]], [gamma], [1, 3])
    beta[:, 0] = 0.0
    picks = moment_picks(posterior, np.zeros(len(beta), int), beta, np.ones(len(beta)), 4_000, rng)
    lengths = (beta[picks] ** 2).sum(axis=1) / gamma**2
    assert stats.kstest(lengths, stats.chi2(5).cdf).pvalue > 0.01
    assert stats.kstest(lengths, stats.chi2(3).cdf).pvalue < 1e-6


@pytest.mark.parametrize("width", [1, 2])
def test_effects_never_seen_are_of_some_size(width):
    """Of mean square 1 per column; (width + 2) / width times the squared length is chi-squared (Johnson & Rossell 2010)."""
    squares = (moment_draws(20_000, width, np.random.default_rng(5)) ** 2).sum(axis=1)
    assert squares.mean() == pytest.approx(width, rel=0.03)
    assert stats.kstest(squares * (width + 2) / width, stats.chi2(width + 2).cdf).pvalue > 0.01
