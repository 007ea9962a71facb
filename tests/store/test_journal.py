import re
from pathlib import Path

import pytest

from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.records import Reading, Variant
from doe.store import Entry, ProjectFile
from tests.store.radio import SETTINGS
from tests.store.test_transfer import KINDS, round_trip


def test_the_history_tells_every_change_in_order(radio: ProjectFile):
    told = [(entry.id, entry.kind, entry.summary) for entry in radio.history()]
    assert told == [
        (1, "create", "made the project 'Tabletop radio' with 4 factors and 3 outcomes"),
        (2, "unit", "added unit A"),
        (3, "variant", "logged variant 1 on A: vents 2, rings 9, wool 20, driver poly"),
        (4, "variant", "logged variant 2 from 1 on A: vents 2 -> 4"),
        (5, "variant", "logged variant shop: a reference object"),
        (6, "readings", "read bass -3.25 of variant 1, bass -1 of variant 2, echo 2 of variant shop, nicer of variant 2 "
                        "better than of variant 1 by mic and Ann"
                        " (new session Tuesday)"),
    ]  # fmt: skip


def test_what_a_change_returns_is_what_the_history_keeps(radio: ProjectFile):
    entry = radio.correct_reading(1, value=1)
    assert radio.history()[-1] == entry
    assert isinstance(entry, Entry)


def test_a_comparison_is_told_with_both_variants(radio: ProjectFile):
    number = next(item["id"] for item in radio.readings() if item["outcome"] == "nicer")
    corrected = radio.correct_reading(number, value="second").summary
    assert corrected == f"corrected reading {number} (nicer of variant 2 against 1): better -> worse"
    assert radio.withdraw_reading(number).summary == f"withdrew reading {number} (nicer of variant 2 against 1): worse"
    tied = radio.add_readings([Reading("1", "nicer", 0.5, versus="2")])
    assert tied.summary == "read nicer of variants 1 and 2 alike"
    worse = radio.add_readings([Reading("1", "nicer", 0, versus="2")])
    assert worse.summary == "read nicer of variant 1 worse than of variant 2"


def test_taking_back_is_an_entry_of_its_own(radio: ProjectFile):
    """Nothing is destroyed: both lines stay."""
    done = radio.take_back(6)
    assert radio.readings() == []
    history = radio.history()
    assert history[-1] == done
    assert done.takes_back == 6
    assert history[5].taken_back_by == done.id


def test_taking_a_take_back_back_restores_everything(radio: ProjectFile):
    before = radio.fingerprint()
    done = radio.take_back(6)
    radio.take_back(done.id)
    assert radio.fingerprint() == before
    assert radio.history()[5].taken_back_by is None


@pytest.mark.slow
def test_a_chain_of_take_backs_goes_there_and_back(radio: ProjectFile):
    """Each link turns the one before it about, however long the chain."""
    without = radio.fingerprint()
    last = radio.add_readings([Reading("1", "bass", 1.0)])
    with_it = radio.fingerprint()
    for turn in range(4):
        last = radio.take_back(last.id)
        assert radio.fingerprint() == (without if turn % 2 == 0 else with_it)


def test_an_entry_taken_back_twice_over_needs_both_undone(radio: ProjectFile):
    """It counts only while no take-back of it counts."""
    entry = radio.add_readings([Reading("1", "bass", 1.0)])
    first = radio.take_back(entry.id)
    redone = radio.take_back(first.id)
    radio.take_back(entry.id)  # a second one
    undone = radio.take_back(redone.id)  # now the first counts again as well
    radio.take_back(undone.id)
    assert len(radio.readings()) == 4


@pytest.mark.parametrize(
    ("entry", "sentence"),
    [
        (99, "There is no entry 99 to take back; the history lists those there are."),
        (1, "Entry 1 began this project (made the project 'Tabletop radio' with 4 factors and 3 outcomes) and cannot be"
            " taken back."),
        (2, "Entry 2 cannot be taken back, since other records stand on it; take back 6, 4 and 3 first, in this order: Variant"
            " 1 (entry 3): its unit is not in the project."),
        (4, "Entry 4 cannot be taken back, since other records stand on it; take back 6 first: Reading 2 (entry 6): its"
            " variant is not in the project."),
    ],
)  # fmt: skip
def test_what_others_stand_on_is_not_taken_back(radio: ProjectFile, entry: int, sentence: str):
    before = radio.path.read_bytes()
    with pytest.raises(DataError, match=f"^{re.escape(sentence)}$"):
        radio.take_back(entry)
    assert radio.path.read_bytes() == before


