from __future__ import annotations

import itertools
import math
from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from tests.refusing import refused
from tests.strategies import continuous_factors, count_factors, factors, level_factors, settings_of

VENTS = Factor("vents", "count", low=0, high=6, way="up", minutes=12, minutes_per_step=3)
WOOL = Factor("wool", low=0, high=60, step=5, unit="%", minutes=8)
DRIVER = Factor("driver", "categorical", levels=["paper", "poly", "bamboo"], minutes=25, prices={"bamboo": 30})
SIZE = Factor("size", "ordered", levels=["S", "M", "L"], way="down", minutes=5, minutes_per_step=2)
BLADES = Factor("blades", "ordered", levels=[3, 5.0, 7.5])


@given(st.data(), factors())
def test_reading_a_setting_twice_changes_nothing(data: st.DataObject, factor: Factor) -> None:
    """read(read(x)) == read(x), also from the text of it."""
    setting = data.draw(settings_of(factor))
    assert factor.read(setting) == setting
    assert factor.read(f"  {setting} ") == setting
    assert type(factor.read(setting)) is {"continuous": float, "count": int}.get(factor.kind, str)


@given(factors(), st.integers(1, 15))
def test_the_grid_holds_settings_in_order_with_both_ends(factor: Factor, most: int) -> None:
    """Every grid value can be read, is on the range, and grows; a numeric grid has at most `most` (two at least)."""
    grid = factor.grid(most)
    assert [factor.read(value) for value in grid] == list(grid)
    places = [factor.position(value) for value in grid]
    assert all(first < second for first, second in itertools.pairwise(places))
    assert (places[0], places[-1]) == factor.span
    assert len(grid) <= max(most, 2) or not factor.is_numeric


@given(st.one_of(continuous_factors(), count_factors()), st.floats(0.001, 1e6))
def test_off_the_range_is_refused_naming_what_is_allowed(factor: Factor, beyond: float) -> None:
    low, high = factor.span
    for number in (low - beyond * (high - low), high + beyond * (high - low)):
        with refused(DataError, f"{factor.name} is {Decimal(f'{number:.12g}'):f}; it {factor.allowed()}."):
            factor.read(number)


@given(continuous_factors(stepped=True), st.integers(0, 59), st.floats(0.001, 0.999))
def test_off_the_step_is_refused_naming_what_is_allowed(factor: Factor, place: int, part: float) -> None:
    assert factor.step is not None
    low, high = factor.span
    number = low + (place + part) * factor.step
    assume(number < high)
    with refused(DataError, f"{factor.name} is {Decimal(f'{number:.12g}'):f}; it {factor.allowed()}."):
        factor.read(number)


@given(level_factors())
def test_a_level_is_read_whatever_its_capitals(factor: Factor) -> None:
    for level in factor.levels:
        assert factor.read(level) == level
        if level.swapcase().casefold() == level.casefold():
            assert factor.read(level.swapcase()) == level


@given(
    factors(),
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.binary(max_size=3)),
)
def test_anything_typed_is_a_setting_or_a_data_error(factor: Factor, typed: object) -> None:
    try:
        setting = factor.read(typed)
    except DataError:
        return
    assert factor.read(setting) == setting
    assert factor.span[0] <= factor.position(setting) <= factor.span[1]


@pytest.mark.parametrize("nothing", [None, math.nan, np.nan, np.float32("nan"), pd.NA, pd.NaT])
@pytest.mark.parametrize(
    ("factor", "allowed"),
    [
        (VENTS, "must be a whole number from 0 to 6"),
        (WOOL, "must be a number from 0 to 60 % in steps of 5"),
        (DRIVER, "must be paper, poly or bamboo"),
        (BLADES, "must be 3, 5 or 7.5"),
    ],
)
def test_an_empty_cell_is_refused_the_same_way_by_all_kinds(factor: Factor, allowed: str, nothing: object) -> None:
    with refused(DataError, f"{factor.name} is ''; it {allowed}."):
        factor.read(nothing)


@pytest.mark.parametrize(
    "three", [3, 3.0, "3", "3.0", "3,0", "+3", np.int64(3), np.float32(3), np.float64(3), np.uint8(3)]
)
def test_three_is_three_in_any_type(three: object) -> None:
    """Numbers from a frame, a spreadsheet or a keyboard give the same setting, also where levels are numbers."""
    assert (VENTS.read(three), type(VENTS.read(three))) == (3, int)
    assert BLADES.read(three) == "3"


