import re
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest

from doe.model.errors import DataError, UsageError
from doe.model.outcome import Outcome
from doe.model.records import Reading, Session, Unit, Variant
from doe.model.setup import Setup
from doe.store import Log, ProjectFile, read_log
from tests.store.radio import RADIO, SETTINGS

HEAD = "variant,vents,rings,wool,driver"


def log(tmp_path: Path, text: str, mapping: dict[str, str] | None = None, setup: Setup = RADIO, known=()) -> Log:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_log(path, setup, mapping, known=known)


def test_the_wide_form_gives_variants_and_readings(tmp_path: Path):
    """One line per round of readings; a variant's first note and time are its own, later ones belong to the readings."""
    found = log(
        tmp_path,
        HEAD + ",bass,echo,session,rater,order,unit,parent,when,minutes,price,note\n"
        "1,2,9,20,poly,-3.25,4,Tue,Ann,1,A,,2026-03-01,40,12.5,first build\n"
        "1,2,9,20,poly,-3.5,,Tue,Bo,2,A,,2026-03-02,,,window open\n"
        "2,4,9,20,Poly,-1,3,Wed,Ann,1,A,1,,,,\n",
    )
    when = datetime(2026, 3, 1)
    assert found.variants == (
        Variant("1", SETTINGS, "A", None, 40.0, 12.5, when, "built", "first build"),
        Variant("2", {**SETTINGS, "vents": 4}, "A", "1"),
    )
    late = datetime(2026, 3, 2)
    assert found.readings == (
        Reading("1", "bass", -3.25, session="Tue", rater="Ann", unit="A", order=1, when=when),
        Reading("1", "echo", 4.0, session="Tue", rater="Ann", unit="A", order=1, when=when),
        Reading("1", "bass", -3.5, session="Tue", rater="Bo", unit="A", order=2, when=late, note="window open"),
        Reading("2", "bass", -1.0, session="Wed", rater="Ann", unit="A", order=1),
        Reading("2", "echo", 3.0, session="Wed", rater="Ann", unit="A", order=1),
    )
    assert found.sessions == (Session("Tue"), Session("Wed"))
    assert found.units == (Unit("A"),)
    assert found.notes == ()


def test_the_long_form_gives_the_same(tmp_path: Path):
    found = log(
        tmp_path,
        HEAD + ",outcome,value,rater,note\n"
        "1,2,9,20,poly,bass,-3.25,Ann,loud\n"
        '1,,,,,Echo,"4",Bo,\n'
        "1,2,9,20,poly,echo,,Cy,\n"
        "2,4,9,20,poly,,,,\n",
    )
    assert [variant.name for variant in found.variants] == ["1", "2"]
    assert found.variants[0] == Variant("1", SETTINGS)
    assert found.readings == (
        Reading("1", "bass", -3.25, rater="Ann", note="loud"),
        Reading("1", "echo", 4.0, rater="Bo"),
    )


def test_comparisons_name_the_second_variant(tmp_path: Path):
    wide = log(tmp_path, HEAD + ",bass,nicer,versus\n1,2,9,20,poly,,,\n2,4,9,20,poly,1.5,first,1\n2,,,,,,tie,1\n")
    assert [(row.outcome, row.value, row.versus) for row in wide.readings] == [
        ("bass", 1.5, None),
        ("nicer", 1.0, "1"),
        ("nicer", 0.5, "1"),
    ]
    long = log(tmp_path, HEAD + ",outcome,value,versus\n1,2,9,20,poly,,,\n2,4,9,20,poly,nicer,second,1\n")
    assert long.readings == (Reading("2", "nicer", 0.0, versus="1"),)


def test_without_a_variant_column_each_line_is_a_build(tmp_path: Path):
    found = log(tmp_path, "vents,rings,wool,driver,bass\n2,9,20,poly,1\n2,9,20,poly,2\n")
    assert [(variant.name, variant.settings) for variant in found.variants] == [("1", SETTINGS), ("2", SETTINGS)]
    assert found.notes == ("No column names the variant, so each line is a build of its own, from 1 on.",)


def test_numbering_goes_on_after_known_variants(tmp_path: Path):
    found = log(tmp_path, "vents,rings,wool,driver,bass\n2,9,20,poly,1\n", known=["7", "shop"])
    assert found.variants[0].name == "8"


