from pathlib import Path

import pytest

from doe.model.errors import ImportProblems
from doe.store import ProjectFile, read_log
from tests.store.radio import RADIO

HEAD = "variant,vents,rings,wool,driver"


def problems(tmp_path: Path, text: str, mapping: dict[str, str] | None = None, **known) -> list[str]:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ImportProblems) as caught:
        read_log(path, RADIO, mapping, **known)
    return [problem.sentence() for problem in caught.value.problems]


def test_every_bad_cell_is_listed_in_the_order_of_the_lines(tmp_path: Path):
    """Line as an editor counts, heading as it stands, value as it stands, and what is allowed."""
    found = problems(
        tmp_path,
        "Our log\n\nvariant,vents,rings,Wool (%),driver,bass,echo,order,when\n"
        "1,2,9,20,polly,nan,9,1,\n\n"
        "2,7,9,22,poly,inf,5/10,x,3/4/26\n"
        '3,two,,20,poly,"1,234",3,0,\n'
        ",2,9,20,poli,1,3,,\n",
    )
    assert found == [
        "line 4, column 'driver': 'polly' - must be paper, poly or bamboo. Did you mean 'poly'?",
        "line 4, column 'bass': 'nan' - must be a number in dB",
        "line 4, column 'echo': '9' - must be a grade from 1 to 7",
        "line 6, column 'vents': '7' - must be a whole number from 0 to 6",
        "line 6, column 'Wool (%)': '22' - must be a number from 0 to 60 % in steps of 5",
        "line 6, column 'bass': 'inf' - must be a number in dB",
        "line 6, column 'echo': '5/10' - must be a grade from 1 to 7",
        "line 6, column 'order': 'x' - must be a whole number from 1",
        "line 6, column 'when': '3/4/26' - must be a time such as 2026-03-01 or 2026-03-01 14:30",
        "line 7, column 'vents': 'two' - must be a whole number from 0 to 6",
        "line 7, column 'rings': empty - must be a whole number from 7 to 12 (only a reference object has no settings at all)",
        "line 7, column 'bass': '1,234' - could be thousands or decimals; write it with a decimal point",
        "line 7, column 'order': '0' - must be a whole number from 1",
        "line 8, column 'variant': empty - must name the variant",
        "line 8, column 'driver': 'poli' - must be paper, poly or bamboo. Did you mean 'poly'?",
    ]


def test_the_message_counts_the_cells_and_says_that_nothing_was_stored(tmp_path: Path):
    path = tmp_path / "log.csv"
    path.write_text(HEAD + ",bass\n1,2,9,20,polly,1\n")
    with pytest.raises(ImportProblems) as caught:
        read_log(path, RADIO)
    assert str(caught.value) == (
        "log.csv was not imported, nothing was stored: 1 cell to put right.\n"
        "  line 2, column 'driver': 'polly' - must be paper, poly or bamboo. Did you mean 'poly'?"
    )


def test_a_missing_factor_names_near_headings(tmp_path: Path):
    found = problems(tmp_path, "variant,Vent holes,rings,colour,driver,bass\n1,2,9,red,poly,1\n")
    assert found == [
        "line 1: 'vents' - is a factor without a column; near headings: 'Vent holes' (map one with \"Vent holes=vents\")",
        "line 1: 'wool' - is a factor without a column; headings not read: 'Vent holes', 'colour'"
        ' (map one with "Vent holes=wool")',
    ]


def test_one_variant_has_one_setting_of_each_factor(tmp_path: Path):
    found = problems(tmp_path, HEAD + ",bass\n1,2,9,20,poly,1\n1,3,9,20,bamboo,2\n")
    assert found == [
        "line 3, column 'vents': '3' - must be 2 as in line 2: a variant has one setting of each",
        "line 3, column 'driver': 'bamboo' - must be poly as in line 2: a variant has one setting of each",
    ]


def test_a_reference_object_cannot_get_settings_later(tmp_path: Path):
    found = problems(tmp_path, HEAD + ",bass\nshop,,,,,1\nshop,2,9,20,poly,2\n")
    assert found[0] == "line 3, column 'vents': '2' - must be empty as in line 2, where variant shop has no settings"


def test_parent_and_effort_may_only_repeat_themselves(tmp_path: Path):
    found = problems(
        tmp_path,
        HEAD
        + ",parent,minutes,bass\n0,2,9,20,poly,,,1\n1,3,9,20,poly,0,10,1\n1,3,9,20,poly,0,10,2\n1,3,9,20,poly,1,20,2\n",
    )
    assert found == [
        "line 5, column 'parent': '1' - must be 0 as in line 3",
        "line 5, column 'minutes': '20' - must be 10 as in line 3",
    ]


def test_a_heading_twice_is_a_problem(tmp_path: Path):
    found = problems(tmp_path, HEAD + ",bass,Bass (dB)\n1,2,9,20,poly,1,2\n")
    assert found == ["line 1, column 'Bass (dB)': 'Bass (dB)' - means bass, as column 'bass' does; keep one of them"]


def test_a_broken_limit_names_the_cells_it_rests_on(tmp_path: Path):
    """A limit written in a derived quantity rests on that quantity's factors."""
    found = problems(tmp_path, HEAD + ",bass\n1,2,7,60,poly,1\n")
    assert found == ["line 2, column 'rings, wool': '7, 60' - breaks the limit 'air >= 180'"]


def test_a_comma_too_many_is_found(tmp_path: Path):
    """An unquoted decimal comma would shift the cells behind it."""
    found = problems(tmp_path, HEAD + ",bass\n1,2,9,20,poly,1,5\n")
    assert found == ["line 2: '5' - stands beyond the last heading; a cell with a comma in it must stand in quotes"]