@pytest.mark.parametrize("half", [7.5, "7.5", "7,5", np.float32(7.5)])
def test_levels_may_be_broken_numbers(half: object) -> None:
    assert BLADES.read(half) == "7.5"
    with refused(DataError, "blades is '8'; it must be 3, 5 or 7.5."):
        BLADES.read(8.0)


def test_a_number_is_no_level_that_is_a_word() -> None:
    feet = Factor("feet", "categorical", levels=["3", "cork"])
    with refused(DataError, "feet is '4'; it must be 3 or cork."):
        feet.read(4)


def test_levels_that_are_the_same_number_are_told_apart_by_their_text() -> None:
    """Where two levels are equal as numbers, only the exact text names one."""
    factor = Factor("grit", "categorical", levels=["80", "80.0", "fine"])
    assert factor.read("80.0") == "80.0"
    assert factor.read(80) == "80"
    with refused(DataError, "grit is '80.00'; it must be 80, 80.0 or fine. Did you mean '80.0'?"):
        factor.read("80.00")


@pytest.mark.parametrize("typed", [True, np.True_])
def test_true_is_no_setting(typed: object) -> None:
    with refused(DataError, "vents is 'True'; it must be a whole number from 0 to 6."):
        VENTS.read(typed)
    with refused(DataError, "driver is 'True'; it must be paper, poly or bamboo."):
        DRIVER.read(typed)


def test_a_wrong_setting_is_quoted_with_all_its_digits() -> None:
    with refused(DataError, "wool is 3.0000001; it must be a number from 0 to 60 % in steps of 5."):
        WOOL.read("3,0000001")
    with refused(DataError, "vents is 'many'; it must be a whole number from 0 to 6."):
        VENTS.read("many")
    with refused(DataError, "wool is '1,250'; write it with a decimal point, since the comma could mean thousands."):
        WOOL.read("1,250")
    with refused(DataError, "driver is 'papr'; it must be paper, poly or bamboo. Did you mean 'paper'?"):
        DRIVER.read("papr")


def test_large_ranges_are_spelled_out() -> None:
    factor = Factor("pressure", low=0, high=1234567.5, unit="Pa")
    assert factor.allowed() == "must be a number from 0 to 1234567.5 Pa"


def test_what_is_allowed_ends_at_the_last_step() -> None:
    """A range that is no whole number of steps ends where the last step ends."""
    factor = Factor("gap", low=0, high=10, step=3)
    assert factor.allowed() == "must be a number from 0 to 9 in steps of 3"
    assert factor.grid() == (0.0, 3.0, 6.0, 9.0)
    with refused(DataError, "gap is 10; it must be a number from 0 to 9 in steps of 3."):
        factor.read(10)


def test_a_step_of_a_third_ends_where_the_range_ends() -> None:
    factor = Factor("share", low=0, high=1, step=0.3333333333)
    assert factor.grid() == (0.0, 0.3333333333, 0.6666666666, 1.0)
    assert factor.read(1) == factor.highest == 1.0


def test_a_grid_is_spread_evenly() -> None:
    assert Factor("gap", low=0, high=1).grid(5) == (0.0, 0.25, 0.5, 0.75, 1.0)
    assert Factor("gap", low=0, high=100, step=1).grid(5) == (0.0, 25.0, 50.0, 75.0, 100.0)


def test_settings_carry_no_rounding_noise() -> None:
    """0.1 + 0.2 is stored as 0.3, so that typed and computed settings are the same."""
    factor = Factor("tip", low=0, high=1, step=0.1)
    assert factor.grid() == (0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1)
    assert factor.read("0,3") == factor.read(0.1 + 0.2) == 0.3


@pytest.mark.parametrize(
    ("given", "read"), [(0.1 + 0.2, 0.3), (60 * 2.05, 123.0), (92.07106781186548, 92.07106781186548), (1 / 3, 1 / 3)]
)
def test_settings_without_a_step_carry_no_rounding_noise_either(given: float, read: float) -> None:
    """What is given to its last digit is kept so."""
    assert Factor("tip", low=0, high=200).read(given) == read


def test_a_setting_a_hair_beyond_the_end_is_the_end() -> None:
    factor = Factor("tip", low=0.1, high=0.7)
    assert factor.read(0.7 + 1e-12) == 0.7
    assert factor.read(0.1 - 1e-12) == 0.1


