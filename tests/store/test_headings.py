import re

import pytest

from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.store.headings import Header, Matcher
from doe.store.sheet import Line, Sheet

SETUP = Setup(
    factors=[Factor("tip_gap", low=0, high=9, unit="mm"), Factor("wool", low=0, high=60, unit="%")],
    outcomes=[Outcome("bass", unit="dB"), Outcome("hum")],
)


def header(*headings: str, mapping: dict[str, str] | None = None, above: list[tuple] = ()) -> Header:  # type: ignore[assignment]
    lines = [Line(number, cells) for number, cells in enumerate([*above, headings], 1)]
    return Matcher(SETUP, mapping or {}).header(Sheet("log.csv", tuple(lines), ""))


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("wool", "wool"), ("Wool", "wool"), (" WOOL ", "wool"), ("wool (%)", "wool"), ("wool [%]", "wool"), ("wool, %", "wool"),
        ("Wool %", "wool"), ("wool%", "wool"), ("wool in %", "wool"), ("Tip gap", "tip_gap"), ("tip-gap", "tip_gap"),
        ("TIP GAP (mm)", "tip_gap"), ("tipgap/mm", "tip_gap"), ("Bass (dB)", "bass"), ("bass, dB", "bass"),
        ("bass (left of the door)", "bass"), ("Variant", "variant"), ("hum (mm)", "hum"), ("When (day)", "when"),
    ],
)  # fmt: skip
def test_headings_as_people_write_them(heading: str, target: str):
    """Case, blanks and hyphens do not matter, nor how the unit is put."""
    found = header("x", heading)
    assert list(found.columns) == [target]
    assert (found.columns[target].place, found.columns[target].heading) == (1, " ".join(heading.split()))
    assert found.problems == ()


@pytest.mark.parametrize("heading", ["bass, left", "wool weight", "wooly", "notes", "b", "No."])
def test_headings_that_only_resemble_ours_are_not_taken(heading: str):
    found = header("hum", heading)
    assert list(found.columns) == ["hum"]
    assert found.unread == (heading,)
    assert found.notes == (f"Not read, since nothing in the project has that name: {heading}.",)


def test_the_mapping_comes_first():
    """A mapped column is read in place of one that has the name itself."""
    found = header("wool", "Stuffing (%)", mapping={"stuffing": "wool"})
    assert found.columns["wool"].heading == "Stuffing (%)"
    assert found.unread == ("wool",)


def test_an_empty_target_sets_a_column_aside_without_a_word():
    found = header("wool", "Weather", mapping={"Weather": ""})
    assert (found.unread, found.notes) == ((), ())


@pytest.mark.parametrize(
    ("mapping", "sentence"),
    [
        ({"Wolle": "wool"}, "The mapping names a column 'Wolle', which log.csv does not have. Did you mean 'wolke'?"),
        ({"wolke": "wol"}, "The mapping 'wolke=wol' aims at 'wol', which is no factor, outcome or column of a log."
                           " Did you mean 'wool'?"),
    ],
)  # fmt: skip
def test_a_mapping_that_leads_nowhere_is_one_sentence(mapping, sentence):
    with pytest.raises(UsageError, match=f"^{re.escape(sentence)}$"):
        header("wolke", "hum", mapping=mapping)


def test_the_headings_are_found_below_a_title():
    found = header("variant", "wool", "bass", above=[("Tuning log of the wool radio", "", ""), ("", "", "spring")])
    assert found.line == 3
    assert found.notes == (
        "Line 1 was taken as a title: 'Tuning log of the wool radio'.",
        "Line 2 was taken as a title: 'spring'.",
    )


def test_a_heading_that_stands_twice_is_a_problem():
    (problem,) = header("wool", "hum", "Wool (%)").problems
    assert (
        problem.sentence()
        == "line 1, column 'Wool (%)': 'Wool (%)' - means wool, as column 'wool' does; keep one of them"
    )


def test_another_unit_than_defined_is_a_problem():
    """Millimetres must not be read as centimetres."""
    (problem,) = header("tip gap (cm)", "hum").problems
    assert (
        problem.sentence()
        == "line 1, column 'tip gap (cm)': 'cm' - tip_gap is defined in mm; convert the column, or map another"
    )


def test_near_headings_are_offered():
    matcher = Matcher(SETUP, {})
    assert matcher.near("tip_gap", ["Gap", "Tip", "tipp gap", "Colour"]) == ["Gap", "Tip", "tipp gap"]
    assert matcher.near("wool", ["Colour"]) == []


def test_a_line_of_units_is_told_from_data():
    matcher = Matcher(SETUP, {})
    columns = header("variant", "wool", "bass", "remark").columns
    assert matcher.is_units_line(("", "%", "dB", ""), columns)
    assert matcher.is_units_line((None, "[%]", None, None), columns)
    assert not matcher.is_units_line(("1", "%", "dB", ""), columns)
    assert not matcher.is_units_line(("", "20", "", ""), columns)
    assert not matcher.is_units_line(("", "", "", ""), columns)
