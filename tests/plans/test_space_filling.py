import numpy as np
import pytest
from scipy.spatial.distance import pdist

from doe.coding import Coding
from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.plans import plan
from doe.plans.layout import keeps
from doe.plans.space_filling import _unit, latin_hypercube, maximin
from tests.plans.made import coded, numbers, switches
from tests.refusing import refused


@pytest.mark.slow
def test_a_latin_hypercube_has_one_run_in_each_slice():
    """McKay, Beckman & Conover 1979: of n equal slices of each range every one holds one run."""
    X = coded(plan(numbers(4), 11, kind="latin-hypercube"))
    for column in X.T:
        assert np.allclose(np.sort(column), np.linspace(-1, 1, 11))


def test_distances_are_as_far_for_every_factor():
    """From end to end of a number or of ordered levels it is 1, as it is from any other level to any other."""
    factors = [
        Factor("gap", low=2, high=10),
        Factor("lid", kind="ordered", levels=["open", "half", "shut"]),
        *switches(1),
    ]
    corners = _unit(factors, np.array([[2, 0, 0], [10, 0, 0], [2, 1, 0], [2, 2, 0], [2, 0, 1]], dtype=float))
    assert pdist(corners)[:4] == pytest.approx([1, 0.5, 1, 1])


def test_levels_of_a_hypercube_are_used_equally_often_and_slices_from_end_to_end():
    factors = [
        *numbers(1),
        Factor("gap", low=2, high=13),
        Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"]),
    ]
    draft = latin_hypercube(Coding(tuple(factors)), 12, 1)
    assert np.bincount(draft.values[:, 2].astype(int)).tolist() == [4, 4, 4]
    assert np.allclose(np.sort(draft.values[:, 0]), np.linspace(-1, 1, 12))
    assert np.sort(draft.values[:, 1]).tolist() == list(range(2, 14))


def test_a_hypercube_is_spread_better_than_a_random_one():
    """The nearest two runs lie farther apart than in 19 of 20 random Latin hypercubes."""
    X = latin_hypercube(Coding(tuple(numbers(3))), 12, 1).values
    rng = np.random.default_rng(3)
    random = [pdist(np.stack([rng.permutation(12) for _ in range(3)], axis=1) * 2 / 11 - 1).min() for _ in range(200)]
    assert pdist(X).min() >= np.quantile(random, 0.95)


def test_maximin_reaches_the_corners_of_a_square():
    """Closed form: four points farthest apart in a square are its corners, at distance 2."""
    X = maximin(Coding(tuple(numbers(2))), 4, 1).values
    assert pdist(X).min() > 1.9


def test_maximin_keeps_limits_and_keeps_away_from_runs_that_exist():
    coding = Coding(tuple(numbers(2)))
    limit = [Limit("A + B <= 0.5")]
    values = maximin(coding, 8, 1, limit, np.array([[-1.0, -1.0]])).values
    assert keeps(coding, limit, values).all()
    assert np.linalg.norm(values - [-1, -1], axis=1).min() > 0.5


def test_maximin_repeats_no_run_before_all_settings_are_used():
    """Two switches have four settings, two of which exist."""
    values = maximin(Coding(tuple(switches(2))), 4, 1, (), np.array([[0.0, 0.0], [1.0, 1.0]])).values
    assert len(np.unique(values, axis=0)) == 4


def test_a_space_filling_plan_has_ten_runs_for_each_factor_by_default():
    """Loeppky, Sacks & Welch 2009; blocks it has none."""
    assert plan(numbers(1), kind="maximin").n_runs == 10
    with refused(UsageError, "A maximin plan has no blocks of its own; use kind='d-optimal' with blocks=2."):
        plan(numbers(1), kind="maximin", blocks=2)


def test_a_hypercube_with_limits_is_refused():
    with refused(UsageError, "A Latin hypercube cannot keep the limit 'A <= 0'; use kind='maximin'."):
        plan(numbers(2), 5, kind="latin-hypercube", limits=[Limit("A <= 0")])


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ([], "The factors have 6 combinations of settings, fewer than 7 runs; ask for fewer runs."),
        (
            [Limit("gap >= 1")],
            "The limits leave 4 combinations of settings, fewer than 7 runs; loosen them or ask for fewer runs.",
        ),
    ],
)
def test_more_runs_than_there_are_settings_are_refused_for_the_reason_that_holds(limits, said):
    factors = [Factor("gap", kind="count", low=0, high=2), Factor("feet", kind="categorical", levels=["felt", "cork"])]
    with refused(UsageError, said):
        plan(factors, 7, kind="maximin", limits=limits)