@given(st.data(), factors())
def test_ways_are_what_they_say(data: st.DataObject, factor: Factor) -> None:
    """Nothing changed is always possible; up and down exclude one another; rebuild goes nowhere."""
    start, end = data.draw(settings_of(factor)), data.draw(settings_of(factor))
    assert factor.can_go(start, start)
    if start == end:
        return
    there, back = factor.can_go(start, end), factor.can_go(end, start)
    assert (there, back) == {
        "either": (True, True),
        "rebuild": (False, False),
        "up": (factor.position(start) < factor.position(end), factor.position(start) > factor.position(end)),
        "down": (factor.position(start) > factor.position(end), factor.position(start) < factor.position(end)),
    }[factor.way]


@given(st.data(), factors())
def test_a_change_costs_the_same_both_ways_and_nothing_is_free_but_nothing(data: st.DataObject, factor: Factor) -> None:
    start, end = data.draw(settings_of(factor)), data.draw(settings_of(factor))
    assert factor.change_minutes(start, start) == 0.0
    assert factor.change_minutes(start, end) == factor.change_minutes(end, start)
    if start != end:
        assert factor.change_minutes(start, end) >= factor.minutes


def test_minutes_grow_by_the_step() -> None:
    assert VENTS.change_minutes(1, 4) == 12 + 3 * 3
    assert SIZE.change_minutes("L", "S") == 5 + 2 * 2
    assert DRIVER.change_minutes("paper", "bamboo") == 25
    driver = replace(DRIVER, minutes_per_step=3)  # without an order, one level is as far as the next
    assert driver.change_minutes("paper", "bamboo") == driver.change_minutes("paper", "poly") == 25 + 3
    assert Factor("gap", low=0, high=9, step=3, minutes_per_step=2).change_minutes(0, 9) == 6


def test_the_place_of_something_unknown_is_refused_in_words() -> None:
    assert (SIZE.position("L"), VENTS.position(4)) == (2.0, 4.0)
    with refused(DataError, "size is 'XL'; it must be S, M or L. Did you mean 'L'?"):
        SIZE.position("XL")


def test_definitions_take_the_types_that_arrays_hold() -> None:
    factor = Factor("gap", low=np.int64(0), high=np.float32(3), step=np.float64(0.5), minutes=np.int32(2))
    assert factor == Factor("gap", low=0, high=3, step=0.5, minutes=2)
    for levels in (("a", "b"), np.array(["a", "b"]), pd.Series(["a", "b"])):
        assert Factor("feet", "categorical", levels=levels).levels == ("a", "b")  # type: ignore[arg-type]


