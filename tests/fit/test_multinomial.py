"""Climbing a likelihood whose top is known."""

import numpy as np
import pytest

from doe.fit.multinomial import FARTHEST, climb


@pytest.mark.parametrize("top", [-3.0, 0.0, 3.0, 11.0])
def test_a_top_that_whole_steps_leap_over_is_found(top):
    """``-log cosh(x - top)``: flat far from the top, so that whole steps go to and fro; its curvature at the top is 1."""

    def height(x):
        away = x - top
        return float(-np.log(np.cosh(away)).sum()), -np.tanh(away), np.diag(1 / np.cosh(away) ** 2)

    found = climb(height, np.zeros(1))
    assert found.is_finite
    assert (found.parameters[0], found.log_likelihood) == pytest.approx((top, 0.0), abs=1e-9)
    assert found.covariance[0, 0] == pytest.approx(1.0)


def test_a_top_out_of_reach_is_told():
    """``-log(1 + exp(-x))``, as of an event that always happened, rises for ever."""

    def height(x):
        chance = 1 / (1 + np.exp(-x))
        return float(np.log(chance).sum()), 1 - chance, np.diag(chance * (1 - chance))

    found = climb(height, np.zeros(1))
    assert not found.is_finite
    assert found.parameters[0] > FARTHEST
