import re
from dataclasses import replace
from datetime import datetime

import duckdb
import pytest

from doe.model.errors import DataError
from doe.model.listening import Judgement, PreparedSession, RaterSheet, Sample
from doe.model.records import Reading, Session, Unit, Variant
from doe.store import ProjectFile, readings
from tests.refusing import refused
from tests.store.radio import SETTINGS


def test_a_reading_is_put_down_to_another_variant_session_and_rater(radio: ProjectFile):
    """Its unit goes with the variant; a session that is not known yet is made, and goes again with the entry."""
    before = radio.readings(number=1)[0]
    entry = radio.correct_reading(1, variant="2", session="Friday", rater="Ann")
    after = radio.readings(number=1)[0]
    units = {variant.name: variant.unit for variant in radio.variants()}
    assert (after["variant"], after["session"], after["rater"], after["unit"]) == ("2", "Friday", "Ann", units["2"])
    assert entry.summary == (
        "corrected reading 1 (bass of variant 2): variant 1 -> 2, session Tuesday -> Friday, rater mic -> Ann"
    )
    assert "Friday" in [session.name for session in radio.sessions()]
    assert radio.check() == []
    radio.take_back(entry.id)
    assert radio.readings(number=1)[0] == before
    assert "Friday" not in [session.name for session in radio.sessions()]
    radio.correct_reading(1, session="", rater=" ")
    assert (radio.readings(number=1)[0]["session"], radio.readings(number=1)[0]["rater"]) == (None, None)


def test_a_reading_goes_to_no_variant_that_is_unknown_or_planned(radio: ProjectFile):
    radio.add_variant(replace(radio.variants()[0], name="later", status="planned"))
    before = radio.fingerprint()
    with pytest.raises(DataError, match="77"):
        radio.correct_reading(1, variant="77")
    with pytest.raises(DataError, match="only planned"):
        radio.correct_reading(1, variant="later")
    assert radio.fingerprint() == before


def test_readings_come_back_in_order_with_their_numbers(radio: ProjectFile):
    when = datetime(2026, 3, 1, 9, 0)
    radio.add_readings(
        [Reading("1", "echo", 5, session="Friday", rater="Bo", unit="A", order=7, when=when, note="tired")]
    )
    assert [row["id"] for row in radio.readings()] == [1, 2, 3, 4, 5]
    assert radio.readings()[4] == {
        "id": 5, "variant": "1", "outcome": "echo", "value": 5.0, "versus": None, "session": "Friday", "rater": "Bo",
        "order": 7, "unit": "A", "when": when, "note": "tired",
    }  # fmt: skip


def test_a_session_named_for_the_first_time_is_taken_in(radio: ProjectFile):
    entry = radio.add_readings([Reading("1", "bass", 0.5, session="Friday")])
    assert radio.sessions() == [Session("Tuesday"), Session("Friday")]
    assert entry.summary == "read bass 0.5 of variant 1 in session Friday (new session Friday)"


@pytest.mark.parametrize(
    ("raters", "told"),
    [
        (["Ann"], "read echo 5 of variant 1 by Ann"),
        (["Ann", None], "read echo 5, echo 5 of variant 1"),
        (["Ann", "Bo", "Cy", "Di"], "read " + ", ".join(["echo 5"] * 4) + " of variant 1 by 4 raters"),
        (["Ann"] * 5, "5 readings by Ann"),
    ],
)
def test_the_history_tells_who_rated(radio: ProjectFile, raters: list[str | None], told: str):
    entry = radio.add_readings([Reading("1", "echo", 5, rater=rater) for rater in raters])
    assert entry.summary == told


def test_a_session_is_told_where_it_is_that_of_all():
    one, other = Reading("1", "bass", 1, session="Tue"), Reading("1", "bass", 2, session="Wed")
    assert readings.told([one, one], []) == "read bass 1, bass 1 of variant 1 in session Tue"
    assert readings.told([one, other], []) == "read bass 1, bass 2 of variant 1"


def test_a_session_can_be_prepared_and_is_not_taken_in_twice(radio: ProjectFile):
    session = Session("Friday", datetime(2026, 3, 6, 19, 0), "quiet room")
    radio.add_session(session)
    assert radio.sessions()[1] == session
    with pytest.raises(DataError, match="Session 'Friday' is in the project already"):
        radio.add_session(Session("Friday"))


@pytest.mark.parametrize(
    ("reading", "sentence"),
    [
        (Reading("7", "bass", 1), "Variant '7' is not in this project; there are 1, 2, shop and later."),
        (Reading("1", "bas", 1), "Outcome 'bas' is not in this project. Did you mean 'bass'?"),
        (Reading("1", "echo", 8), "Variant 1: echo is 8; it must be a grade from 1 to 7."),
        (Reading("1", "bass", 1, unit="B"), "Unit 'B' is not in this project; there is only A."),
        (Reading("1", "bass", 1, versus="2"), "bass is measured; only compared outcomes have a second variant."),
        (Reading("1", "nicer", 1), "nicer of variant 1 compares two variants; name the other one."),
        (Reading("1", "nicer", 1, versus="1"), "nicer of variant 1 compares two variants; name the other one."),
        (
            Reading("1", "nicer", 0.7, versus="2"),
            "Variant 1: nicer is '0.7'; it must be first, second or tie (or 1, 0, 0.5).",
        ),
        (
            Reading("later", "bass", 1),
            "Variant 'later' is only planned; mark it as built before taking readings of it.",
        ),
    ],
)
def test_one_wrong_reading_stores_none_of_them(radio: ProjectFile, reading: Reading, sentence: str):
    radio.add_variant(Variant("later", SETTINGS, status="planned"))
    before = radio.path.read_bytes()
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        radio.add_readings([Reading("1", "bass", 1.5), reading])
    assert radio.path.read_bytes() == before


