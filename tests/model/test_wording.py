from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model import wording

NUMBERS = st.floats(-1e300, 1e300)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"), (-0.0, "0"), (3, "3"), (-2.0, "-2"), (0.04567, "0.0457"), (1234.5, "1234"), (99.96, "100"), (9.999, "10"),
        (100.0, "100"), (123456789, "123456789"), (1e9, "1 billion"), (999.96e6, "999960000"), (999.96e9, "1 trillion"),
        (-2.5e15, "-2.5 x 10^15"), (0.0001, "0.0001"), (0.00001, "10 millionths"), (1.004e-6, "1 millionth"),
        (3e-9, "3 billionths"),
        (None, "-"), (math.nan, "-"), (math.inf, "-"),
    ],
)  # fmt: skip
def test_numbers_are_written_as_a_person_would(value: float | None, text: str) -> None:
    assert wording.number(value) == text


@pytest.mark.parametrize(
    ("value", "digits", "text"), [(9.997e-5, 2, "0.0001"), (9.94e-5, 2, "99 millionths"), (-9.99996e-5, 3, "-0.0001")]
)
def test_a_number_next_to_a_ten_thousandth_is_written(value: float, digits: int, text: str) -> None:
    """Rounded up it is an everyday one."""
    assert wording.number(value, digits) == text


@given(NUMBERS, st.integers(1, 8))
def test_a_written_number_is_right_to_its_digits(value: float, digits: int) -> None:
    """What is written differs from the value by at most half a unit of the last significant digit."""
    written = _read_back(wording.number(value, digits))
    size = math.floor(math.log10(abs(value))) if value else 0
    assert abs(written - value) <= 0.5 * 10.0 ** (size - digits + 1) * (1 + 1e-9) + 1e-300


def _read_back(text: str) -> float:
    digits, _, size = text.partition(" ")
    if size.startswith("x 10^"):
        return float(f"{digits}e{size.removeprefix('x 10^')}")
    sizes = {"": 0, "billion": 9, "trillion": 12, "millionth": -6, "billionth": -9, "trillionth": -12}
    return float(f"{digits}e{sizes[size.removesuffix('s')]}")


@given(NUMBERS, st.integers(1, 8))
def test_no_number_is_written_with_a_dangling_point_or_a_negative_nothing(value: float, digits: int) -> None:
    text = wording.number(value, digits)
    assert re.fullmatch(r"-?\d+(\.\d*[1-9])?( x 10\^-?\d+| (b|tr)illion| (m|b|tr)illionths?)?", text)
    assert text != "-0"


@given(st.integers(-(10**11), 10**11), st.integers(0, 6))
def test_an_exact_number_is_read_back_as_typed(whole: int, places: int) -> None:
    """Up to eleven digits and a point come back as the same number, without an exponent for ordinary sizes."""
    value = whole / 10**places
    assert float(wording.exact(value)) == value
    assert "e" not in wording.exact(value)


@given(st.floats(-1e15, 1e15))
def test_a_setting_can_be_typed_as_it_is_shown(value: float) -> None:
    """To six digits and all whole ones; only what lies below a trillionth has an exponent."""
    text = wording.rounded(value)
    assert float(text) == pytest.approx(value, rel=5e-6)
    assert abs(float(text) - value) <= 0.5
    assert "e" not in text or abs(value) < 1e-12


@given(NUMBERS)
def test_a_change_has_a_sign_unless_it_is_nothing(value: float) -> None:
    text = wording.signed(value)
    assert text.removeprefix("+") == wording.number(value)
    assert text.startswith("+") == (value > 0 and wording.number(value) != "0")


def test_a_change_that_is_not_known_has_no_sign() -> None:
    assert (wording.signed(None), wording.signed(math.nan), wording.signed(2.5)) == ("-", "-", "+2.5")