def test_a_line_without_settings_is_a_reference_object(tmp_path: Path):
    found = log(tmp_path, HEAD + ",bass\n1,2,9,20,poly,1\nshop radio,,,-,,0.5\n")
    assert found.variants[1] == Variant("shop radio")
    assert found.notes == ("No settings, so taken as a reference object: shop radio.",)


def test_missing_outcomes_are_no_readings(tmp_path: Path):
    found = log(tmp_path, HEAD + ",bass,echo\n1,2,9,20,poly,,n/a\n2,2,9,20,poly,-,3\n")
    assert found.readings == (Reading("2", "echo", 3.0),)


def test_a_log_of_variants_only_says_so(tmp_path: Path):
    found = log(tmp_path, HEAD + "\n1,2,9,20,poly\n")
    assert found.notes == ("No reading was found: no column holds an outcome, or all its cells are empty.",)


def test_a_spreadsheet_as_people_keep_it(tmp_path: Path):
    """Title, blank lines, other names, units in and under the headings, decimal commas, grades as text, a total."""
    found = log(
        tmp_path,
        "\ufeffTabletop radio: our log;;;;;;;;\n"
        "\n"
        "No.;Vent holes;Rings ;Wool [%];DRIVER;Bass (dB);Echo 1-7;who;weather\n"
        ";;;%;;dB;;;\n"
        "1;2;9;20,0;poly;-3,25; 4 ;Ann;dry\n"
        "\n"
        "2;4;9;20;Bamboo;-1,125;5/7;Bo;wet\n"
        ";;;;;;;;rain all day\n"
        "No.;Vent holes;Rings ;Wool [%];DRIVER;Bass (dB);Echo 1-7;who;weather\n"
        "3;4;9;25 %;paper;-0,5 dB;n/a;Bo;wet\n",
        {"No.": "variant", "vent holes": "vents", "Echo 1-7": "echo", "who": "rater"},
    )
    assert [tuple(variant.settings.values()) for variant in found.variants] == [
        (2, 9, 20.0, "poly"),
        (4, 9, 20.0, "bamboo"),
        (4, 9, 25.0, "paper"),
    ]
    assert [(row.outcome, row.value, row.rater) for row in found.readings] == [
        ("bass", -3.25, "Ann"), ("echo", 4.0, "Ann"), ("bass", -1.125, "Bo"), ("echo", 5.0, "Bo"), ("bass", -0.5, "Bo"),
    ]  # fmt: skip
    assert found.notes == (
        "Line 1 was taken as a title: 'Tabletop radio: our log'.",
        "Not read, since nothing in the project has that name: weather.",
        "Line 4 holds the units of the columns.",
        "Line 8 has nothing in the columns that are read and was passed over.",
        "Line 9 repeats the headings and was passed over.",
    )


def test_the_same_log_from_a_workbook(tmp_path: Path):
    """Numbers, dates and merged cells of a workbook give what their text gives."""
    book = openpyxl.Workbook()
    rows = [
        ["Our log", None, None, None, None, None, None],
        ["variant", "vents", "rings", "wool", "driver", "bass", "when"],
        [1, 2, 9, 0.2, "poly", -3.25, datetime(2026, 3, 1, 9, 30)],
        [None, None, None, None, None, -3.5, None],
        ["shop", None, None, None, None, 0.5, None],
    ]
    for row in rows:
        book.active.append(row)
    book.active["D3"].number_format = "0%"
    book.active.merge_cells("A3:A4")
    book.active.merge_cells("A1:G1")
    book.save(tmp_path / "log.xlsx")
    found = read_log(tmp_path / "log.xlsx", RADIO)
    assert found.variants == (Variant("1", SETTINGS, when=datetime(2026, 3, 1, 9, 30)), Variant("shop"))
    assert [row.value for row in found.readings] == [-3.25, -3.5, 0.5]


def test_a_variant_on_two_units_leaves_the_unit_to_its_readings(tmp_path: Path):
    found = log(tmp_path, HEAD + ",unit,bass\n1,2,9,20,poly,A,1\n1,2,9,20,poly,B,2\n1,2,9,20,poly,A,3\n")
    assert found.variants[0].unit is None
    assert [row.unit for row in found.readings] == ["A", "B", "A"]
    assert found.notes == ("On more than one unit, so only the readings say on which: variant 1.",)