def test_no_reading_at_all_is_refused(radio: ProjectFile):
    with pytest.raises(DataError, match="There is no reading to store"):
        radio.add_readings([])


def test_a_correction_is_a_new_version_of_the_same_reading(radio: ProjectFile):
    """The number stays, the history tells both values."""
    entry = radio.correct_reading(1, value="-2,75", note="cable was loose")
    row = radio.readings()[0]
    assert (row["id"], row["value"], row["note"]) == (1, -2.75, "cable was loose")
    assert entry.summary == "corrected reading 1 (bass of variant 1): -3.25 -> -2.75, note '' -> 'cable was loose'"


def test_a_correction_that_changes_nothing_is_not_stored(radio: ProjectFile):
    """However the same is spelled."""
    with refused(DataError, "Nothing was changed, so nothing is stored."):
        radio.correct_reading(1, value="-3,25", session="tuesday", rater="MIC ")


def test_a_correction_is_held_against_the_scale(radio: ProjectFile):
    with pytest.raises(DataError, match=re.escape("echo is 9; it must be a grade from 1 to 7.")):
        radio.correct_reading(3, value=9)


def test_a_comparison_keeps_two_sides(radio: ProjectFile):
    with refused(DataError, "Reading 4 compares two variants; it cannot be of both sides of one."):
        radio.correct_reading(4, variant="1")
    assert radio.correct_reading(4, variant="shop").summary.endswith("variant 2 -> shop")


@pytest.mark.parametrize("number", [0, 5, -1])
def test_an_unknown_reading_cannot_be_corrected(radio: ProjectFile, number: int):
    with pytest.raises(DataError, match=f"There is no reading {number} in this project"):
        radio.correct_reading(number, value=1)


def test_a_withdrawn_reading_is_gone_until_that_is_taken_back(radio: ProjectFile):
    entry = radio.withdraw_reading(2)
    assert [row["id"] for row in radio.readings()] == [1, 3, 4]
    said = f"Reading 2 was withdrawn with entry {entry.id} of the history; take that back to have it again."
    with refused(DataError, said) as told:
        radio.withdraw_reading(2)
    assert told.value.command == f"'fettle undo {entry.id}' does so"
    with refused(DataError, said):
        radio.correct_reading(2, value=1)
    radio.take_back(entry.id)
    assert [row["id"] for row in radio.readings()] == [1, 2, 3, 4]


def test_numbers_of_withdrawn_readings_are_not_used_again(radio: ProjectFile):
    radio.withdraw_reading(4)
    radio.add_readings([Reading("1", "bass", 1)])
    assert [row["id"] for row in radio.readings()] == [1, 2, 3, 5]


def test_the_last_reading_is_the_latest_one_taken(radio: ProjectFile):
    assert radio.last_reading_at() == radio.history()[-1].at  # nobody said when, so when they were entered
    for day in (3, 1):
        radio.add_readings([Reading("1", "bass", 1, when=datetime(2026, 3, day))])
    assert radio.last_reading_at() == datetime(2026, 3, 3)


def test_without_readings_there_is_no_last_one(empty: ProjectFile):
    assert empty.last_reading_at() is None


def test_values_are_kept_to_the_last_bit(radio: ProjectFile):
    values = [0.1 + 0.2, 1e-300, -1e30, 5e-324, 123456789.123456789]
    radio.add_readings([Reading("1", "bass", value) for value in values])
    assert [row["value"] for row in radio.readings()[4:]] == values


def test_a_reading_on_another_unit_says_so(radio: ProjectFile):
    radio.add_unit(Unit("B"))
    radio.add_readings([Reading("1", "bass", 1, unit="B")])
    assert radio.readings()[-1]["unit"] == "B"


@pytest.mark.parametrize("typed", ["ann", "ANN", " Ann ", "\taNN"])
def test_a_rater_is_one_person_however_the_name_is_typed(radio, typed):
    """Two spellings would be two people to every analysis; the spelling first used stays."""
    radio.add_readings([Reading("1", "echo", 3, rater=typed)])
    assert radio.readings()[-1]["rater"] == "Ann"
    assert radio.raters() == ["mic", "Ann"]
    assert radio.tally().raters == ("mic", "Ann")
    assert "by Ann" in radio.history()[-1].summary


def test_a_new_rater_is_spelled_as_first_in_the_batch(radio):
    typed = [" Kim ", "kim", "KIM", None, "  "]
    radio.add_readings([Reading("1", "echo", 3, rater=name) for name in typed])
    assert [row["rater"] for row in radio.readings()[-5:]] == ["Kim", "Kim", "Kim", None, None]