@given(st.floats(1e-9, 1e9))
def test_an_interval_bears_two_digits_of_its_width(width: float) -> None:
    """At the places chosen, the width is written with two significant digits, or in whole numbers."""
    places = wording.places_for(width)
    assert width * 10.0**places * (1 + 1e-9) >= 10
    assert places == 0 or width * 10.0**places < 100 * (1 + 1e-9)


@pytest.mark.parametrize("width", [0, -1, math.nan, math.inf])
def test_an_interval_without_width_gets_two_places(width: float) -> None:
    assert wording.places_for(width) == 2


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [(1.005, 1, "1.0"), (-0.004, 2, "0.00"), (-0.006, 2, "-0.01"), (12, 0, "12"), (None, 2, "-"), (math.inf, 1, "-")],
)
def test_fixed_places_and_no_negative_nothing(value: float | None, places: int, text: str) -> None:
    assert wording.fixed(value, places) == text


def test_an_estimate_is_written_with_its_interval() -> None:
    assert wording.with_interval(3.1, 1.23, 5.04, "N", is_change=True) == "+3.1 N (1.2 to 5.0)"
    assert wording.with_interval(-3.1, -5.04, -1.23, "N", is_change=True) == "-3.1 N (-5.0 to -1.2)"
    assert wording.with_interval(0.001, -2, 2, is_change=True) == "0.0 (-2.0 to 2.0)"
    assert wording.with_interval(312.4, 290, 440, "ms") == "312 ms (290 to 440)"
    assert wording.with_interval(2, math.nan, math.nan, "mm") == "2.00 mm (no interval)"


@pytest.mark.parametrize(
    ("numbers", "unit", "text"),
    [
        ((999_999, 990_000, 999_999), "Hz", "999999 Hz (990000 to 999999)"),
        ((1_234_567, -66_000, 2_500_000), "", "1.2 million (-0.1 to 2.5 million)"),
        ((2.5e9, 2.1e9, 2.9e9), "Hz", "2.50 billion Hz (2.10 to 2.90 billion)"),
        ((4e15, 3e15, 5e15), "Hz", "4.0 x 10^15 Hz (3.0 to 5.0 x 10^15)"),
        ((0.0002, 0.0001, 0.0003), "N", "0.00020 N (0.00010 to 0.00030)"),
        ((0.0000123, 0.000011, 0.0000136), "N", "12.3 millionths of 1 N (11.0 to 13.6 millionths)"),
        ((-0.00009, -0.000095, -0.00008), "N", "-90 millionths of 1 N (-95 to -80 millionths)"),
        ((4.2e-9, 3.9e-9, 4.5e-9), "", "4.20 billionths (3.90 to 4.50 billionths)"),
        ((1.23e-5, math.nan, math.nan), "mm", "12.30 millionths of 1 mm (no interval)"),
        ((0.0, 0.0, 0.0), "mm", "0.00 mm (0.00 to 0.00)"),
    ],
)
def test_very_large_and_very_small_numbers_are_counted_alike_within_one_interval(
    numbers: tuple[float, float, float], unit: str, text: str
) -> None:
    assert wording.with_interval(*numbers, unit) == text
    if numbers[0] > 0:
        assert wording.with_interval(*numbers, unit, is_change=True) == f"+{text}"


def test_a_column_is_counted_in_one_size_as_its_largest_number_is() -> None:
    column = wording.column_of("Pa", [(940_000.0, 120_000.0, 1_760_000.0), (419_959.0, 402_310.0, 437_608.0)])
    assert (
        wording.with_interval(940_000, 120_000, 1_760_000, column, is_change=True)
        == "+0.9 million Pa (0.1 to 1.8 million)"
    )
    assert wording.with_interval(419_959, 402_310, 437_608, column, is_change=True) == (
        "+0.420 million Pa (0.402 to 0.438 million)"
    )


