"""Attachments, suggestions, backup and check."""

import hashlib
import os
import re
import subprocess
import sys
import threading
from pathlib import Path

import duckdb
import pytest

from doe.measuring.takes import kept_takes
from doe.model.errors import DataError, StoreError, UsageError
from doe.model.records import Computation, KeptFile, Reading, Unit, Variant
from doe.store import ProjectFile, attachments
from tests.refusing import refused
from tests.store.radio import SETTINGS


def test_an_attachment_is_kept_under_the_hash_of_its_content(radio: ProjectFile):
    entry = radio.attach("2", "bench/photo.jpg", b"light", note="back")
    (row,) = radio.attachments()
    digest = hashlib.sha256(b"light").hexdigest()
    assert row == {
        "id": 1, "variant": "2", "filename": "photo.jpg", "sha256": digest, "size": 5, "note": "back",
        "path": radio.files_folder / digest,
    }  # fmt: skip
    assert row["path"].read_bytes() == b"light"
    assert entry.summary == "attached photo.jpg to variant 2"


def test_equal_content_is_kept_once(radio: ProjectFile):
    radio.attach("1", "a.txt", b"same")
    assert radio.attach(None, "b.txt", b"same").summary == "attached b.txt"
    assert [row["filename"] for row in radio.attachments()] == ["a.txt", "b.txt"]
    assert len(list(radio.files_folder.iterdir())) == 1


def test_an_attachment_outlives_its_variant(radio: ProjectFile):
    radio.attach("2", "photo.jpg", b"light")
    radio.withdraw_variant("2")
    assert radio.attachments()[0]["variant"] is None
    assert radio.check() == []


@pytest.mark.parametrize("name", ["", "  ", "a\nb", "folder/", ".", "up/.."])
def test_a_name_that_is_none_is_refused(radio: ProjectFile, name: str):
    with pytest.raises(UsageError, match="File name"):
        radio.attach(None, name, b"x")


def test_an_attachment_to_an_unknown_variant_is_refused(radio: ProjectFile):
    with pytest.raises(DataError, match=re.escape("Variant '9' is not in this project; there are 1, 2 and shop.")):
        radio.attach("9", "photo.jpg", b"x")
    assert not radio.files_folder.exists()


def test_a_folder_that_cannot_be_made_is_one_sentence(radio: ProjectFile):
    radio.files_folder.write_text("in the way")
    with pytest.raises(StoreError, match="cannot take the attachment"):
        radio.attach("1", "photo.jpg", b"x")


def test_a_suggestion_comes_back_with_its_prediction(radio: ProjectFile):
    """Numbers in full, what is not finite as nothing, numpy numbers as plain ones."""
    import numpy as np

    body = {
        "kind": "improve",
        "settings": {"vents": 5},
        "mean": 0.1 + 0.2,
        "low": float("nan"),
        "draws": np.array([1.5, np.nan]),
    }
    entry = radio.add_suggestion(body)
    (row,) = radio.suggestions()
    assert row["at"].date() == entry.at.date()
    assert {key: row[key] for key in body} == {**body, "low": None, "draws": [1.5, None]}
    assert entry.summary == "suggested improve: vents 5"
    on = {"kind": "learn", "unit": "body A", "settings": {"wool": 25.0, "feet": "cork"}}
    assert radio.add_suggestion(on).summary == "suggested learn on body A: wool 25, feet cork"
    assert radio.add_suggestion({**on, "unit": "new"}).summary == "suggested learn as a new unit: wool 25, feet cork"


def test_a_suggestion_that_is_no_table_is_refused(radio: ProjectFile):
    with pytest.raises(UsageError, match="A suggestion must be a table of numbers and text"):
        radio.add_suggestion({"what": object()})


def test_a_backup_is_the_whole_project(radio: ProjectFile, tmp_path: Path):
    """Content, history, numbers and attachments; and it goes on from there on its own."""
    radio.attach("2", "photo.jpg", b"light")
    radio.correct_reading(1, value=1)
    copy = ProjectFile.open(radio.backup(tmp_path / "it's a copy.duckdb"))
    assert copy.fingerprint() == radio.fingerprint()
    assert copy.history() == radio.history()
    assert copy.check() == []
    copy.take_back(copy.history()[-1].id)
    assert copy.readings()[0]["value"] == -3.25
    assert radio.readings()[0]["value"] == 1


