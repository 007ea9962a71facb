import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from doe.advise.worth import (
    best_worth,
    change_that_matters,
    desirability,
    goal_outcomes,
    overall,
    worth,
    worth_that_matters,
)
from doe.model.errors import UsageError
from doe.model.outcome import Outcome


def test_raise_follows_derringer_and_suich_equation_1():
    """Derringer & Suich (1980) eq. 1, r = 1: 0 at the worst value, 1 from the best value on, a line between."""
    outcome = Outcome("force", goal="raise", worst=10, best=30)
    np.testing.assert_allclose(desirability(outcome, [5, 10, 15, 20, 30, 99]), [0, 0, 0.25, 0.5, 1, 1])


def test_lower_mirrors_raise():
    outcome = Outcome("noise", goal="lower", best=10, worst=30)
    np.testing.assert_allclose(desirability(outcome, [5, 10, 15, 20, 30, 99]), [1, 1, 0.75, 0.5, 0, 0])


def test_hit_follows_derringer_and_suich_equation_2():
    """Derringer & Suich (1980) eq. 2, s = t = 1: a tent with its top at the target, its feet where it is worth nothing."""
    outcome = Outcome("bass", goal="hit", target=0, worst=(-6, 3))
    np.testing.assert_allclose(desirability(outcome, [-9, -6, -3, 0, 1.5, 3, 4]), [0, 0, 0.5, 1, 0.5, 0, 0])


def test_within_is_flat_inside_and_falls_by_its_own_width():
    outcome = Outcome("width", goal="within", low=2, high=4)
    np.testing.assert_allclose(desirability(outcome, [0, 1, 2, 3, 4, 5, 6]), [0, 0.5, 1, 1, 1, 0.5, 0])


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_overall_is_the_geometric_mean(count):
    """Derringer & Suich (1980) eq. 3: D = (d1 d2 ... dk)^(1/k)."""
    parts = np.array([[0.5, 1.0], [0.8, 0.3], [0.2, 0.9], [0.9, 0.7], [0.4, 0.6]])[:count]
    np.testing.assert_allclose(overall(list(parts), [1.0] * count), stats.gmean(parts))


def test_a_weight_of_two_counts_like_the_outcome_named_twice():
    a, b = np.array([0.3]), np.array([0.9])
    np.testing.assert_allclose(overall([a, b], [2, 1]), overall([a, a, b], [1, 1, 1]))


@given(st.lists(st.floats(0, 1), min_size=2, max_size=4), st.integers(0, 3))
def test_worth_is_nothing_where_one_outcome_is_worth_nothing(values, place):
    parts = [np.array([value]) for value in values]
    parts[place % len(parts)] = np.array([0.0])
    assert overall(parts, [1.0] * len(parts))[0] == 0


@given(st.floats(-20, 20), st.floats(0.01, 5))
def test_worth_never_falls_when_an_outcome_moves_towards_its_goal(value, step):
    outcome = Outcome("noise", goal="lower", best=-3, worst=8)
    assert desirability(outcome, [value - step])[0] >= desirability(outcome, [value])[0]


def test_worth_reads_outcomes_by_name_and_keeps_the_shape():
    outcomes = [Outcome("a", goal="raise", worst=0, best=1), Outcome("b", goal="lower", worst=1, best=0, weight=3)]
    values = {"b": np.full((2, 3), 0.5), "a": np.full((2, 3), 0.25)}
    result = worth(outcomes, values)
    assert result.shape == (2, 3)
    np.testing.assert_allclose(result, 0.25**0.25 * 0.5**0.75)


def test_single_precision_stays_single_precision():
    outcome = Outcome("a", goal="raise", worst=0, best=1)
    assert desirability(outcome, np.zeros(3, dtype=np.float32)).dtype == np.float32


def test_without_any_goal_the_message_says_what_to_do():
    message = (
        "No outcome has a goal (colour), so no variant can be called better than another; "
        "set a goal of raise, lower, hit or within on one of them."
    )
    with pytest.raises(UsageError, match=re.escape(message)):
        goal_outcomes([Outcome("colour")])


