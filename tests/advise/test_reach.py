import itertools
import re

import numpy as np
import pytest

from doe.advise.effort import change_cost, new_unit_cost
from doe.advise.reach import check_limits, reach_from
from doe.advise.space import make_space
from doe.coding import Coding
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits
from doe.model.records import Unit

A = Unit("A", {"vents": 2, "rings": 9, "wool": 20.0, "driver": "poly"})
B = Unit("B", {"vents": 5, "rings": 7, "wool": 0.0, "driver": "paper"})


def everything(factors):
    for values in itertools.product(*(factor.grid(13) for factor in factors)):
        yield dict(zip((factor.name for factor in factors), values, strict=True))


def test_every_variant_is_reached_from_the_unit_that_takes_the_fewest_minutes(factors, effort):
    """Checked variant by variant against the rules of one-way and rebuild factors, over the whole grid."""
    space = make_space(Coding(factors), [A.settings, B.settings])
    reach = reach_from(space, [A, B], effort, {})
    codes = space.everything()
    minutes, _, start = reach.cheapest(codes)
    for place in range(0, len(codes), 7):
        end = space.settings(codes[place])
        options = {"new": new_unit_cost(factors, end, effort).minutes}
        for unit in (A, B):
            if all(factor.can_go(unit.settings[factor.name], end[factor.name]) for factor in factors):
                options[unit.name] = change_cost(factors, unit.settings, end).minutes
        assert minutes[place] == min(options.values())
        assert options[reach.name(start[place])] == minutes[place]


def test_retired_and_empty_units_are_no_start(factors, effort):
    space = make_space(Coding(factors), [A.settings])
    reach = reach_from(space, [Unit("A", A.settings, retired=True), Unit("C"), Unit("D", {"vents": 2})], effort, {})
    assert [reach.name(place) for place in range(len(reach.starts))] == ["new"]


def test_one_unit_can_be_asked_for(factors, effort):
    space = make_space(Coding(factors), [A.settings, B.settings])
    assert reach_from(space, [A, B], effort, {}, only_unit="B").unit_names == ("B",)
    assert reach_from(space, [A, B], effort, {}, only_unit="new").unit_names == (None,)


def test_where_two_units_take_the_same_the_one_with_the_best_variant_is_left_alone(factors, effort):
    twin = Unit("A2", A.settings)
    space = make_space(Coding(factors), [A.settings])
    code = space.code({**A.settings, "wool": 0.0})[None]
    assert reach_from(space, [A, twin], effort, {}, last_choice="A").cheapest(code)[2][0] == 0
    assert reach_from(space, [A, twin], effort, {}, last_choice="A").name(0) == "A2"


def test_limits_on_arrays_agree_with_limits_one_by_one(factors):
    derived = [Derived("air", "rings * 42 - wool * 2.1")]
    limits = [Limit("air >= 300"), Limit("driver != 'paper' or vents <= 3"), Limit("sqrt(rings) > 2.9")]
    space = make_space(Coding(factors, derived), limits=limits)
    codes = space.everything()[::5]
    expected = [not broken_limits(space.settings(code), limits, derived) for code in codes]
    np.testing.assert_array_equal(space.allowed(codes), expected)
    assert 0 < np.mean(expected) < 1


def test_a_limit_that_divides_by_zero_is_broken_there_only():
    factors = [Factor("a", low=0, high=2, step=1), Factor("b", low=0, high=2, step=1)]
    space = make_space(Coding(tuple(factors)), limits=[Limit("a / b <= 1")])
    kept = {tuple(space.settings(code).values()) for code in space.everything() if space.allowed(code[None])[0]}
    assert kept == {(0, 1), (1, 1), (0, 2), (1, 2), (2, 2)}


def test_contradictory_limits_are_named_as_a_pair(factors):
    limits = [Limit("vents <= 5"), Limit("wool + rings >= 60"), Limit("wool < 20")]
    message = "No settings keep both limits 'wool + rings >= 60' and 'wool < 20'; loosen or remove one of them."
    with pytest.raises(DataError, match=re.escape(message)):
        check_limits(make_space(Coding(factors), limits=limits))


def test_a_limit_that_nothing_keeps_is_named(factors):
    message = "No settings keep the limit 'vents > 6' within the factors' ranges; loosen it."
    with pytest.raises(DataError, match=re.escape(message)):
        check_limits(make_space(Coding(factors), limits=[Limit("vents > 6")]))


def test_three_limits_that_only_clash_together_are_named_together(factors):
    limits = [Limit("vents >= wool / 10"), Limit("wool >= rings * 4"), Limit("rings >= 9 + vents")]
    with pytest.raises(DataError, match="No settings keep all the limits together"):
        check_limits(make_space(Coding(factors), limits=limits))


def test_limits_that_few_settings_keep_are_no_contradiction():
    """All of four at their ends: one setting in 28 561, alone and with two limits that allow it."""
    space = Coding(tuple(Factor(name, low=0, high=12, step=1) for name in "abcd"))
    corner = Limit("a + b + c + d >= 48")
    check_limits(make_space(space, limits=[corner]))
    check_limits(make_space(space, limits=[corner, Limit("a >= 3"), Limit("a <= b")]))


def test_contradictions_are_found_in_a_space_too_large_to_list():
    factors = [Factor(f"f{k}", low=0, high=12, step=1) for k in range(12)]
    limits = [Limit("f0 + f1 > 20"), Limit("f1 < 3")]
    space = make_space(Coding(tuple(factors)), limits=limits)
    assert space.size > 10**13
    with pytest.raises(DataError, match=re.escape("'f0 + f1 > 20' and 'f1 < 3'")):
        check_limits(space)