def test_a_backup_replaces_nothing(radio: ProjectFile, tmp_path: Path):
    target = tmp_path / "copy.duckdb"
    target.write_text("mine")
    with pytest.raises(StoreError, match="exists already"):
        radio.backup(target)
    assert target.read_text() == "mine"


def test_a_backup_keeps_other_programs_out_while_it_is_made(radio: ProjectFile, tmp_path: Path):
    """The lock on the file is still there after a backup has read it (POSIX locks end with any close of the file)."""
    radio.backup(tmp_path / "copy.duckdb")
    with duckdb.connect(str(radio.path)) as con:
        con.execute("SELECT 1")
        code = f"import duckdb; duckdb.connect({str(radio.path)!r})"
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert "Could not set lock" in done.stderr


def test_a_sound_project_has_no_problems(radio: ProjectFile):
    assert radio.check() == []


def test_check_finds_attachments_that_are_missing_or_altered(radio: ProjectFile):
    radio.attach("1", "a.txt", b"first")
    radio.attach("1", "b.txt", b"second")
    paths = [row["path"] for row in radio.attachments()]
    paths[0].unlink()
    paths[1].write_bytes(b"changed")
    assert radio.check() == [
        f"attachment 1 ('a.txt') is missing: {paths[0]} does not exist.",
        f"attachment 2 ('b.txt') was altered: {paths[1]} no longer has the content it was stored with.",
    ]


def test_check_lets_others_work_while_it_reads_files(radio: ProjectFile, monkeypatch: pytest.MonkeyPatch):
    """Recordings may take minutes to hash; whoever writes meanwhile must not wait for that."""
    radio.attach("1", "a.txt", b"first")
    other = threading.Thread(target=lambda: radio.add_unit(Unit("B")))

    def slowly(path: Path) -> str:
        other.start()
        other.join(timeout=10)
        assert not other.is_alive()
        return hashlib.sha256(path.read_bytes()).hexdigest()

    monkeypatch.setattr(attachments, "hash_of", slowly)
    assert radio.check() == []
    assert [unit.name for unit in radio.units()] == ["A", "B"]


@pytest.mark.parametrize(
    ("column", "text", "sentence"),
    [
        ("sha256", "../../secret", "sha256 is '../../secret'; it must be 64 digits, 0 to 9 or a to f."),
        ("sha256", "A" * 64, f"sha256 is '{'A' * 64}'; it must be 64 digits, 0 to 9 or a to f."),
        ("filename", "../../evil.wav", "filename is '../../evil.wav'; it must be a bare file name."),
        ("filename", "..", "filename is '..'; it must be a bare file name."),
    ],
)
def test_an_attachment_that_points_elsewhere_is_left_out_and_told(
    radio: ProjectFile, tmp_path: Path, column: str, text: str, sentence: str
):
    """A project file that was received may hold anything; what is read and written stays in its folder."""
    (tmp_path / "secret").write_bytes(b"secret")
    radio.attach("1", "a.wav", b"first", note=attachments.TAKE)
    radio.attach("1", "b.txt", b"second")
    with duckdb.connect(str(radio.path)) as con:
        con.execute(f"UPDATE attachment SET {column} = ? WHERE id = 1", [text])
    assert [row["filename"] for row in radio.attachments()] == ["b.txt"]
    assert radio.check() == [f"attachment 1: {sentence} It is left out."]
    with kept_takes(radio, [], radio.variants()) as kept:
        assert not kept.takes
    radio.backup(tmp_path / "copy.duckdb")
    radio.export(tmp_path / "out")
    for folder in (tmp_path / "copy.files", tmp_path / "out" / "files"):
        assert [path.read_bytes() for path in folder.iterdir()] == [b"second"]


