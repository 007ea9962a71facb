import numpy as np
import pytest

from doe.advise.belief import Belief
from doe.advise.standing import ROOM, told_worth
from doe.model.outcome import Outcome

FLOW = Outcome("flow", goal="raise", best=1, worst=0)


def told(*columns):
    """Tell the worth of variants whose true values in each possible world are given; nothing else of a belief is asked."""
    values = np.array(columns, dtype=float).T
    names = tuple(str(place) for place in range(len(columns)))
    return told_worth(Belief((FLOW,), (), None, names, None, (values,), (), {}))


def test_an_interval_leaves_a_fortieth_of_the_worlds_out_on_either_side_and_has_room():
    """Values at equal steps from 0.4 to 0.6, worth as much: quantiles at 0.5 -+ 0.095, spread by the room about the mean."""
    worth, low, high = told(np.linspace(0.4, 0.6, 401))
    assert [worth[0], low[0], high[0]] == pytest.approx([0.5, 0.5 - ROOM * 0.095, 0.5 + ROOM * 0.095])


def test_an_interval_holds_the_worth_told_of_it():
    """One world of a hundred is off, which leaves the quantiles beside the mean: there all others are worth 1, or 0."""
    worth, low, high = told([1.0] * 99 + [0.0], [0.0] * 99 + [1.0])
    assert worth == pytest.approx([0.99, 0.01])
    assert (low[0], high[0]) == pytest.approx((0.99, 1.0))
    assert (low[1], high[1]) == pytest.approx((0.0, 0.01))
