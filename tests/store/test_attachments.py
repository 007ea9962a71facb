"""Files under the hash of their content."""

from pathlib import Path

from doe.store.attachments import hash_of, save, save_file


def test_a_kept_file_that_was_cut_short_is_written_anew(tmp_path: Path):
    """As by a disk that ran full: the same photo or take, given again, makes it whole."""
    folder, source = tmp_path / "files", tmp_path / "take.wav"
    source.write_bytes(b"whole")
    digest = save(folder, b"whole")
    for again in (lambda: save(folder, b"whole"), lambda: save_file(folder, source, digest)):
        (folder / digest).write_bytes(b"who")
        again()
        assert hash_of(folder / digest) == digest
    assert [path.name for path in folder.iterdir()] == [digest]
