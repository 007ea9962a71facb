"""Kept files are laid out under their own names, and nowhere else."""

import pytest

from doe.measuring.takes import under_its_name
from doe.model.errors import DataError
from tests.refusing import refused


def test_a_file_is_laid_out_under_its_own_name(tmp_path):
    (tmp_path / "kept").write_bytes(b"sound")
    path = under_its_name(tmp_path / "kept", "take 1.wav", tmp_path / "out")
    assert (path.name, path.read_bytes()) == ("take 1.wav", b"sound")


@pytest.mark.parametrize("name", ["../take.wav", "..", ".", "a/b.wav", "a\\b.wav", "/etc/take.wav", "", "two\nlines"])
def test_a_name_that_leads_elsewhere_is_refused(tmp_path, name):
    (tmp_path / "kept").write_bytes(b"sound")
    with refused(DataError, f"'{name.replace(chr(10), ' ')}' must be a bare file name to be measured under."):
        under_its_name(tmp_path / "kept", name, tmp_path / "deep" / "out")
    assert [path.name for path in tmp_path.rglob("*")] == ["kept"]
