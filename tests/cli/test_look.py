import json
import re

import pytest

from doe.cli import screen
from doe.model.limit import Derived
from doe.model.listening import PreparedSession, RaterSheet, Sample
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.project import Project
from doe.store import ProjectFile


def test_variants_are_listed_with_what_they_are(rig, fettle):
    """Readings as plain means: of 1, 4.1 and 3.9 dB; of 2, one grade of 3."""
    assert fettle("variants").out == (
        "variant  unit    from  vents  rings  wool  driver  bass  echo  readings\n"
        "1        body A  -         2      9     0  paper      4     -         2\n"
        "2        body A  1         2      9    30  paper      -     3         1\n"
        "3        body B  1         2     11     0  poly       -     -         0\n"
    )
    told = json.loads(fettle("variants", "--json").out)
    assert [row["means"] for row in told] == [{"bass": 4.0}, {"echo": 3.0}, {}]


def test_a_planned_variant_is_listed_as_one(rig, fettle):
    ProjectFile.open(rig).add_variant(Variant("4", ProjectFile.open(rig).variants()[0].settings, status="planned"))
    assert fettle("variants").out.splitlines()[-1].endswith("  planned")


def test_a_mean_keeps_its_whole_digits(rig, fettle):
    """101325 and 101337 Pa, and a third to four digits."""
    project = Project.open(rig)
    project.file.change_setup("outcome", Outcome("pressure", unit="Pa"))
    project.read("1", [("pressure", 101325), ("pressure", 101337)])
    project.read("2", [("pressure", 1), ("pressure", 0), ("pressure", 0)])
    assert re.findall(r"101331|0\.3333\b", fettle("variants").out) == ["101331", "0.3333"]


def test_one_variant_is_shown_with_changes_and_readings(rig, fettle):
    out = fettle("show", "2").out
    assert out.startswith("Variant 2 on body A, changed from variant 1\nBuilt 20")
    assert (
        "factor     setting  unit  changed\n"
        "vents      2\n"
        "rings      9\n"
        "wool       30       %     was 0\n"
        "driver     paper\n"
        "inner_air  315      cm3\n"
    ) in out
    assert (
        "reading  outcome  value  session  rater  order  when\n      3  echo         3  Tuesday  Ann        2  20"
        in out
    )


def test_notes_on_a_terminal_take_lines_only_where_there_are_any(rig, fettle, monkeypatch):
    assert fettle("log", "vents=3", "--unit", "body A", "--note", "drilled by hand").code == 0
    monkeypatch.setattr(screen, "room", lambda stream: 72)
    whole, _, notes = fettle("variants").out.partition("\n\n")
    assert [line.split()[0] for line in whole.splitlines()] == ["variant", "1", "2", "3", "4"]
    assert notes == "variant  note\n4        drilled by hand\n"


def test_a_note_of_the_variant_is_not_said_again_with_its_readings(rig, fettle):
    """A log that is imported puts the note of a line on the variant and on its readings."""
    fettle("correct", "1", "--note", "booms")
    fettle("read", "1", "bass=4.2", "--note", "booms")
    out = fettle("show", "1").out
    assert out.count("booms") == 1
    assert "order  when\n" in out or "session  when\n" in out
    fettle("read", "1", "bass=4.3", "--note", "louder")
    assert fettle("show", "1").out.splitlines()[-1].endswith("louder")
    assert [row["note"] for row in json.loads(fettle("show", "1", "--json").out)["readings"]] == [
        "",
        "",
        "booms",
        "louder",
    ]


def test_a_comparison_is_told_from_the_side_that_is_asked_for(rig, fettle):
    """It used to stand on both variants as 0, against 3: on the one as a loss, on 3 as one against itself."""
    fettle("read", "1", "clarity=second", "--versus", "3")
    fettle("read", "3", "clarity=tie", "--versus", "1")
    for name, told in (("1", "worse  3"), ("3", "better  1")):
        rows = [line.split() for line in fettle("show", name).out.splitlines() if " clarity " in line]
        assert [row[2:4] for row in rows] == [told.split(), ["tie", told[-1]]]
    counts = {row["variant"]: row["readings"] for row in json.loads(fettle("variants", "--json").out)}
    assert counts == {"1": 4, "2": 1, "3": 2}
    kept = {str(item["id"]) for item in ProjectFile.open(rig).readings() if item["outcome"] == "clarity"}
    first, second = sorted(kept, key=int)
    assert "reading 4 (clarity of variant 1 against 3): worse -> better." in fettle(
        "correct", "--reading", first, "--value", "first"
    ).out  # fmt: skip
    assert "(clarity of variant 3 against 1): tie" in fettle("withdraw", "--reading", second).out


