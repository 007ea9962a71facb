import shutil
from pathlib import Path

import duckdb
import pytest

from doe.model.errors import DataError
from doe.model.records import Computation, KeptFile, Reading, Variant
from doe.store import ProjectFile, migrate
from doe.store.attachments import TAKE, hash_of
from tests.refusing import refused
from tests.store.radio import RADIO, SETTINGS
from tests.store.test_transfer import ONE_QUICK


def take(folder: Path, name: str = "take.txt", text: str = "100 1\n") -> KeptFile:
    path = folder / name
    path.write_text(text)
    return KeptFile(path, hash_of(path), "1", TAKE)


def how(file: KeptFile, **settings) -> Computation:
    return Computation("tilt", 1, {"band": [40.0, 150.0], **settings}, file.sha256, {"mic.txt": "0" * 64})


@pytest.fixture
def measured(radio: ProjectFile, tmp_path: Path) -> ProjectFile:
    """The radio with one computed reading, number 5, stored as entry 7."""
    file = take(tmp_path)
    entry, numbers = radio.add_measured([(Reading("1", "bass", -2.5), how(file))], [file], "1")
    assert (entry.kind, entry.summary, numbers) == ("measurement", "measured bass of variant 1 from 1 take", [5])
    return radio


def kept(f: ProjectFile) -> list[tuple[int, float, Computation]]:
    return [(row["id"], row["value"], row["computation"]) for row in f.computations()]


def test_a_computed_reading_tells_how_it_was_computed(measured: ProjectFile, tmp_path: Path):
    """Recipe, version, settings, what else went in, and the bytes of the file themselves."""
    (row,) = measured.computations()
    assert (row["variant"], row["outcome"], row["value"], row["filename"]) == ("1", "bass", -2.5, "take.txt")
    assert row["computation"] == how(take(tmp_path))
    assert row["path"].read_text() == "100 1\n"
    assert measured.check() == []


@pytest.mark.parametrize("kind", ONE_QUICK)
def test_an_export_carries_it_without_loss(measured: ProjectFile, tmp_path: Path, kind: str):
    back = ProjectFile.restore(tmp_path / "back.duckdb", measured.export(tmp_path / f"out.{kind}", kind))
    assert kept(back) == kept(measured)
    assert back.fingerprint() == measured.fingerprint()
    assert back.computations()[0]["path"].read_text() == "100 1\n"


def test_a_backup_carries_it_too(measured: ProjectFile, tmp_path: Path):
    copy = ProjectFile.open(measured.backup(tmp_path / "copy.duckdb"))
    assert kept(copy) == kept(measured)
    assert copy.check() == []


@pytest.mark.slow
def test_an_export_of_an_earlier_version_is_still_read(radio: ProjectFile, tmp_path: Path):
    for kind in ("csv", "parquet"):
        folder = radio.export(tmp_path / kind, kind)
        (folder / f"measurements.{kind}").unlink()
        assert ProjectFile.restore(tmp_path / f"{kind}.duckdb", folder).fingerprint() == radio.fingerprint()


def test_the_fingerprint_depends_on_how_a_value_was_computed(measured: ProjectFile, tmp_path: Path):
    """And a log without computed readings has the fingerprint that it had before there were any."""
    other = ProjectFile.open(shutil.copyfile(measured.path, tmp_path / "other.duckdb"))
    other.recompute([(5, -2.5, how(take(tmp_path), smoothing=3))], "recomputed")
    assert other.fingerprint() != measured.fingerprint()


def test_a_recomputed_value_supersedes_and_can_be_taken_back(measured: ProjectFile, tmp_path: Path):
    before, fingerprint = kept(measured), measured.fingerprint()
    newer = how(take(tmp_path), smoothing=3)
    entry = measured.recompute([(5, -3.0, newer)], "recomputed bass")
    assert kept(measured) == [(5, -3.0, newer)]
    measured.take_back(entry.id)
    assert (kept(measured), measured.fingerprint()) == (before, fingerprint)