BAD: list[tuple[dict[str, Any], str]] = [
    ({}, "Factor 'x' is continuous: give both low and high."),
    ({"low": 0}, "Factor 'x' is continuous: give both low and high."),
    ({"low": 3, "high": 3}, "Factor 'x': low (3) must be below high (3)."),
    ({"low": 1234567, "high": 0}, "Factor 'x': low (1234567) must be below high (0)."),
    ({"low": "0", "high": 1}, "Factor 'x': low is '0'; it must be a finite number."),
    ({"low": 0, "high": math.inf}, "Factor 'x': high is 'inf'; it must be a finite number."),
    (
        {"low": -1e308, "high": 1e308},
        "Factor 'x': the range -1e+308 to 1e+308 is too narrow or too wide to compute with.",
    ),
    (
        {"low": 1.0, "high": 1.0 + 1e-15},
        "Factor 'x': the range 1.0 to 1.000000000000001 is too narrow or too wide to compute with.",
    ),
    ({"low": 0, "high": 1, "step": 0}, "Factor 'x': step is 0; it must be more than 0."),
    ({"low": 0, "high": 1, "step": "1"}, "Factor 'x': step is '1'; it must be a finite number."),
    ({"low": 0, "high": 1, "step": 2}, "Factor 'x': step 2 does not fit the range 0 to 1."),
    ({"low": 0, "high": 1, "step": 1e-9}, "Factor 'x': step 0.000000001 does not fit the range 0 to 1."),
    ({"low": 0, "high": 1, "levels": ["a", "b"]}, "Factor 'x' is continuous: give low and high, not levels."),
    ({"kind": "count", "low": 0.5, "high": 3}, "Factor 'x' is a count: low, high and step must be whole numbers."),
    (
        {"kind": "count", "low": 0, "high": 3, "step": 1.5},
        "Factor 'x' is a count: low, high and step must be whole numbers.",
    ),
    ({"kind": "count", "low": 0, "high": 3, "step": 0}, "Factor 'x': step is 0; it must be more than 0."),
    ({"kind": "count", "low": 0, "high": 3, "step": "x"}, "Factor 'x': step is 'x'; it must be a finite number."),
    (
        {"kind": "size", "low": 0, "high": 3},
        "Factor 'x': kind is 'size'; it must be continuous, count, ordered or categorical.",
    ),
    (
        {"low": 0, "high": 3, "way": "upp"},
        "Factor 'x': way is 'upp'; it must be either, up, down or rebuild. Did you mean 'up'?",
    ),
    ({"low": 0, "high": 3, "minutes": -1}, "Factor 'x': minutes is -1; it must be 0 or more."),
    ({"low": 0, "high": 3, "price": "1"}, "Factor 'x': price is '1'; it must be a finite number."),
    ({"kind": "ordered", "levels": "SML"}, 'Factor \'x\': levels must be a list, such as ["felt", "cork"].'),
    ({"kind": "ordered", "levels": {"a", "b"}}, 'Factor \'x\': levels must be a list, such as ["felt", "cork"].'),
    (
        {"kind": "ordered", "levels": ["a"]},
        "Factor 'x' is ordered: give at least two different levels, each by itself; 'a' is one.",
    ),
    (
        {"kind": "ordered", "levels": ["a", "A"]},
        "Factor 'x' is ordered: give at least two different levels; 'a' and 'A' are the same, as capitals make no difference.",
    ),
    (
        {"kind": "ordered", "levels": ["a", "b", "b"]},
        "Factor 'x' is ordered: give at least two different levels; 'b' and 'b' are the same.",
    ),
    ({"kind": "ordered", "levels": ["a", ""]}, "Factor 'x': level '' must be text on one line, 1 to 200 characters."),
    ({"kind": "ordered", "levels": ["a", None]}, "Factor 'x': level 'None' must be text or a number."),
    ({"kind": "ordered", "levels": ["a", math.nan]}, "Factor 'x': level 'nan' must be text or a number."),
    ({"kind": "ordered", "levels": ["a", ["b"]]}, "Factor 'x': level '['b']' must be text or a number."),
    ({"kind": "ordered", "levels": ["a", "b"], "low": 0}, "Factor 'x' is ordered: give levels, not low, high or step."),
    (
        {"kind": "categorical", "levels": ["a", "b"], "way": "up"},
        "Factor 'x' has no order, so its way cannot be 'up'; use either or rebuild.",
    ),
    (
        {"kind": "categorical", "levels": ["a", "b"], "prices": {"c": 3}},
        "Factor 'x': prices name 'c', which is not one of its levels; there are a and b.",
    ),
    (
        {"kind": "categorical", "levels": ["a", "b"], "prices": {"a": -3}},
        "Factor 'x': price of a is -3; it must be 0 or more.",
    ),
    (
        {"kind": "categorical", "levels": ["a", "b"], "prices": 3},
        "Factor 'x': prices must be a table of levels and their prices.",
    ),
    (
        {"low": 0, "high": 1, "prices": {"a": 3}},
        "Factor 'x': prices name 'a', which is not one of its levels; it has none.",
    ),
]


@pytest.mark.parametrize(("fields", "message"), BAD)
def test_a_definition_that_contradicts_itself_is_refused(fields: dict[str, Any], message: str) -> None:
    with refused(UsageError, message):
        Factor("x", **fields)


@pytest.mark.parametrize("name", ["cost", "worth_now", "settles"])
def test_a_factor_cannot_have_the_name_of_a_column_that_stands_beside_it(name: str) -> None:
    message = f"Factor name '{name}' is a word that Fettle uses itself; choose another, such as '{name}_1'."
    with refused(UsageError, message):
        Factor(name, low=0, high=1)


def test_prices_of_levels_that_are_numbers() -> None:
    factor = Factor("blades", "categorical", levels=[3, 5], prices={3: 12, "5": 15.5})  # type: ignore[dict-item]
    assert factor.prices == {"3": 12.0, "5": 15.5}