def test_a_derived_quantity_is_shown_where_it_has_a_number(rig, fettle):
    """Variant 1 has no wool to divide by, variant 2 has 30 % for 9 rings."""
    ProjectFile.open(rig).change_setup("derived", Derived("share", "rings / wool"))
    assert "share      -\n" in fettle("show", "1").out
    assert "share      0.3\n" in fettle("show", "2").out


def test_a_reference_object_is_shown_without_settings(rig, fettle):
    fettle("log", "--reference", "shop radio")
    assert "A reference object, without settings.\n\nNo readings yet.\n" in fettle("show", "shop radio").out
    assert "shop radio  -       -         -      -     -  -          -     -         0\n" in fettle("variants").out


def test_units_show_what_they_carry_now(rig, fettle):
    assert fettle("unit", "retire", "body B").out == (
        "Stored: unit body B is retired; no suggestion will use it.\nTake it back with 'fettle undo 7'.\n"
    )
    assert fettle("unit").out == (
        "unit    carries variant  settings\n"
        "body A  2                vents 2, rings 9, wool 30, driver paper\n"
        "body B  retired          vents 2, rings 11, wool 0, driver poly\n"
    )
    assert fettle("log", "--unit", "body B", "vents=4").err == (
        "Unit body B is retired; it cannot be changed any more.\n"
    )


def test_a_variant_is_shown_though_a_quantity_cannot_be_computed_for_it(rig, fettle):
    """It has no wool to divide by."""
    fettle("derived", "add", "per_wool", "rings / wool")
    assert re.search(r"^per_wool +-$", fettle("show", "1").out, re.MULTILINE)


def test_a_unit_that_exists_comes_in_with_its_settings(rig, fettle):
    done = fettle("unit", "add", " body C", "--set", "vents=1", "rings=8", "wool=5", "driver=poly", "--note", "found")
    assert done.out.startswith("Stored: unit body C, now vents 1, rings 8, wool 5, driver poly.\n")
    assert fettle("log", "--unit", "body C", "vents=0").err == (
        "vents cannot go from 1 to 0 on unit body C: it only goes up.\n"
    )
    assert fettle("log", "--unit", "body C", "vents=2").out.startswith(
        "Stored: variant 4 on unit body C:\n  vents  1 -> 2"
    )


def test_sessions_tell_when_they_began_and_who_judged(rig, fettle):
    fettle("session", "add", "Friday", "--when", "2026-03-06 19:30", "--note", "small room")
    lines = fettle("session").out.splitlines()
    assert lines[0].split() == ["session", "when", "readings", "raters", "note"]
    assert lines[1].split()[0] == "Tuesday"
    assert lines[1].split()[-2:] == ["3", "Ann"]
    assert lines[2] == "Friday   2026-03-06 19:30         0  -       small room"


def test_a_session_that_is_still_blind_is_listed_without_what_it_hides(rig, fettle):
    sheet = RaterSheet("Ann", "key", [("123",), ("456",)])
    samples = [Sample("123", "1"), Sample("456", "2")]
    ProjectFile.open(rig).prepare_session(PreparedSession("Blind", ["echo"], samples, [sheet], note="dim light"))
    lines = fettle("session").out.splitlines()
    assert lines[0].split() == ["session", "when", "readings", "raters", "note", "blind"]
    assert lines[2].split() == ["Blind", "-", "0", "Ann", "dim", "light", "0", "of", "2", "judged"]
    told = json.loads(fettle("session", "list", "--json").out)
    assert [row["blind"] for row in told] == [None, "0 of 2 judged"]
    assert fettle("read", "1", "echo=3", "--session", "blind").err.startswith(
        "Session 'Blind' is prepared and still blind;"
    )
    done = fettle("read", "1", "echo=3", "--session", "tuesday")
    assert ", session Tuesday:" in done.out
    assert "new" not in done.out


def test_history_keeps_what_was_taken_back(rig, fettle):
    """Undo, then undo of the undo: both stay on record, and the log is what it was."""
    before = ProjectFile.open(rig).fingerprint()
    assert fettle("undo").out.startswith("Took back entry 6: ")
    assert ProjectFile.open(rig).fingerprint() != before
    assert "taken back by 7" in fettle("history").out.splitlines()[6]
    assert fettle("undo", "7").code == 0
    assert ProjectFile.open(rig).fingerprint() == before
    assert [line.split()[0] for line in fettle("history", "--last", "2").out.splitlines()] == ["entry", "7", "8"]