def test_outcomes_without_goal_or_weight_take_no_part():
    outcomes = [
        Outcome("colour"),
        Outcome("a", goal="raise", worst=0, best=1),
        Outcome("b", goal="raise", worst=0, best=1, weight=0),
    ]
    assert [outcome.name for outcome in goal_outcomes(outcomes)] == ["a"]


def test_what_matters_is_one_matters_from_where_the_best_stands():
    """One outcome, a ramp of 10 units: matters = 1 is 0.1 of worth; at the goal already, the documented share instead."""
    outcome = Outcome("a", goal="raise", worst=0, best=10, matters=1)
    assert worth_that_matters([outcome], [4.0]) == pytest.approx(0.1)
    for there in (10.0, 12.0):
        assert worth_that_matters([outcome], [there]) == pytest.approx(0.05)
    width = Outcome("width", goal="within", low=2, high=6, worst=(0, 10), matters=1)
    for there, step in ((2.0, 0.05), (6.0, 0.05), (1.0, 1 / 2), (7.0, 1 / 4)):  # met at the ends; ramps of 2 and 4
        assert worth_that_matters([width], [there]) == pytest.approx(step)


def test_where_nothing_is_said_to_matter_a_twentieth_of_the_way_to_the_goal_does():
    """Of ways of 10 and 4 on the two sides of a target the shorter counts for a change either way; no step is longer."""
    sides = Outcome("a", goal="hit", target=0, worst=(-4, 10))
    assert (worth_that_matters([sides], [-3.0]), worth_that_matters([sides], [6.0])) == pytest.approx((0.05, 0.05))
    far = Outcome("a", goal="raise", worst=20, best=30)
    assert worth_that_matters([far], [25.0]) == pytest.approx(0.05)
    assert change_that_matters(sides) == pytest.approx(0.05 * 4)
    assert change_that_matters(Outcome("a", goal="lower", worst=8, best=0, matters=20)) == 8


@pytest.mark.parametrize("place", [0.0, 0.3, 5.0, 9.5, 9.99])
@pytest.mark.parametrize(("goal", "ends"), [("raise", {"worst": 0, "best": 10}), ("lower", {"worst": 10, "best": 0})])
def test_what_matters_does_not_shrink_near_the_goal(goal, ends, place):
    """Whatever little is left to the goal, one `matters` is a tenth of the ramp (closed form); beyond the worst too."""
    outcome = Outcome("a", goal=goal, matters=1, **ends)
    value = place if goal == "raise" else 10 - place
    assert worth_that_matters([outcome], [value]) == pytest.approx(0.1)
    assert worth_that_matters([outcome], [2 * ends["worst"] - ends["best"]]) == pytest.approx(0.1)


def test_what_matters_is_the_smallest_over_outcomes_that_can_improve():
    first = Outcome("a", goal="raise", worst=0, best=10, matters=1)
    second = Outcome("b", goal="hit", target=0, worst=4, matters=1)
    values = [5.0, -2.0]
    alone = [
        worth([first, second], [np.array([6.0]), np.array([-2.0])])[0]
        - worth([first, second], [np.array([5.0]), np.array([-2.0])])[0],
        worth([first, second], [np.array([5.0]), np.array([-1.0])])[0]
        - worth([first, second], [np.array([5.0]), np.array([-2.0])])[0],
    ]
    assert worth_that_matters([first, second], values) == pytest.approx(min(alone))
    assert worth_that_matters([first, second], [5.0, 0.0]) == pytest.approx(
        worth([first, second], [np.array([6.0]), np.zeros(1)])[0]
        - worth([first, second], [np.array([5.0]), np.zeros(1)])[0]
    )


@pytest.mark.parametrize("weights", [(1.0, 1.0, 1.0), (2.0, 1.0, 0.5)])
def test_the_best_worth_of_a_row_is_the_largest_of_its_worths(weights):
    rng = np.random.default_rng(1)
    outcomes = [
        Outcome(f"y{place}", goal="raise", best=1, worst=0, weight=weight) for place, weight in enumerate(weights)
    ]
    for count in (1, 2, 3):
        values = [rng.uniform(-0.2, 1.2, (50, 20)) for _ in range(count)]
        found = best_worth(outcomes[:count], values)
        np.testing.assert_allclose(found, worth(outcomes[:count], values).max(axis=1), rtol=1e-15)
