"""Settled versions: frozen, numbered, in lines, kept by exports."""

from __future__ import annotations

import pytest

from doe.model.errors import DataError
from doe.model.records import Reading, Variant
from doe.model.settled import SettledVersion
from doe.store import ProjectFile
from tests.refusing import refused
from tests.store.radio import SETTINGS
from tests.store.test_transfer import ONE_QUICK


def version(name="kitchen radio", variant="2", **more):
    return SettledVersion(0, name, variant, {}, **more)


def test_a_version_freezes_what_counts_when_it_is_settled(radio):
    radio.attach("2", "front.jpg", b"\xff\xd8 a picture")
    entry = radio.settle_version(version(evidence={"expected": [{"outcome": "bass", "mean": -1.0}]}, note="the one"))
    assert (entry.kind, entry.summary) == ("settled", "settled version 1, kitchen radio: variant 2")
    (made,) = radio.settled_versions()
    assert (made.number, made.name, made.variant, made.came_from, made.lineage) == (
        1,
        "kitchen radio",
        "2",
        None,
        ("1",),
    )
    assert made.settings == {**SETTINGS, "vents": 4}
    assert made.evidence == {"expected": [{"outcome": "bass", "mean": -1.0}]}
    assert [file["filename"] for file in made.files] == ["front.jpg"]
    radio.correct_variant("2", settings={"vents": 5}, name="two")
    radio.add_readings([Reading("two", "bass", 1.0)])
    (later,) = radio.settled_versions()
    assert (later.settings, later.readings_sha256) == (made.settings, made.readings_sha256)
    assert later.variant == "two"
    assert radio.check() == []


def test_other_readings_have_another_fingerprint(radio):
    radio.settle_version(version())
    radio.add_readings([Reading("2", "bass", 1.0)])
    radio.settle_version(version("second"))
    one, two = radio.settled_versions()
    assert one.readings_sha256 != two.readings_sha256


def test_later_changes_start_a_new_line(radio):
    """Version 2 was changed from version 1; version 3 has nothing settled among its parents."""
    radio.settle_version(version())
    radio.add_variant(Variant("3", {**SETTINGS, "vents": 6}, unit="A", parent="2"))
    radio.settle_version(version("workshop radio", "3"))
    radio.add_variant(Variant("4", SETTINGS))
    radio.settle_version(version("bath radio", "4"))
    assert [(item.number, item.came_from) for item in radio.settled_versions()] == [(1, None), (2, 1), (3, None)]


def test_a_number_is_given_once_even_when_taken_back(radio):
    entry = radio.settle_version(version())
    radio.take_back(entry.id)
    assert radio.settled_versions() == []
    radio.settle_version(version())
    assert [item.number for item in radio.settled_versions()] == [2]


def test_a_variant_cannot_be_taken_back_under_its_version(radio):
    entry = radio.add_variant(Variant("3", SETTINGS))
    radio.settle_version(version("third", "3"))
    with pytest.raises(DataError, match="other records stand on it"):
        radio.take_back(entry.id)


@pytest.mark.parametrize(
    ("made", "sentence"),
    [
        (version(variant="9"), "Variant '9' is not in this project; there are 1, 2 and shop."),
        (version(variant="shop"), "Variant 'shop' is a reference object without settings, so it cannot be settled."),
        (version("Kitchen Radio"), "A version is called 'Kitchen Radio' already; give this one a name of its own."),
    ],
)
def test_what_cannot_be_settled_is_refused(radio, made, sentence):
    radio.settle_version(version())
    with refused(DataError, sentence):
        radio.settle_version(made)
    assert len(radio.settled_versions()) == 1


@pytest.mark.parametrize("kind", ONE_QUICK)
def test_an_export_and_back_loses_nothing(radio, tmp_path, kind):
    radio.settle_version(version(evidence={"expected": [{"outcome": "bass", "mean": -1.25, "low": None}]}))
    target = radio.export(tmp_path / ("out.xlsx" if kind == "xlsx" else "out"), kind)
    back = ProjectFile.restore(tmp_path / "back.duckdb", target)
    assert back.fingerprint() == radio.fingerprint()
    assert back.settled_versions() == radio.settled_versions()


def test_a_variant_under_a_settled_version_is_not_withdrawn(radio):
    """A version would be left without its variant, and with that no export could be read back."""
    entry = radio.settle_version(version())
    before = radio.fingerprint()
    said = (
        "Variant '2' cannot be withdrawn, since version 1, kitchen radio, is settled on it; take entry "
        f"{entry.id} of the history back first, which settled it."
    )
    with refused(DataError, said) as told:
        radio.withdraw_variant("2")
    assert told.value.command == f"'fettle undo {entry.id}' does that"
    assert radio.fingerprint() == before
    radio.withdraw_variant("1")  # it is only named in the version's lineage
    assert (radio.check(), radio.settled_versions()[0].lineage) == ([], ("1",))
    radio.take_back(entry.id)
    radio.withdraw_variant("2")
    assert (radio.check(), radio.settled_versions()) == ([], [])


@pytest.mark.slow
def test_a_withdrawal_cannot_come_back_under_a_settled_version(radio):
    """Taking back the take-back of a withdrawal withdraws the variant again."""
    withdrawal = radio.withdraw_variant("2")
    take_back = radio.take_back(withdrawal.id)
    settled = radio.settle_version(version())
    with pytest.raises(DataError, match=rf"take back {settled.id} first: Settled version 1"):
        radio.take_back(take_back.id)
    assert radio.check() == []


def test_what_came_with_an_export_stays_settled(radio, tmp_path):
    """The entry that read the export back cannot be taken back, so no advice to do so is given."""
    radio.settle_version(version())
    back = ProjectFile.restore(tmp_path / "back.duckdb", radio.export(tmp_path / "out"))
    said = (
        "Variant '2' cannot be withdrawn, since version 1, kitchen radio, is settled on it; that version came with the export "
        "that this project was made from, so both stay."
    )
    with refused(DataError, said):
        back.withdraw_variant("2")


@pytest.fixture
def hanging(radio, monkeypatch):
    """A project from before withdrawals were refused: its version 1 stands on nothing."""
    radio.settle_version(version())
    with monkeypatch.context() as as_it_was:
        as_it_was.setattr("doe.store.settled.refuse_withdrawal", lambda *_: None)
        radio.withdraw_variant("2")
    assert radio.check() == ["Settled version 1 (entry 7): its variant is not in the project."]
    return radio


@pytest.mark.slow
def test_a_version_that_hangs_in_the_air_stands_in_the_way_of_nothing_else(hanging):
    """Other entries are still taken back, definitions still changed; taking the withdrawal back mends it."""
    withdrawal = hanging.history()[-1]
    other = hanging.add_variant(Variant("3", SETTINGS))
    hanging.take_back(other.id)
    hanging.change_setup("title", "Radio")
    hanging.take_back(withdrawal.id)
    assert (hanging.check(), hanging.settled_versions()[0].variant) == ([], "2")


@pytest.mark.parametrize("kind", ONE_QUICK)
def test_a_version_that_hangs_in_the_air_is_exported_and_read_back(hanging, tmp_path, kind):
    target = hanging.export(tmp_path / ("out.xlsx" if kind == "xlsx" else "out"), kind)
    back = ProjectFile.restore(tmp_path / "back.duckdb", target)
    assert back.fingerprint() == hanging.fingerprint()
    assert [item.variant for item in back.settled_versions()] == [""]
    assert len(back.check()) == 1
