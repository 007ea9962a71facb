from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.model.numbers import finite, is_missing, not_negative, read_hours, read_minutes, read_number
from doe.model.wording import duration
from tests.refusing import refused


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("1,5", 1.5),
        (" +2 ", 2.0),
        ("−3", -3.0),
        ("–3", -3.0),
        ("-0,125", -0.125),
        ("0,500", 0.5),
        (",5", 0.5),
        ("1,2345", 1.2345),
        ("1e3", 1000.0),
        ("1,5e3", 1500.0),
        (7, 7.0),
        (np.int64(7), 7.0),
        (np.float32(0.5), 0.5),
        (np.array(3), 3.0),
        (Decimal("1.25"), 1.25),
        (Fraction(1, 4), 0.25),
    ],
)
def test_numbers_are_read_as_people_type_them(typed: object, number: float) -> None:
    assert read_number(typed, "wool") == number


@pytest.mark.parametrize("typed", ["1,234", "-12,345", "1.234,5", "1,234,567", "1,234.5", "1,234e3"])
def test_a_thousands_separator_is_not_guessed(typed: str) -> None:
    message = f"wool is '{typed}'; write it with a decimal point, since the comma could mean thousands."
    with refused(DataError, message):
        read_number(typed, "wool")


@pytest.mark.parametrize(
    "typed", ["seven", "1 000", "1_000", "0x10", "5 %", "1,,5", "--3", "1\x003", [3], np.array([1, 2]), b"3", 10**400]
)
def test_what_is_no_number_is_refused(typed: object) -> None:
    with pytest.raises(DataError, match=r"\Awool is '.*'; "):
        read_number(typed, "wool")


@pytest.mark.parametrize("typed", [True, False, np.True_])
def test_true_and_false_are_no_numbers(typed: object) -> None:
    with refused(DataError, f"wool is '{typed}'; it must be a number."):
        read_number(typed, "wool")


@pytest.mark.parametrize("typed", [None, math.nan, np.nan, np.float32("nan"), pd.NA, pd.NaT, "", "  "])
def test_an_empty_cell_is_said_to_be_empty(typed: object) -> None:
    """Every way in which a frame writes 'nothing' gives the same sentence."""
    with refused(DataError, f"wool is '{typed if isinstance(typed, str) else ''}'; it must be a number."):
        read_number(typed, "wool")


@pytest.mark.parametrize("typed", ["inf", "-inf", "nan", "1e999", math.inf])
def test_a_number_must_be_finite(typed: object) -> None:
    with refused(DataError, f"wool is '{typed}'; it must be a finite number."):
        read_number(typed, "wool")


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_what_python_writes_is_read_back(number: float) -> None:
    """Text of a float, with point or comma, gives the same float (unless the comma could mean thousands)."""
    assert read_number(repr(number), "x") == number
    text = f"{number:.5f}".replace(".", ",")
    assert read_number(text, "x") == float(text.replace(",", "."))


@given(st.text(max_size=20))
def test_any_text_is_a_finite_number_or_a_data_error(text: str) -> None:
    try:
        assert math.isfinite(read_number(text, "x"))
    except DataError as err:
        assert str(err).isprintable()


@pytest.mark.parametrize("value", [0, 1.5, np.int64(3), np.float32(2)])
def test_a_definition_takes_any_kind_of_number(value: float) -> None:
    assert finite("low", value) == value
    assert type(finite("low", value)) is float


@pytest.mark.parametrize("value", ["3", None, True, np.True_, math.nan, math.inf, [1], 1j])
def test_a_definition_takes_nothing_else(value: object) -> None:
    with refused(UsageError, f"low is '{value}'; it must be a finite number."):
        finite("low", value)


def test_a_number_too_large_for_the_machine_is_refused_in_words() -> None:
    with pytest.raises(UsageError, match=r"; it must be a finite number\.\Z"):
        finite("low", 10**5000)


def test_minutes_cannot_be_negative() -> None:
    assert not_negative("minutes", 0) == 0.0
    with refused(UsageError, "minutes is -1234567; it must be 0 or more."):
        not_negative("minutes", -1234567)


@pytest.mark.parametrize("value", [0, "", "nan", False, np.array([1, 2]), [math.nan]])
def test_a_cell_with_something_in_it_is_not_missing(value: object) -> None:
    assert not is_missing(value)


@given(st.integers(0, 100_000))
def test_a_time_is_read_as_it_is_written(minutes):
    assert read_minutes(duration(minutes), "minutes") == minutes
    assert read_hours(duration(minutes), "hours") == pytest.approx(minutes / 60)


@pytest.mark.parametrize(
    "typed", ["", "soon", "-5", "h", "min", "4 h -3 min", "4 min 3 h", "1 h 2 h", "nan", "inf", "4:10"]
)
def test_what_is_no_time_is_refused(typed):
    for read in (read_minutes, read_hours):
        with refused(DataError, f"time is '{typed}'; it must be a number from 0, or a time such as 1 h 35 min."):
            read(typed, "time")


def test_a_comma_that_could_mean_thousands_is_refused_in_a_time_too():
    assert (read_minutes("1,5 h", "time"), read_hours("2,5", "time")) == (90.0, 2.5)
    assert (read_minutes("0", "time"), read_hours("0", "time")) == (0.0, 0.0)
    for typed in ("1,234", "1,234 h"):
        with pytest.raises(DataError, match="the comma could mean thousands"):
            read_minutes(typed, "time")