def test_summary_lines_and_remarks_are_not_variants(tmp_path: Path):
    found = problems(tmp_path, HEAD + ",bass\n1,2,9,20,poly,1\nMean,,,,,1\nbought new wool,,,,,\n")
    assert found == [
        "line 3, column 'variant': 'Mean' - looks like a summary of other lines, not a variant; leave that line out",
        "line 4, column 'variant': 'bought new wool' - has neither settings nor readings; fill them in, or leave that line out",
    ]


def test_a_parent_must_exist_and_not_lead_in_a_circle(tmp_path: Path):
    found = problems(
        tmp_path,
        HEAD + ",parent,bass\n1,2,9,20,poly,2,1\n2,3,9,20,poly,1,1\n3,3,9,20,poly,first,1\n4,3,9,20,poly,4,1\n",
    )
    assert found == [
        "line 2, column 'parent': '2' - leads back to variant 1 itself",
        "line 3, column 'parent': '1' - leads back to variant 2 itself",
        "line 4, column 'parent': 'first' - must be a variant of this log or of the project",
        "line 5, column 'parent': '4' - leads back to variant 4 itself",
    ]


def test_a_comparison_without_its_second_variant(tmp_path: Path):
    found = problems(
        tmp_path, HEAD + ",nicer,versus\n1,2,9,20,poly,,\n2,3,9,20,poly,first,\n2,,,,,tie,9\n2,,,,,better,1\n"
    )
    assert found == [
        "line 3, column 'versus': empty - must name the second variant, since nicer compares two (column versus)",
        "line 4, column 'versus': '9' - must be a variant of this log or of the project",
        "line 5, column 'nicer': 'better' - must be first, second or tie (or 1, 0, 0.5)",
    ]


def test_the_long_form_needs_its_three_columns(tmp_path: Path):
    assert problems(tmp_path, HEAD + ",value\n1,2,9,20,poly,1\n") == [
        "line 1: 'outcome' - is missing, since there is a column for value (long form: both)"
    ]
    assert problems(tmp_path, "vents,rings,wool,driver,outcome,value\n2,9,20,poly,bass,1\n") == [
        "line 1: 'variant' - is missing; the long form says of which variant each value is"
    ]


def test_an_unknown_outcome_suggests_the_nearest(tmp_path: Path):
    found = problems(tmp_path, HEAD + ",outcome,value\n1,2,9,20,poly,bas,1\n")
    assert found == ["line 2, column 'outcome': 'bas' - must be bass, echo or nicer. Did you mean 'bass'?"]


def test_a_value_of_no_outcome_is_not_dropped(tmp_path: Path):
    """A line with neither only brings its variant."""
    found = problems(tmp_path, HEAD + ",outcome,value\n1,2,9,20,poly,,3.5\n2,2,9,25,poly,,\n")
    assert found == ["line 2, column 'outcome': empty - must be bass, echo or nicer, since a value stands beside it"]


def test_a_variant_that_the_project_has_is_not_logged_twice(tmp_path: Path):
    found = problems(tmp_path, HEAD + ",bass\n1,2,9,20,poly,1\n", known=["1"])
    assert found == [
        "line 2, column 'variant': '1' - is in the project already; leave its lines out, or give it a name of its own"
    ]


def test_there_are_no_readings_of_what_is_only_planned(tmp_path: Path):
    there = {"known": ["1", "2"], "planned": ["2"]}
    assert problems(tmp_path, "variant,nicer,versus\n1,1,2\n2,0,1\n", **there) == [
        "line 2, column 'versus': '2' - is only planned; mark it as built before taking readings of it",
        "line 3, column 'variant': '2' - is only planned; mark it as built before taking readings of it",
    ]


def test_of_many_variants_that_the_project_has_it_is_said_once_what_to_do(tmp_path: Path):
    """A log that was imported, and went on since."""
    lines = "".join(f"{name},2,9,20,poly,1\n{name},2,9,20,poly,2\n" for name in (1, 2, 3, 4))
    assert problems(tmp_path, f"{HEAD},bass\n{lines}", known=["1", "2", "3"]) == [
        "line 2, column 'variant': '1' - is in the project already; leave its lines out, or give it a name of its own",
        "line 4, column 'variant': '2' - is in the project already",
        "line 6, column 'variant': '3' - is in the project already",
    ]


def test_names_that_differ_in_capitals_only_are_told_by_their_line(tmp_path: Path):
    """From those of the project as from those of other lines, and each spelling once."""
    path = tmp_path / "log.csv"
    path.write_text(
        f"{HEAD},unit,bass\na1,2,9,20,poly,B,1\nA1,2,9,20,poly,b,1\nSHOP,2,9,20,poly,new,1\nC,2,9,20,poly,new,1\n",
        encoding="utf-8",
    )
    with pytest.raises(ImportProblems) as caught:
        read_log(path, RADIO, known=["shop"], known_units=["B"])
    same = "in capitals only; spell it the same, or give it a name of its own"
    assert [problem.sentence() for problem in caught.value.problems] == [
        f"line 3, column 'variant': 'A1' - differs from 'a1' {same}",
        f"line 3, column 'unit': 'b' - differs from 'B' {same}",
        f"line 4, column 'variant': 'SHOP' - differs from 'shop' {same}",
        "line 4, column 'unit': 'new' - is what a unit yet to be made is called; give it a name of its own",
    ]
    assert read_log(path, RADIO, {"variant": "", "unit": ""}).variants


def test_a_log_with_problems_changes_nothing(tmp_path: Path, radio: ProjectFile):
    """Reading never touches the project."""
    before = radio.path.read_bytes()
    problems(tmp_path, HEAD + ",bass\n9,2,9,20,polly,1\n")
    assert radio.path.read_bytes() == before
