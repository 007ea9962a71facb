import itertools

import pytest

from doe.grids import left_to, summed_grids
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.sums import sums
from doe.plans import plan

ODD = [Factor("a", low=0, high=0.6), Factor("b", low=0.23, high=0.71), Factor("c", low=0.11, high=0.57)]
ADDED = Limit("a + b + c == 1")


def grids(factors, *rules, most=11, seen=()):
    return summed_grids(sums(factors, rules, ()), most, seen)


def test_settings_are_round_numbers_ends_and_corners():
    """By hand: 0.05 is the least round step of at most ten over 0.48. The corners: 1 less an end of c and one of a."""
    found = grids(ODD, ADDED)
    round_numbers = {0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7}
    assert set(found["b"]) == round_numbers | {0.23, 0.71} | {0.29, 0.43}
    assert all(list(values) == sorted(set(values)) for values in found.values())


def test_every_pair_of_the_others_that_leaves_something_has_its_rest_among_the_settings():
    found = grids(ODD, ADDED)
    for b, c in itertools.product(found["b"], found["c"]):
        left = round(1 - b - c, 9)
        assert not 0 <= left <= 0.6 or left in {round(value, 9) for value in found["a"]}


def test_a_change_of_a_variant_that_exists_is_made_up_for():
    """0.333 is no round number; with b put to 0.3 and c as it is, a takes 1 - 0.3 - 0.222."""
    seen = [{"a": 0.445, "b": 0.333, "c": 0.222}]
    assert 0.478 in grids(ODD, ADDED, seen=seen)["a"]
    assert 0.478 not in grids(ODD, ADDED)["a"]
    assert grids(ODD, ADDED, seen=[{"a": 0.445}]) == grids(ODD, ADDED)


def test_the_rest_lies_on_its_steps():
    """Where both step by two units a number that is odd cannot be made up; where only one does it is skipped."""
    even = [Factor("a", "count", low=0, high=10, step=2), Factor("b", "count", low=0, high=6)]
    assert grids(even, Limit("a + b == 7")) == {"b": tuple(range(7)), "a": (2, 4, 6)}


def test_many_settings_are_thinned_but_keep_the_corners():
    factors = [Factor("a", low=0, high=0.0173), Factor("b", low=0, high=1), Factor("c", low=0, high=1)]
    found = grids(factors, ADDED)
    assert len(found["b"]) <= 105
    assert {0.0, 0.9827, 1.0} <= set(found["b"])


def test_rules_without_a_sum_choose_nothing():
    assert grids(ODD, Limit("a + b <= 1")) == {}


@pytest.mark.parametrize(("settings", "left"), [({"b": 0.4, "c": 0.3}, 0.3), ({"b": 0.3, "c": 0.7}, 0.0)])
def test_what_is_left_is_free_of_rounding(settings, left):
    (rule,) = sums(ODD, [ADDED], ())
    assert float(left_to(rule, settings)) == left


@pytest.mark.slow
def test_the_corners_of_a_published_mixture_are_among_the_settings():
    """McLean & Anderson (1966, Technometrics 8, 447-454), a flare of four parts; its eight corners *from memory*."""
    flare = [
        Factor("magnesium", low=0.4, high=0.6),
        Factor("sodium", low=0.1, high=0.5),
        Factor("strontium", low=0.1, high=0.5),
        Factor("binder", low=0.03, high=0.08),
    ]
    corners = [
        (0.4, 0.1, 0.47, 0.03), (0.4, 0.1, 0.42, 0.08), (0.6, 0.1, 0.27, 0.03), (0.6, 0.1, 0.22, 0.08),
        (0.4, 0.47, 0.1, 0.03), (0.4, 0.42, 0.1, 0.08), (0.6, 0.27, 0.1, 0.03), (0.6, 0.22, 0.1, 0.08),
    ]  # fmt: skip
    found = grids(flare, Limit("magnesium + sodium + strontium + binder == 1"))
    for corner in corners:
        for factor, value in zip(flare, corner, strict=True):
            assert min(abs(number - value) for number in found[factor.name]) < 1e-12
    made = plan(flare, 8, limits=[Limit("magnesium + sodium + strontium + binder == 1")], starts=4)
    rows = made.table[[factor.name for factor in flare]].round(9)
    assert {tuple(row) for row in rows.to_numpy().tolist()} <= set(corners)