def test_a_computed_reading_stays_with_the_variant_whose_file_it_is_of(measured: ProjectFile):
    """Its session may be put right; for another variant the file is measured there."""
    with pytest.raises(DataError, match="computed from a file that is kept with its variant"):
        measured.correct_reading(5, variant="1" if measured.readings(number=5)[0]["variant"] != "1" else "2")
    measured.correct_reading(5, session="Friday")
    assert kept(measured)[0][0] == 5
    assert measured.check() == []


def test_a_value_put_in_by_hand_is_no_longer_told_as_computed(measured: ProjectFile):
    before = kept(measured)
    by_hand = measured.correct_reading(5, value=1.0)
    assert kept(measured) == []
    assert measured.takes_read("1") == {("bass", before[0][2].sha256): 5}  # the take counts, and only once
    assert measured.takes_read("2") == {}
    measured.take_back(by_hand.id)
    assert kept(measured) == before


def test_a_note_put_right_leaves_the_value_computed(measured: ProjectFile):
    before = kept(measured)
    measured.correct_reading(5, note="windy")
    assert kept(measured) == before


def test_a_withdrawn_reading_is_no_longer_computed(measured: ProjectFile):
    measured.withdraw_reading(5)
    assert kept(measured) == []
    assert measured.takes_read("1") == {}
    assert measured.check() == []


@pytest.mark.slow
def test_the_entry_that_brought_a_file_stays_while_others_stand_on_it(measured: ProjectFile, tmp_path: Path):
    """A file is kept once a variant; a later reading of it needs the earlier entry."""
    file = take(tmp_path)
    first = measured.history()[-1].id
    later, _ = measured.add_measured([(Reading("1", "bass", 7.0), how(file))], [file], "1")
    assert len(measured.attachments()) == 1
    sentence = (
        f"Entry {first} cannot be taken back, since other records stand on it; take back {later.id} first: "
        f"Reading 6 (entry {later.id}): its file is not in the project."
    )
    with refused(DataError, sentence):
        measured.take_back(first)
    measured.take_back(later.id)
    measured.take_back(first)
    assert measured.attachments() == [] and measured.check() == []


def test_a_file_changed_since_it_was_measured_is_refused_and_nothing_kept(radio: ProjectFile, tmp_path: Path):
    file = take(tmp_path)
    file.path.write_text("100 2\n")
    before = radio.fingerprint()
    with refused(DataError, "take.txt was changed while it was measured; measure it again."):
        radio.add_measured([(Reading("1", "bass", 1.0), how(file))], [file], "1")
    assert radio.fingerprint() == before
    assert list(radio.files_folder.iterdir()) == []


def test_a_refused_reading_leaves_no_file_behind(radio: ProjectFile, tmp_path: Path):
    file = take(tmp_path)
    with pytest.raises(DataError):
        radio.add_measured([(Reading("1", "bas", 1.0), how(file))], [file], "1")
    assert not radio.files_folder.exists()


def test_a_file_of_the_first_layout_is_upgraded_in_place(tmp_path: Path, monkeypatch):
    """Made by the first migration only: opening it loses nothing, and it takes computed readings then."""
    path = tmp_path / "old.duckdb"
    with monkeypatch.context() as patched:
        first = {1: migrate.known()[1]}
        patched.setattr(migrate, "known", lambda: first)
        old = ProjectFile.create(path, RADIO)
        old.add_variant(Variant("1", SETTINGS))
        old.add_readings([Reading("1", "bass", -3.25, rater="mic")])
        told = old.readings(), old.variants(), old.history(), old.setup()
        with duckdb.connect(str(path), read_only=True) as con:
            assert migrate.applied(con) == 1
    new = ProjectFile.open(path)
    assert (new.readings(), new.variants(), new.history(), new.setup()) == told
    assert new.check() == [] and new.computations() == []
    with duckdb.connect(str(path), read_only=True) as con:
        assert migrate.applied(con) == migrate.newest()
    file = take(tmp_path)
    new.add_measured([(Reading("1", "bass", -2.5), how(file))], [file], "1")
    assert kept(new) == [(2, -2.5, how(file))]


def test_who_measured_is_one_person_however_the_name_is_typed(radio: ProjectFile, tmp_path: Path):
    file = take(tmp_path)
    radio.add_measured([(Reading("1", "bass", -2.5, rater=" MIC"), how(file))], [file], "1")
    assert radio.readings()[-1]["rater"] == "mic"