def test_a_unit_that_only_a_later_line_names_is_the_variants(tmp_path: Path):
    found = log(tmp_path, HEAD + ",unit,bass\n1,2,9,20,poly,,1\n1,2,9,20,poly,A,2\n")
    assert (found.variants[0].unit, found.notes) == ("A", ())
    assert [row.unit for row in found.readings] == [None, "A"]


def test_readings_of_known_variants_need_no_settings(tmp_path: Path, radio: ProjectFile):
    """A second file with new readings only; a name that is not known is refused."""
    known = [variant.name for variant in radio.variants()]
    found = log(tmp_path, "variant,echo,note\n1,3,windy\nshop,2,\n", known=known)
    assert found.variants == ()
    assert found.readings == (Reading("1", "echo", 3.0, note="windy"), Reading("shop", "echo", 2.0))
    radio.import_rows(
        found.variants, found.sessions, found.units, found.readings, source=found.source, digest=found.digest
    )
    assert len(radio.readings()) == 6
    with pytest.raises(DataError, match=re.escape("line 2, column 'variant': 'shopp' - must be a variant of this log or of the"
                                                  " project. Did you mean 'shop'?")):  # fmt: skip
        log(tmp_path, "variant,echo\nshopp,3\n", known=known)


def test_a_project_without_factors_reads_its_log_too(tmp_path: Path):
    setup = Setup(outcomes=[Outcome("diameter", unit="mm")])
    found = log(
        tmp_path, "sample,plate,diameter\nA,a,27\nB,a,23\nA,b,27\n", {"sample": "variant", "plate": "session"}, setup
    )
    assert [variant.name for variant in found.variants] == ["A", "B"]
    assert [row.session for row in found.readings] == ["a", "a", "b"]
    assert found.notes == ()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "log.csv is empty: it has no line with anything in it."),
        (HEAD + ",bass\n", "log.csv is empty: below the headings in line 1 there is nothing to read."),
        (
            "Title\n\n" + HEAD + ",bass\n\n,,\n",
            "log.csv is empty: below the headings in line 3 there is nothing to read.",
        ),
    ],
)
def test_a_log_with_nothing_in_it_is_one_sentence(tmp_path: Path, text: str, sentence: str):
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        log(tmp_path, text)


def test_a_mapping_to_nowhere_is_refused_before_reading(tmp_path: Path):
    with pytest.raises(UsageError, match="aims at 'base', which is no factor"):
        log(tmp_path, HEAD + "\n1,2,9,20,poly\n", {"wool": "base"})


def test_what_was_read_can_be_stored(tmp_path: Path, empty: ProjectFile):
    """The way of `import`: read, store, and find it all in the project."""
    found = log(
        tmp_path,
        HEAD + ",bass,unit,parent,session\n2,4,9,20,poly,1.5,A,1,Tue\n1,2,9,20,poly,2.5,A,,Tue\nshop,,,,,0,,,Tue\n",
    )
    empty.import_rows(
        found.variants, found.sessions, found.units, found.readings, source=found.source, digest=found.digest
    )
    assert {variant.name: variant.parent for variant in empty.variants()} == {"2": "1", "1": None, "shop": None}
    assert [row["value"] for row in empty.readings()] == [1.5, 2.5, 0.0]
    assert empty.check() == []


def test_a_column_for_each_rater(tmp_path: Path):
    """'echo by Ann' as a heading, or as what a heading is mapped to."""
    found = log(
        tmp_path, HEAD + ",Echo by Ann,Bo's ears\n1,2,9,20,poly,4,5/7\n2,4,9,20,poly,,3\n", {"Bo's ears": "echo by Bo"}
    )
    assert [(row.variant, row.value, row.rater) for row in found.readings] == [
        ("1", 4, "Ann"),
        ("1", 5, "Bo"),
        ("2", 3, "Bo"),
    ]


def test_columns_mapped_to_one_outcome_are_further_readings(tmp_path: Path):
    """Only the mapping can say so; by name alone a second column is a problem."""
    mapping = {"try 1": "bass", "try 2 (dB)": "bass"}
    found = log(tmp_path, HEAD + ",try 1,try 2 (dB)\n1,2,9,20,poly,-3,-3.5\n", mapping)
    assert [row.value for row in found.readings] == [-3.0, -3.5]


def test_a_column_without_a_heading_is_told(tmp_path: Path):
    found = log(tmp_path, "," + HEAD + ",bass,\n0,1,2,9,20,poly,1,\n1,2,2,9,20,poly,1,\n")
    assert found.notes == ("Column 1 has no heading and was not read.",)