@pytest.mark.parametrize(
    ("intervals", "first"),
    [
        ([(1.2e7, 1.1e7, 1.3e7), (5.0, 4.0, 6.0)], "12000000 (11000000 to 13000000)"),  # 0.0000050 million reads nobody
        ([(3e9, 2e9, 4e9), (2e6, 1e6, 3e6)], "3.0 billion (2.0 to 4.0 billion)"),
        ([(3e9, 2e9, 4e9), (2e3, 1e3, 3e3)], "3000 million (2000 to 4000 million)"),
        ([(4e-5, 3e-5, 5e-5), (2e-8, 1e-8, 3e-8)], "40 millionths (30 to 50 millionths)"),
        ([(2.0, math.nan, math.nan), (3e6, math.nan, math.nan)], "0.00 million (no interval)"),
        ([(0.3, 0.2, 0.4), (1e-6, -1e-6, 3e-6)], "0.30 (0.20 to 0.40)"),
    ],
)
def test_a_column_counts_in_what_its_narrowest_interval_can_be_told_in(intervals, first) -> None:
    column = wording.column_of("", intervals)
    assert wording.with_interval(*intervals[0], column) == first
    assert wording.with_interval(*intervals[1], column).split(" (")[0].endswith(column.word)


@given(st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS).map(sorted), min_size=1, max_size=4))
def test_all_cells_of_a_column_end_alike(intervals) -> None:
    column = wording.column_of("N", intervals)
    told = [wording.with_interval(value, low, high, column) for low, value, high in intervals]
    assert {text.partition(" (")[0].partition(" ")[2] for text in told} == {column.behind.lstrip()}


def test_a_worth_is_never_told_finer_than_matters() -> None:
    assert wording.worth_told(9.02e-10, 8.69e-10, 9.4e-10) == "0.000 (0.000 to 0.000)"
    assert wording.worth_told(0.45, 0.44999995, 0.45000006) == "0.450 (0.450 to 0.450)"
    assert wording.worth_told(0.5, 0.0, 1.0) == "0.5 (0.0 to 1.0)"


def test_the_smallest_number_there_is_can_be_told() -> None:
    assert wording.with_interval(5e-324, 0.0, 5e-324).startswith("0")


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0, "0 %"), (1, "100 %"), (0.004, "<1 %"), (0.005, "<1 %"), (0.0051, "1 %"), (0.5, "50 %"), (0.9949, "99 %"),
        (0.995, ">99 %"), (0.9999, ">99 %"), (None, "-"), (math.nan, "-"),
    ],
)  # fmt: skip
def test_shares_are_written_in_whole_percent(share: float | None, text: str) -> None:
    assert wording.percent(share) == text


@given(st.floats(0, 1, exclude_min=True, exclude_max=True))
def test_what_is_not_certain_is_never_called_certain(share: float) -> None:
    assert wording.percent(share) not in ("0 %", "100 %")


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0, "0 min"),
        (8, "8 min"),
        (59.6, "1 h"),
        (60, "1 h"),
        (95, "1 h 35 min"),
        (120, "2 h"),
        (math.inf, "-"),
        (math.nan, "-"),
    ],
)
def test_bench_time_is_written_as_a_person_would_say_it(minutes: float, text: str) -> None:
    assert wording.duration(minutes) == text


@given(st.integers(0, 10**6))
def test_no_minute_is_lost(minutes: int) -> None:
    found = {unit: int(amount) for amount, unit in re.findall(r"(\d+) (h|min)", wording.duration(minutes))}
    assert found.get("h", 0) * 60 + found.get("min", 0) == minutes


def test_counts_and_verdicts() -> None:
    assert [wording.counted(count, "variant") for count in (0, 1, 2)] == ["0 variants", "1 variant", "2 variants"]
    assert wording.counted(2, "body", "bodies") == "2 bodies"
    assert wording.verdict_text(wording.MOVES) == "moves it"
    assert wording.verdict_text(wording.TANGLED) == "tangled with"
    assert wording.verdict_text(wording.TANGLED, "wool:rings") == "tangled with wool:rings"
    assert wording.verdict_text(wording.CANT_TELL, "wool") == "can't tell yet"