@pytest.mark.slow
def test_what_is_told_to_be_taken_back_first_can_be_in_that_order(radio: ProjectFile):
    """A chain of corrections and changes, of which only the first stands on the unit itself."""
    chain = [radio.add_variant(Variant("3", {**SETTINGS, "vents": 5}, unit="A", parent="2")).id]
    chain.append(radio.add_readings([Reading("3", "bass", 1, session="Friday")]).id)
    chain.append(radio.add_readings([Reading("shop", "echo", 3, session="Friday")]).id)
    chain.append(radio.correct_reading(radio.readings()[-1]["id"], value=4).id)
    with pytest.raises(DataError) as told:
        radio.take_back(2)
    order = [
        int(number)
        for number in re.findall(r"\d+", re.search(r"take back (.*) first, in this order", str(told.value))[1])
    ]
    assert order == [*reversed(chain), 6, 4, 3]
    for entry in order:
        radio.take_back(entry)
    radio.take_back(2)
    assert radio.units() == []


def test_a_long_list_of_what_to_take_back_first_is_told_by_its_ends(radio: ProjectFile, monkeypatch):
    """At most four are named here, of these five and the one before."""
    monkeypatch.setattr("doe.store.integrity._MOST_NAMED", 4)
    *_, third, second, first = (radio.add_readings([Reading("2", "bass", place)]).id for place in range(5))
    with pytest.raises(
        DataError, match=f"take back {first}, {second}, {third} and 3 more, down to 6 first, in this order: Reading"
    ):
        radio.take_back(4)


def test_nothing_is_taken_back_twice(radio: ProjectFile):
    radio.take_back(6)
    with pytest.raises(DataError, match=re.escape("Entry 6 was taken back already, by entry 7.")):
        radio.take_back(6)


def test_corrections_are_taken_back_from_the_last(radio: ProjectFile):
    first, second = radio.correct_reading(1, value=1), radio.correct_reading(1, value=2)
    with pytest.raises(DataError, match=f"take back {second.id} first"):
        radio.take_back(first.id)
    radio.take_back(second.id)
    assert radio.readings()[0]["value"] == 1
    radio.take_back(first.id)
    assert radio.readings()[0]["value"] == -3.25


def test_an_undone_correction_does_not_come_back_over_a_later_one(radio: ProjectFile):
    """Undone, then corrected otherwise: redoing the first would leave two corrections of one version."""
    first = radio.correct_reading(1, value=1)
    undone = radio.take_back(first.id)
    radio.correct_reading(1, value=5)
    with pytest.raises(DataError, match="cannot be taken back, since other records stand on it"):
        radio.take_back(undone.id)
    assert radio.readings()[0]["value"] == 5


def test_a_name_given_anew_stops_the_old_variant_from_returning(radio: ProjectFile):
    withdrawn = radio.withdraw_variant("2")
    radio.add_variant(Variant("2", SETTINGS))
    with pytest.raises(DataError, match=re.escape("Two variants are called '2'.")):
        radio.take_back(withdrawn.id)


@pytest.mark.slow
def test_a_wider_range_stays_while_a_variant_needs_it(radio: ProjectFile):
    widened = radio.change_setup("factor", Factor("vents", kind="count", low=0, high=9, way="up"), name="vents")
    logged = radio.add_variant(Variant("3", {**SETTINGS, "vents": 9}))
    with pytest.raises(DataError, match=f"take back {logged.id} first: Variant 3: vents is 9"):
        radio.take_back(widened.id)
    radio.take_back(logged.id)
    radio.take_back(widened.id)
    assert radio.setup().factors[0].high == 6


def test_a_factor_stays_while_settings_of_it_are_logged(radio: ProjectFile):
    feet = Factor("feet", kind="categorical", levels=["felt", "cork"])
    added = radio.change_setup("factor", feet, was="felt")
    logged = radio.add_variant(Variant("3", {**SETTINGS, "feet": "cork"}))
    with pytest.raises(DataError, match=f"take back {logged.id} first"):
        radio.take_back(added.id)


def test_a_session_stays_while_readings_name_it(radio: ProjectFile):
    first = radio.add_readings([Reading("1", "bass", 1, session="Friday")])
    second = radio.add_readings([Reading("2", "bass", 1, session="Friday")])
    with pytest.raises(DataError, match=f"take back {second.id} first"):
        radio.take_back(first.id)


def test_what_came_with_an_export_is_not_taken_back(radio: ProjectFile, tmp_path: Path):
    back = round_trip(radio, tmp_path, KINDS[0])
    inherited = next(entry for entry in back.history() if entry.kind == "readings")
    with pytest.raises(
        DataError, match=rf"^Entry {inherited.id} came with the export \(.*\) and cannot be taken back here.$"
    ):
        back.take_back(inherited.id)