def test_undo_without_a_number_takes_the_last_change_that_counts(rig, fettle):
    """Twice in a row goes back two steps; what was undone is not undone again."""
    for entry in (6, 5, 4):
        assert fettle("undo").out.startswith(f"Took back entry {entry}: ")


def test_the_beginning_cannot_be_undone(rig, fettle):
    for _ in range(5):
        assert fettle("undo").code == 0
    assert fettle("undo").err == "There is nothing to take back: this project holds no change since it was made.\n"


def test_a_mistake_is_put_right_and_the_old_value_stays_in_the_history(rig, fettle):
    done = fettle("correct", "2", "--set", "wool=35", "--note", "weighed again")
    assert done.code == 0
    assert done.out.endswith("Take it back with 'fettle undo 7'.\n")
    variant = ProjectFile.open(rig).variants()[1]
    assert (variant.settings["wool"], variant.note) == (35.0, "weighed again")
    refused = fettle("correct", "--reading", "1", "--value", "3,1", "--minutes", "0").err
    assert refused.startswith("--minutes belongs to a variant; a reading has --value,")
    assert fettle("correct", "--reading", "1", "--value", "3,1").code == 0
    assert ProjectFile.open(rig).readings()[0]["value"] == 3.1
    assert fettle("correct", "2", "--set", "vents=3", "vents=4").err.startswith("vents is given twice, as 3 and 4;")
    history = fettle("history", "--last", "2").out
    assert "30" in history.splitlines()[1]
    assert "4.1 -> 3.1" in history.splitlines()[2]


def test_what_should_never_have_been_logged_is_withdrawn(rig, fettle):
    assert fettle("withdraw", "--reading", "2").code == 0
    assert len(ProjectFile.open(rig).readings()) == 2
    assert fettle("withdraw", "2").out.startswith("Stored: withdrew variant 2 with 1 reading. The history keeps it.\n")
    assert [variant.name for variant in ProjectFile.open(rig).variants()] == ["1", "3"]


def test_json_holds_what_the_tables_show(rig, fettle):
    variants = json.loads(fettle("variants", "--json").out)
    assert [(row["variant"], row["readings"], row["settings"]["wool"]) for row in variants] == [
        ("1", 2, 0.0),
        ("2", 1, 30.0),
        ("3", 0, 0.0),
    ]
    shown = json.loads(fettle("show", "1", "--json").out)
    assert [row["value"] for row in shown["readings"]] == [4.1, 3.9]
    assert [row["id"] for row in json.loads(fettle("history", "--json").out)] == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(
    "words", [["show", "2"], ["read", "2", "bass=1"], ["settle", "tolerance", "2"], ["log", "--from", "2"]]
)
def test_a_variant_that_was_taken_out_is_told_with_what_brings_it_back(rig, fettle, words):
    fettle("withdraw", "2")
    assert fettle(*words).err == (
        "There is no variant '2' any more: entry 7 withdrew variant 2 with 1 reading; 'fettle undo 7' brings it back.\n"
    )
    fettle("undo", "7")
    assert "any more" not in fettle(*words).err


def test_a_restored_project_has_nothing_to_take_back_until_it_is_changed(rig, fettle, tmp_path):
    fettle("export", "out")
    rig.unlink()
    fettle("init", "again", "--from-export", "out")
    done = fettle("undo")
    assert (done.code, done.err) == (
        1, "There is nothing to take back: this project holds no change since it was made.\n",
    )  # fmt: skip
    fettle("read", "3", "bass=1")
    assert fettle("undo").code == 0


def test_a_variant_whose_logging_was_undone_or_that_is_called_otherwise_is_told_too(rig, fettle):
    fettle("undo", "4")
    assert fettle("show", "3").err == (
        "There is no variant '3' any more: entry 7 took back entry 4; 'fettle undo 7' brings it back.\n"
    )
    fettle("undo", "7")
    assert fettle("show", "3").code == 0
    fettle("correct", "3", "--name", "twin")
    fettle("correct", "twin", "--note", "cracked")
    assert fettle("show", "3").err == (
        "There is no variant '3' any more: entry 9 corrected variant 3: name 3 -> twin; 'fettle undo 9' brings it back.\n"
    )
    assert fettle("show", "4").err == "There is no variant '4'; there are 1, 2 and twin.\n"