def test_a_computation_that_points_elsewhere_is_left_out_and_told(radio: ProjectFile, tmp_path: Path):
    path = tmp_path / "take.txt"
    path.write_bytes(b"bytes")
    digest = attachments.hash_of(path)
    how = Computation("band_level", 1, {}, digest, {})
    radio.add_measured([(Reading("1", "bass", 1.0), how)], [KeptFile(path, digest, "1", attachments.TAKE)], "1")
    with duckdb.connect(str(radio.path)) as con:
        con.execute("UPDATE attachment SET filename = '../x'")
    assert [row["filename"] for row in radio.computations()] == [None]
    with duckdb.connect(str(radio.path)) as con:
        con.execute("UPDATE measurement SET sha256 = '../take.txt'")
    assert radio.computations() == []
    assert "Reading 5: sha256 of its file is '../take.txt'; it must be 64 digits, 0 to 9 or a to f." in radio.check()


def test_an_attachment_that_cannot_be_written_leaves_nothing(radio: ProjectFile, monkeypatch: pytest.MonkeyPatch):
    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with refused(StoreError, f"{radio.files_folder} cannot take the attachment: No space left on device."):
        radio.attach("1", "photo.jpg", b"x")
    assert list(radio.files_folder.iterdir()) == []


@pytest.mark.slow
@pytest.mark.parametrize(
    ("damage", "sentence"),
    [
        ("UPDATE reading SET variant = 77 WHERE id = 1", "Reading 1 (entry 6): its variant is not in the project."),
        ("UPDATE reading SET versus = 77 WHERE id = 4", "Reading 4 (entry 6): its second variant is not in the project."),
        ("UPDATE reading SET session = 77 WHERE id = 3", "Reading 3 (entry 6): its session is not in the project."),
        ("UPDATE reading SET outcome = 77 WHERE id = 3", "Reading 3 (entry 6): its outcome is not in the project."),
        ("UPDATE reading SET value = 9 WHERE id = 3", "Reading 3: echo is 9; it must be a grade from 1 to 7."),
        ("UPDATE variant SET parent = 77 WHERE name = '2'", "Variant 2 (entry 4): its parent is not in the project."),
        ("UPDATE variant SET name = '1' WHERE name = '2'", "Two variants are called '1'."),
        ("UPDATE setting SET number = 99 WHERE entry = 4 AND number = 4",
         "Variant 2: vents is 99; it must be a whole number from 0 to 6."),
        ("DELETE FROM setting WHERE entry = 4 AND level = 'poly'",
         "Variant 2: driver has no value; say what it was before driver became a factor."),
    ],
)  # fmt: skip
def test_check_finds_records_that_do_not_fit(radio: ProjectFile, damage: str, sentence: str):
    """Each kind of damage done behind the store's back is found and named."""
    with duckdb.connect(str(radio.path)) as con:
        con.execute(damage)
    assert radio.check() == [sentence]


def test_what_hangs_in_the_air_is_called_by_its_name(radio: ProjectFile):
    """Names and numbers of records part once a name was given by hand: here the fourth variant is called 9."""
    radio.add_variant(Variant("9", {**SETTINGS, "vents": 5}, unit="A", parent="2"))
    with duckdb.connect(str(radio.path)) as con:
        con.execute("UPDATE variant SET parent = 77 WHERE name = '9'")
    assert any(problem.startswith("Variant 9 (entry 7): its parent is not") for problem in radio.check())


def test_several_suggestions_are_entries_of_their_own_and_all_stored_or_none(radio: ProjectFile):
    before = len(radio.history())
    entries = radio.add_suggestions([{"kind": "improve", "why": "first"}, {"kind": "learn", "why": "second"}])
    assert [entry.id for entry in entries] == [before + 1, before + 2]
    assert [kept["why"] for kept in radio.suggestions()] == ["first", "second"]
    with pytest.raises(UsageError):
        radio.add_suggestions([{"kind": "improve", "why": "third"}, {"kind": object()}])
    assert len(radio.suggestions()) == 2
    assert radio.add_suggestions([]) == []
