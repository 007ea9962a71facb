"""Two one-sided tests and their power, against statsmodels, closed forms and a simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower
from statsmodels.stats.weightstats import DescrStatsW, ttost_paired

from doe.fit.equivalence import chance_not_short, chance_to_confirm, two_one_sided


@pytest.mark.parametrize("seed", range(5))
def test_p_values_are_those_of_statsmodels(seed):
    """DescrStatsW.ttost_mean and ttost_paired on the same numbers give the same p, to the arithmetic."""
    rng = np.random.default_rng(seed)
    x, y = rng.normal(0.2, 1.0, 9), rng.normal(0.0, 1.0, 9)
    ours = two_one_sided(x.mean(), x.std(ddof=1) / 3, 8, 0.8)
    p, low, high = DescrStatsW(x).ttost_mean(-0.8, 0.8)
    assert (ours.p_low, ours.p_high, ours.p) == pytest.approx((low[1], high[1], p), rel=1e-10)
    d = x - y
    paired = ttost_paired(x, y, -0.8, 0.8)[0]
    assert two_one_sided(d.mean(), d.std(ddof=1) / 3, 8, 0.8).p == pytest.approx(paired, rel=1e-10)


def test_the_interval_and_the_tests_say_the_same():
    """Schuirmann 1987: both tests reject at 5 % just where the 90 % interval lies inside the margin."""
    for difference in np.linspace(-1, 1, 41):
        found = two_one_sided(difference, 0.3, 7, 0.8)
        assert (found.p < 0.05) == (found.low > -0.8 and found.high < 0.8)


@pytest.mark.parametrize(("se", "shift"), [(0.2, 0.0), (0.35, 0.0), (0.3, 0.3)])
def test_with_known_scatter_the_power_is_the_closed_form(se, shift):
    """Normal estimate, margin 1: Phi((1 - z se - shift) / se) - Phi((-(1 - z se) - shift) / se); many df come to the same."""
    room = 1 - stats.norm.ppf(0.95) * se
    exact = stats.norm.cdf((room - shift) / se) - stats.norm.cdf((-room - shift) / se)
    assert chance_to_confirm(1.0, se, math.inf, shift=shift) == pytest.approx(exact, rel=1e-12)
    assert chance_to_confirm(1.0, se, 1e6, shift=shift) == pytest.approx(exact, abs=1e-5)


@pytest.mark.parametrize("n", [10, 16, 25])
def test_power_agrees_with_statsmodels_where_both_tests_cannot_fail_at_once(n):
    """P(both reject) = P(first) + P(second) - P(either), and P(either) is 1 but for what is smaller than 1e-6 here."""
    margin, sd = 1.6, 1.0
    one = TTestPower().power(margin / sd, nobs=n, alpha=0.05, df=n - 1, alternative="larger")
    ours = chance_to_confirm(margin, sd / math.sqrt(n), n - 1)
    assert ours == pytest.approx(2 * one - 1, abs=1e-6)


@pytest.mark.parametrize("shift", [-0.4, 0.0, 0.9, 2.0])
def test_power_of_the_one_side_is_that_of_statsmodels(shift):
    """One-sided t test at 5 % of a mean that lies (margin - shift) above what is tested; many df come to the normal."""
    theirs = TTestPower().power(1.6 - shift, nobs=10, alpha=0.05, df=9, alternative="larger")
    assert chance_not_short(1.6, 1 / math.sqrt(10), 9, shift=shift) == pytest.approx(float(theirs), abs=1e-6)
    exact = stats.norm.cdf((1.6 - shift) / 0.5 - stats.norm.ppf(0.95))
    assert chance_not_short(1.6, 0.5, math.inf, shift=shift) == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize(("df", "shift"), [(3, -2.0), (30, -1.0)])
def test_power_far_inside_the_margin_is_certainty(df, shift):
    """The truth lies 40 standard errors or more inside, so a t test at 5 % misses it with less than one in a million."""
    assert chance_not_short(1.0, 0.05, df, shift=shift) == pytest.approx(1.0, abs=1e-3)


def test_power_is_what_a_simulation_counts():
    """Truth: shift 0.3, sd 1, 5 builds, margin 1.5; 40000 repeats leave a standard error of 0.25 %."""
    rng = np.random.default_rng(5)
    x = rng.normal(0.3, 1.0, (40_000, 5))
    mean, se = x.mean(axis=1), x.std(axis=1, ddof=1) / math.sqrt(5)
    reach = stats.t.ppf(0.95, 4) * se
    counted = ((mean - reach > -1.5) & (mean + reach < 1.5)).mean()
    assert chance_to_confirm(1.5, 1 / math.sqrt(5), 4, shift=0.3) == pytest.approx(counted, abs=0.0075)


def test_at_the_margin_the_power_is_the_risk_at_most():
    assert chance_to_confirm(1.0, 0.2, 30, shift=1.0) == pytest.approx(0.05, abs=1e-6)
    assert chance_to_confirm(1.0, 5.0, 4) == pytest.approx(0.0, abs=1e-2)
    assert (chance_to_confirm(1.0, 0.0, 4), chance_to_confirm(1.0, 0.0, 4, shift=-2.0)) == (1.0, 0.0)
    assert (chance_not_short(1.0, 0.0, 4, shift=-2.0), chance_not_short(1.0, 0.0, 4, shift=2.0)) == (1.0, 0.0)
