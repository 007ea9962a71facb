import re

import pytest

from doe.model.errors import DataError
from doe.model.records import Reading, Session, Unit, Variant
from doe.store import ProjectFile
from tests.store.radio import SETTINGS

NEW = [Variant("b", SETTINGS, unit="B", parent="a"), Variant("a", SETTINGS, unit="B")]


def test_a_log_is_one_entry_and_one_step_back(radio: ProjectFile):
    """Parents may stand below their children; known units and sessions are the same ones."""
    before = radio.fingerprint()
    entry = radio.import_rows(
        NEW, [Session("Tuesday"), Session("new")], [Unit("A"), Unit("B")],
        [Reading("a", "bass", 1.0, session="new"), Reading("1", "bass", 2.0, session="Tuesday", unit="A")],
        source="log.csv",
    )  # fmt: skip
    assert entry.summary == "imported 2 variants and 2 readings from log.csv"
    assert [variant.name for variant in radio.variants()] == ["1", "2", "shop", "b", "a"]
    assert [unit.name for unit in radio.units()] == ["A", "B"]
    assert [session.name for session in radio.sessions()] == ["Tuesday", "new"]
    radio.take_back(entry.id)
    assert radio.fingerprint() == before


@pytest.mark.parametrize(
    ("variants", "readings", "sentence"),
    [
        ([Variant("1", SETTINGS)], [], "Variant '1' is logged already; give it a name of its own."),
        (
            [Variant("a", SETTINGS), Variant("a", SETTINGS)],
            [],
            "Variant 'a' is logged already; give it a name of its own.",
        ),
        (
            [Variant("a", SETTINGS), Variant("A", SETTINGS)],
            [],
            "Variant 'A' differs from 'a' in capitals only; give it a name of its own.",
        ),
        ([Variant("a", {**SETTINGS, "vents": 7})], [], "vents is 7; it must be a whole number from 0 to 6."),
        ([Variant("a", SETTINGS, unit="Z")], [], "Unit 'Z' is not in this project; there are A and B."),
        (
            [Variant("a", SETTINGS)],
            [Reading("c", "bass", 1.0)],
            "Variant 'c' is not in this project; there are 1, 2, shop and a.",
        ),
        (
            [Variant("a", SETTINGS)],
            [Reading("a", "bass", 1.0, session="x")],
            "Session 'x' is not in this project; there is only Tuesday.",
        ),
        ([], [], "log.csv holds no variant and no reading; nothing was stored."),
    ],
)
def test_one_wrong_row_stores_nothing(radio: ProjectFile, variants, readings, sentence: str):
    before = radio.path.read_bytes()
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        radio.import_rows(variants, [], [Unit("B")], readings, source="log.csv")
    assert radio.path.read_bytes() == before


def test_a_file_is_not_taken_in_twice(radio: ProjectFile):
    readings = [Reading("1", "bass", 1.0)]
    entry = radio.import_rows([], [], [], readings, source="log.csv", digest="abc")
    with pytest.raises(DataError, match=f"log.csv was imported already, as entry {entry.id}; take that back"):
        radio.import_rows([], [], [], readings, source="log.csv", digest="abc")
    radio.take_back(entry.id)
    radio.import_rows([], [], [], readings, source="log.csv", digest="abc")
    assert len(radio.readings()) == 5


def test_thousands_of_readings_go_in_at_once(radio: ProjectFile):
    """One statement for a table, whatever its length; generous bound, since the machine may be busy."""
    readings = [Reading("1", "bass", float(number)) for number in range(5000)]
    radio.import_rows([], [], [], readings, source="log.csv")
    assert [row["value"] for row in radio.readings()[4:]] == [reading.value for reading in readings]
