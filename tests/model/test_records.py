from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.records import Reading, Session, Unit, Variant, check_ways, read_settings
from tests.refusing import refused
from tests.strategies import factor_sets, settings_for

FACTORS = (
    Factor("vents", "count", low=0, high=6, way="up"),
    Factor("rings", "count", low=7, high=12, way="rebuild"),
    Factor("tube", low=20, high=60, way="down"),
    Factor("driver", "categorical", levels=["paper", "poly"]),
)
OLD = {"vents": 2, "rings": 9, "tube": 40.0, "driver": "paper"}


@pytest.mark.parametrize("record", [Unit, Variant, Session])
def test_a_record_has_a_label_on_one_line(record: Any) -> None:
    assert record("  body A ").name == "body A"
    with refused(UsageError, f"{record.__name__} ' ' must be text on one line, 1 to 80 characters."):
        record(" ")


def test_a_variant_without_settings_is_a_reference_object() -> None:
    assert Variant("shop radio").is_reference
    assert not Variant("1", OLD).is_reference


@pytest.mark.parametrize("value", [3, 3.0, np.int64(3), np.float32(3)])
def test_a_reading_stores_a_float(value: float) -> None:
    assert (Reading("1", "bass", value).value, type(Reading("1", "bass", value).value)) == (3.0, float)


@pytest.mark.parametrize("value", [math.nan, math.inf, "3", None, True, np.True_])
def test_a_reading_is_a_finite_number(value: Any) -> None:
    with refused(DataError, f"bass of variant 1 is '{value}'; it must be a finite number."):
        Reading("1", "bass", value)


@pytest.mark.parametrize("order", [1, 4.0, np.int64(7)])
def test_the_order_is_a_whole_number(order: Any) -> None:
    assert type(Reading("1", "bass", 3.0, order=order).order) is int


@pytest.mark.parametrize("order", [0, -1, 1.5, "2", math.nan, math.inf])
def test_the_order_is_nothing_else(order: Any) -> None:
    with refused(DataError, f"order is '{order}'; it must be a whole number from 1."):
        Reading("1", "bass", 3.0, order=order)


@given(st.data(), factor_sets())
def test_settings_are_read_as_each_factor_reads_them(data: st.DataObject, factors: tuple[Factor, ...]) -> None:
    settings = data.draw(settings_for(factors))
    assert read_settings(settings, factors) == settings
    assert read_settings({f" {name}": str(value) for name, value in settings.items()}, factors) == settings
    assert read_settings({}, factors, settings) == settings


def test_only_what_changed_is_typed() -> None:
    assert read_settings({"vents": "3"}, FACTORS, OLD) == {**OLD, "vents": 3}
    with refused(DataError, "vents has no value; it must be a whole number from 0 to 6."):
        read_settings({}, FACTORS)
    with refused(
        DataError, "'vent' is no factor of this project; there are vents, rings, tube and driver. Did you mean 'vents'?"
    ):
        read_settings({"vent": 3}, FACTORS, OLD)
    with refused(DataError, "vents is 9; it must be a whole number from 0 to 6."):
        read_settings({"vents": 9}, FACTORS, OLD)


def test_a_name_typed_with_a_micro_sign_finds_its_factor() -> None:
    factor = Factor("\N{MICRO SIGN}", low=0, high=1)
    assert read_settings({"\N{MICRO SIGN}": 1}, [factor]) == {"\N{GREEK SMALL LETTER MU}": 1.0}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"vents": 1}, "vents cannot go from 2 to 1 on unit body A: it only goes up."),
        ({"tube": 45.0}, "tube cannot go from 40 to 45 on unit body A: it only goes down."),
        (
            {"vents": 1, "tube": 45.0},
            "vents cannot go from 2 to 1 on unit body A: it only goes up; "
            "tube cannot go from 40 to 45 on unit body A: it only goes down.",
        ),
        ({"rings": 8}, "rings cannot go from 9 to 8 on unit body A: it needs a new unit."),
    ],
)
def test_a_step_that_cannot_be_taken_back_is_refused(change: dict[str, Any], message: str) -> None:
    with refused(DataError, message):
        check_ways(OLD, {**OLD, **change}, FACTORS, "body A")


def test_steps_the_right_way_are_allowed() -> None:
    check_ways(OLD, {**OLD, "vents": 6, "tube": 20.0, "driver": "poly"}, FACTORS, "body A")
    check_ways({}, OLD, FACTORS, "body A")
