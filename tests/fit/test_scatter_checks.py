"""Whether scatter is even, and on which scale: by hand, and against scipy."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from doe.fit.evidence import gather
from doe.fit.scatter_checks import box_cox_profile, even_scatter
from doe.model.factor import Factor
from doe.model.outcome import Outcome


def checked(*cells):
    """The check of variants with so many readings of exactly this mean and standard deviation."""
    rows = []
    for variant, (mean, sd, count) in enumerate(cells):
        z = np.linspace(-1, 1, count)
        rows += [(str(variant), value, variant % 3) for value in mean + sd * z / z.std(ddof=1)]
    log = pd.DataFrame(rows, columns=["variant", "value", "a"])
    return even_scatter(gather(log, [Factor("a", low=0, high=2)], Outcome("y")))


def found(low, high, n_low, n_high, cells=4):
    """The check of as many variants around 10 as around 20."""
    return checked(*[
        cell for place in range(cells) for cell in ((10 + place / 8, low, n_low), (20 + place / 8, high, n_high))
    ])  # fmt: skip


@pytest.mark.parametrize(("low", "high", "end"), [(5.0, 1.0, "low"), (1.0, 5.0, "high")])
def test_the_end_that_scatters_more_is_named(low, high, end):
    check = found(low, high, 3, 3)
    assert check.finding == f"Readings at {end} values scatter 5 times as much as at the other end."


def test_the_f_test_has_the_degrees_of_freedom_of_the_end_that_scatters_more_first():
    """Of 16 and 4, ten times the variance is no wonder where the 16 tell the larger; it is where the 4 do (1 %, two-sided)."""
    assert 2 * stats.f.sf(10, 16, 4) > 0.01 > 2 * stats.f.sf(10, 4, 16)
    assert found(1.0, np.sqrt(10), 2, 5).level == "fine"
    assert found(np.sqrt(10), 1.0, 2, 5).level == "look"


def test_a_few_repeats_say_nothing_of_scatter():
    """Less than eight repeats in all, or less than three at one end."""
    assert found(1.0, 9.0, 2, 2, cells=3) is None
    assert checked(*[(10, 1.0, 3)] * 5, (20, 9.0, 3)) is None
    assert checked(*[(10, 1.0, 3)] * 5, (20, 9.0, 4)).level == "look"


def test_the_profile_of_powers_is_that_of_scipy():
    """Up to a constant, `scipy.stats.boxcox_llf` where nothing but a mean is fitted."""
    y, powers = np.random.default_rng(1).lognormal(1, 0.6, 20), np.array([-1.0, 0.0, 0.4, 1.0, 2.0])
    theirs = np.array([stats.boxcox_llf(power, y) for power in powers])
    ours = box_cox_profile(np.ones((20, 1)), y, powers)
    np.testing.assert_allclose(ours - ours[3], theirs - theirs[3], rtol=1e-8, atol=1e-9)