def test_a_rater_put_right_is_one_of_those_there_are(radio):
    """Only a reading that nobody else shares a rater with may be spelled anew."""
    radio.correct_reading(1, rater="ANN ")
    assert radio.readings(number=1)[0]["rater"] == "Ann"
    radio.add_readings([Reading("1", "echo", 3, rater="kim")])
    last = radio.readings()[-1]["id"]
    radio.correct_reading(last, rater="Kim")
    assert radio.readings(number=last)[0]["rater"] == "Kim"
    radio.correct_reading(last, rater=" ")
    assert radio.readings(number=last)[0]["rater"] is None


def test_an_imported_log_and_a_closed_session_know_their_raters(radio):
    radio.import_rows([], [], [], [Reading("1", "echo", 3, rater="ANN")], source="log.csv")
    assert radio.readings()[-1]["rater"] == "Ann"
    sheet = RaterSheet("ann", "key", [("123",)])
    radio.prepare_session(PreparedSession("blind", ["echo"], [Sample("123", "1")], [sheet]))
    (kept,) = radio.prepared_sessions()
    radio.judge(kept.id, Judgement("ann", 1, {"echo": 4}))
    radio.close_session(kept.id)
    assert radio.readings()[-1]["rater"] == "Ann"


def test_a_session_in_other_capitals_is_the_same_session(radio):
    """However its readings come: typed, imported or corrected; but one that is added by itself has another name."""
    radio.add_readings([Reading("1", "echo", 3, session="TUESDAY"), Reading("1", "echo", 3, session="Noon")])
    log = [Reading("1", "echo", 2, session="tuesday"), Reading("1", "echo", 2, session="Dusk"),
           Reading("1", "echo", 2, session="dusk")]  # fmt: skip
    radio.import_rows([], [Session("tuesday"), Session("Dusk"), Session("dusk")], [], log, source="log.csv")
    radio.correct_reading(radio.readings()[-1]["id"], session="NOON")
    assert [item.name for item in radio.sessions()] == ["Tuesday", "Noon", "Dusk"]
    assert [row["session"] for row in radio.readings()][-5:] == ["Tuesday", "Noon", "Tuesday", "Dusk", "Noon"]
    with refused(DataError, "Session 'noon' differs from 'Noon' in capitals only; give it a name of its own."):
        radio.add_session(Session("noon"))


def test_sessions_of_a_log_from_before_keep_their_names_in_an_export(radio, tmp_path, monkeypatch):
    with monkeypatch.context() as as_it_was:
        as_it_was.setattr("doe.store.sessions.spelled_alike", lambda name, names: [name] if name in names else [])
        as_it_was.setattr("doe.store.kept.FreeNames._folded", lambda self, name: name)
        radio.add_readings([Reading("1", "echo", 3, session="tuesday")])
    back = ProjectFile.restore(tmp_path / "back.duckdb", radio.export(tmp_path / "out"))
    assert back.fingerprint() == radio.fingerprint()
    assert [item.name for item in back.sessions()] == ["Tuesday", "tuesday"]


def test_raters_of_a_log_from_before_keep_their_spellings_in_an_export(radio, tmp_path, monkeypatch):
    """What is read back is what was written, even where one person was two."""
    with monkeypatch.context() as as_it_was:
        as_it_was.setattr("doe.store.readings.with_known_raters", lambda new, known: new)
        radio.add_readings([Reading("1", "echo", 3, rater="ann")])
    back = ProjectFile.restore(tmp_path / "back.duckdb", radio.export(tmp_path / "out"))
    assert back.fingerprint() == radio.fingerprint()
    assert back.raters() == ["mic", "Ann"]


AT = datetime(2026, 3, 1, 12, 0, 5)


@pytest.mark.parametrize(
    ("taken", "recorded", "came"),
    [
        (AT, AT.replace(second=6, microsecond=100_000), AT.replace(second=6)),
        (AT, AT.replace(microsecond=700_000), AT.replace(microsecond=700_000)),
        (AT.replace(microsecond=300_000), AT.replace(second=9), AT.replace(microsecond=300_000)),
        (AT, AT.replace(hour=18), AT.replace(second=6)),
        (AT.replace(hour=0, second=0), AT.replace(hour=18), AT.replace(hour=18)),
        (AT.replace(hour=13), AT, AT),
        (None, AT, AT),
    ],
    ids=[
        "recorded in the next second",
        "in the same one",
        "taken to the microsecond",
        "put in late",
        "a day",
        "later",
        "none",
    ],
)
def test_a_reading_came_when_it_was_taken_or_put_on_record(radio: ProjectFile, taken, recorded, came):
    """A time kept to the second means some time in that second, so that a suggestion just before it counts as before."""
    entry = radio.add_readings([Reading("1", "bass", 1.0, when=taken)])
    with duckdb.connect(str(radio.path)) as con:
        con.execute("UPDATE entry SET done_at = ? WHERE id = ?", [recorded, entry.id])
    assert radio.reading_times()[5] == came
