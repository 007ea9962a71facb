import numpy as np
import pytest

from doe.plans import plan
from tests.plans.made import RADIO, coded, numbers


class Stop:
    """Presses Ctrl-C after so many reports."""

    def __init__(self, after):
        self.left, self.shares = after, []

    def __call__(self, share, words):
        self.shares.append(share)
        self.left -= 1
        if self.left <= 0:
            raise KeyboardInterrupt


@pytest.mark.slow
@pytest.mark.parametrize("after", [1, 2, 5])
def test_ctrl_c_keeps_the_best_plan_so_far(after):
    """Law: a stopped search returns a whole plan that keeps its promises, and says that it was stopped."""
    made = plan(RADIO, 14, tell=Stop(after), units=4)
    assert made.n_runs == 14
    assert any("The search was stopped after" in note for note in made.notes)
    assert (made.table.groupby("unit")["rings"].nunique() == 1).all()


def test_ctrl_c_before_anything_is_reached_is_passed_on(monkeypatch):
    """Law: without a single plan there is nothing to keep, and the caller hears of the interruption."""
    from doe.plans import search

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(search, "draw_starts", stop)
    with pytest.raises(KeyboardInterrupt):
        plan(numbers(3), 6)


def test_a_search_tells_how_far_it_is():
    told = Stop(10**6)
    plan(numbers(6), 14, starts=3000, tell=told)
    assert told.shares == sorted(told.shares)
    assert told.shares[-1] == 1.0


def test_more_starts_are_never_worse():
    few, many = (
        abs(np.linalg.slogdet(np.column_stack([np.ones(11), coded(plan(numbers(10), 11, starts=n))]))[1])
        for n in (2, 800)
    )
    assert many >= few - 1e-9


def test_settings_between_the_candidates_are_used_where_they_gain():
    """A limit that cuts the corner off: the best plan lies on the slanted edge, which no coarse grid meets."""
    from doe.model.limit import Limit

    made = plan(numbers(2), 6, limits=[Limit("A + B <= 0.37")])
    edge = (made.table["A"] + made.table["B"]).to_numpy()
    assert edge.max() == pytest.approx(0.37, abs=0.004)
