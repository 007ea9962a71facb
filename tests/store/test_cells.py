from datetime import date, datetime
from decimal import Decimal

import pytest

from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.store.cells import Reader, Refused, is_nothing, label, moment, text_of

WOOL = Factor("wool", low=0, high=6000, unit="%")
DRIVER = Factor("driver", kind="categorical", levels=["paper", "poly", "none"])
BASS = Outcome("bass", unit="dB")
ECHO = Outcome("echo", kind="rated", scale=(1, 7))
NICER = Outcome("nicer", kind="compared")


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("20", 20), (" 20 ", 20), ("+20", 20), ("2,5", 2.5), ("2.5", 2.5), ("20 %", 20), ("20%", 20), (20, 20),
        (Decimal("2.50"), 2.5), ("1e1", 10), ("2\u00a0", 2), ("0,125", 0.125),
    ],
)  # fmt: skip
def test_numbers_as_people_type_them(cell, number):
    assert Reader().setting(WOOL, cell) == number


def test_a_typographic_minus_is_a_minus():
    assert Reader().value(BASS, "\u22122,5 dB") == -2.5


@pytest.mark.parametrize("cell", ["1,234", "1.234,5", "1,234.5", "nan", "inf", "-inf", float("nan"), float("inf"), "1_0", "~2",
                                  "<2", "2 mm", "two", True, "#DIV/0!", "0x10", "1 000"])  # fmt: skip
def test_what_is_no_certain_number_is_refused(cell):
    with pytest.raises(Refused):
        Reader().setting(WOOL, cell)


def test_a_file_with_sure_decimal_commas_settles_the_doubtful_ones():
    """1,234 is a decimal where other cells can only be that, and 1.234 is doubtful there; a workbook's numbers are numbers."""
    reader = Reader.of(["2,5", "1,234", "1.234", "7", 2.5])
    assert (reader.setting(WOOL, "1,234"), reader.setting(WOOL, 2.5)) == (1.234, 2.5)
    with pytest.raises(Refused, match="could be thousands or decimals, since this file has decimal commas"):
        reader.setting(WOOL, "1.234")


def test_effort_is_nothing_or_more():
    assert (Reader().effort("0"), Reader().effort("12 min")) == (0.0, 12.0)
    with pytest.raises(Refused, match="must be a number, 0 or more"):
        Reader().effort("-1")


@pytest.mark.parametrize("cells", [["1,234", "7"], ["2,5", "2.5"], [], [2.5, None, "x"]])
def test_without_certainty_the_doubtful_stay_refused(cells):
    with pytest.raises(Refused, match="could be thousands or decimals; write it with a decimal point"):
        Reader.of(cells).setting(WOOL, "1,234")


@pytest.mark.parametrize(
    ("cell", "grade"),
    [("3", 3), (" 4 ", 4), ("5/7", 5), ("5 / 7", 5), ("5 of 7", 5), ("5 out of 7", 5), ("4,5/7", 4.5), (2, 2)],
)
def test_grades_as_people_type_them(cell, grade):
    assert Reader().value(ECHO, cell) == grade


@pytest.mark.parametrize("cell", ["5/10", "8/7", "8", "0", "3-4", "3?", datetime(2026, 7, 5), "7/5"])
def test_a_grade_that_could_mean_another_scale_is_refused(cell):
    """5/7 is 5 on a scale to 7; 5/10 is not, and a date was a grade once but is no longer."""
    with pytest.raises(Refused, match="must be a grade from 1 to 7"):
        Reader().value(ECHO, cell)


@pytest.mark.parametrize(("cell", "value"), [("first", 1), ("Second", 0), ("TIE", 0.5), (1, 1), (0.0, 0), ("0.5", 0.5)])
def test_comparisons(cell, value):
    assert Reader().value(NICER, cell) == value


def test_levels_suggest_the_nearest():
    assert Reader().setting(DRIVER, " Poly ") == "poly"
    assert (
        Reader().setting(Factor("wood", kind="categorical", levels=["dark oak", "ash"]), "dark\u00a0 oak") == "dark oak"
    )
    with pytest.raises(Refused, match=r"^must be paper, poly or none\. Did you mean 'poly'\?$"):
        Reader().setting(DRIVER, "polly")
    with pytest.raises(Refused, match=r"^must be paper, poly or none$"):
        Reader().setting(DRIVER, "kevlar")


def test_levels_that_are_numbers_in_a_workbook():
    grit = Factor("grit", kind="ordered", levels=["80", "120"])
    assert Reader().setting(grit, 80.0) == "80"
    third = Factor("mix", kind="ordered", levels=["0.3", "0.6"])
    assert Reader().setting(third, 0.1 + 0.2) == "0.3"


@pytest.mark.parametrize("cell", ["", "  ", "-", "\u2013", "n/a", "NA", "None", None])
def test_ways_to_write_nothing(cell):
    assert is_nothing(cell)


@pytest.mark.parametrize("cell", ["0", 0, "nan", "x", "?", float("nan")])
def test_what_is_not_nothing(cell):
    """A not-a-number is a value that went wrong, not a missing one."""
    assert not is_nothing(cell)


def test_a_level_called_none_is_a_level():
    assert not is_nothing("None", DRIVER.levels)


@pytest.mark.parametrize(
    ("cell", "time"),
    [
        ("2026-03-01", datetime(2026, 3, 1)),
        ("2026-03-01 14:30", datetime(2026, 3, 1, 14, 30)),
        ("2026-03-01T14:30:05+02:00", datetime(2026, 3, 1, 14, 30, 5)),
        ("1.3.2026", datetime(2026, 3, 1)),
        ("01.03.2026 14:30", datetime(2026, 3, 1, 14, 30)),
        (datetime(2026, 3, 1, 9), datetime(2026, 3, 1, 9)),
        (date(2026, 3, 1), datetime(2026, 3, 1)),
        ("", None),
    ],
)
def test_times(cell, time):
    assert moment(cell) == time


@pytest.mark.parametrize("cell", ["3/1/2026", "32.1.2026", "yesterday", "14:30", 45000, "2026-03-01 14.30", "2026-W10"])
def test_times_that_could_be_mistaken_are_refused(cell):
    with pytest.raises(Refused):
        moment(cell)


def test_places_labels_and_text():
    assert Reader().place(3.0) == Reader().place(2.9999999999999996) == 3
    for cell in ("0", "1.5", "-1", "x"):
        with pytest.raises(Refused, match="must be a whole number from 1"):
            Reader().place(cell)
    assert (label(3.0), label(0.1 + 0.2), label(-0.0), label(10**15 + 1)) == ("3", "0.3", "0", "1000000000000001")
    assert label(" body  A ") == "body A"
    assert label("-") is None
    with pytest.raises(Refused):
        label("x" * 81)
    assert text_of(2.5) == "2.5"
    assert label(datetime(2026, 3, 1)) == "2026-03-01"  # of a workbook, where a session goes by its day
    assert label(datetime(2026, 3, 1, 9, 30)) == "2026-03-01 09:30:00"
