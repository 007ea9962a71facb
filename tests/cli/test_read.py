import json
from datetime import datetime, timedelta

from doe.store import ProjectFile


def test_readings_are_told_one_by_one(rig, fettle):
    """Nothing is averaged; a decimal comma is a decimal point."""
    done = fettle(
        "read", "3", "bass=1.5", "bass=1,7", "echo=3", "--session", "Friday", "--rater", "Ann", "--order", "3"
    )
    assert done.code == 0
    assert done.out == (
        "Stored: variant 3, session Friday, by Ann, place 3:\n"
        "  bass  1.5 dB\n"
        "  bass  1.7 dB\n"
        "  echo  3\n"
        "Take it back with 'fettle undo 7'.\n"
    )
    kept = ProjectFile.open(rig).readings()[-3:]
    assert [(row["outcome"], row["value"]) for row in kept] == [("bass", 1.5), ("bass", 1.7), ("echo", 3.0)]
    assert {(row["variant"], row["unit"], row["session"], row["rater"], row["order"]) for row in kept} == {
        ("3", "body B", "Friday", "Ann", 3)
    }


def test_a_session_that_may_be_misspelt_is_questioned(rig, fettle):
    assert (
        fettle("read", "1", "bass=4", "--session", "Tusday").err == "Session 'Tusday' is new. Did you mean 'Tuesday'?\n"
    )
    assert fettle("read", "1", "bass=4", "--session", "Tuesday").err == ""
    assert fettle("read", "1", "bass=4", "--session", "evening 1").err == "Session 'evening 1' is new.\n"
    assert fettle("read", "1", "bass=4", "--session", "evening 2").err == "Session 'evening 2' is new.\n"


def test_a_comparison_says_which_was_better(rig, fettle):
    done = fettle("read", "1", "clarity=second", "--versus", "3", "--rater", "Ann")
    assert done.out.startswith("Stored: variant 1, against variant 3, by Ann:\n  clarity  variant 3 was better\n")
    done = fettle("read", "1", "clarity=tie", "--versus", "3", "--rater", "Ann")
    assert "  clarity  tie\n" in done.out
    assert [row["value"] for row in ProjectFile.open(rig).readings()[-2:]] == [0.0, 0.5]


def test_a_day_to_come_is_stored_and_said(rig, fettle, tmp_path):
    """A slip in the year, as a rule; tomorrow may be another clock."""
    done = fettle("read", "1", "bass=4", "bass=5", "--when", "2099-03-03 19:30")
    note = "Note: 2 readings are dated in days to come, 2099-03-03 at the latest."
    assert (done.code, done.err) == (0, f"{note} If that is a slip, take it back.\n")
    soon = datetime.now() + timedelta(hours=20)
    assert fettle("read", "1", "bass=4", "--when", f"{soon:%Y-%m-%d %H:%M}").err == ""
    lines = "variant,vents,rings,wool,driver,bass,when\n9,0,9,0,poly,3,2099-01-02\n"
    (tmp_path / "late.csv").write_text(lines, encoding="utf-8")
    told = fettle("import", "late.csv", "--json").out
    assert "1 reading is dated in days to come, 2099-01-02 at the latest." in told


def test_one_bad_value_stores_none_of_them(rig, fettle):
    before = ProjectFile.open(rig).fingerprint()
    assert fettle("read", "1", "bass=4", "echo=9").code == 1
    assert ProjectFile.open(rig).fingerprint() == before


def test_a_value_may_be_negative_or_written_with_an_exponent(rig, fettle):
    assert fettle("read", "1", "bass=-1.5", "bass=1e-3", "bass=−2").code == 0  # a typographic minus
    assert [row["value"] for row in ProjectFile.open(rig).readings()[-3:]] == [-1.5, 0.001, -2.0]


def test_its_own_unit_may_stand_behind_a_value(rig, fettle):
    assert fettle("read", "1", "bass=1.5 dB", "bass=-2dB").code == 0
    assert [row["value"] for row in ProjectFile.open(rig).readings()[-2:]] == [1.5, -2.0]
    assert fettle("read", "1", "bass=1.5 Hz").err == "bass is '1.5 Hz'; it must be a number in dB.\n"


def test_a_likely_slip_is_stored_and_said(rig, fettle):
    """Stored, since only the maker knows; the note tells what it is far from."""
    done = fettle("read", "1", "bass=400")
    assert "  bass  400 dB\n" in done.out
    assert done.err == (
        "Note: bass is 400 dB, far from all that is known of it (-6 to 6). If that is a slip, take it back.\n"
    )
    assert fettle("read", "1", "bass=4").err == ""


def test_json_lists_what_was_stored(rig, fettle):
    told = json.loads(fettle("read", "1", "bass=0.1", "--json").out)
    assert (told["entry"], [row["value"] for row in told["readings"]]) == (7, [0.1])


def test_a_rater_typed_otherwise_is_the_same_person(rig, fettle):
    """The answer tells the name that is stored."""
    done = fettle("read", "1", "echo=3", "--rater", " ann")
    assert done.out.startswith("Stored: variant 1, by Ann:\n")
    assert ProjectFile.open(rig).tally().raters == ("Ann",)
    assert json.loads(fettle("read", "1", "echo=3", "--rater", "ANN", "--json").out)["readings"][0]["rater"] == "Ann"


def test_a_variant_that_was_left_out_is_named_as_missing(rig, fettle):
    """The first reading stands in the variant's place then; a variant may be called so all the same."""
    said = "The variant that was read is missing; name it before 'bass=2'.\n"
    for words in (["bass=2", "--session", "Friday"], ["--rater", "Ann", "bass=2"], ["bass=2", "echo=3"]):
        done = fettle("read", *words)
        assert (done.code, done.out) == (2, "")
        assert done.err.startswith(said)
    assert fettle("read", "1").err.startswith("fettle read needs OUTCOME=VALUE.\n")
    fettle("correct", "1", "--name", "vents=2")
    assert fettle("read", "vents=2", "bass=2").code == 0


def test_a_withdrawn_reading_is_told_as_withdrawn(rig, fettle):
    fettle("withdraw", "--reading", "2")
    done = fettle("correct", "--reading", "2", "--value", "4")
    said = "Reading 2 was withdrawn with entry 7 of the history; take that back to have it again; 'fettle undo 7' does so.\n"
    assert (done.code, done.out, done.err) == (1, "", said)
