import shutil

import pytest

from doe.cli.main import main
from doe.guides.demos import demo_folder
from doe.project import Project
from doe.store import ProjectFile
from tests.cli.running import Done

SETUP = """\
title = "Test rig"
[effort]
new_unit_minutes = 100
session_minutes = 10
reading_minutes = 5
[[factor]]
name = "vents"
kind = "count"
low = 0
high = 6
way = "up"
minutes = 12
[[factor]]
name = "rings"
kind = "count"
low = 7
high = 12
way = "rebuild"
[[factor]]
name = "wool"
low = 0
high = 60
step = 5
unit = "%"
minutes = 8
[[factor]]
name = "driver"
kind = "categorical"
levels = ["paper", "poly", "bamboo"]
minutes = 25
[[outcome]]
name = "bass"
unit = "dB"
goal = "hit"
target = 0
worst = 6
matters = 1.0
[[outcome]]
name = "echo"
kind = "rated"
scale = [1, 7]
goal = "lower"
[[outcome]]
name = "clarity"
kind = "compared"
[[derived]]
name = "inner_air"
expression = "rings * 42 - wool * 2.1"
unit = "cm3"
[[limit]]
rule = "inner_air >= 180"
note = "the magnet needs the room"
"""


@pytest.fixture
def tmp_path(desk):
    """The folder that is used again and again."""
    return desk


@pytest.fixture
def fettle(tmp_path, monkeypatch, capsys):
    """Run a command in this process, in the test's own folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FETTLE_PROJECT", raising=False)
    monkeypatch.delenv("FETTLE_DEBUG", raising=False)

    def run(*words):
        capsys.readouterr()
        code = main([str(word) for word in words])
        seen = capsys.readouterr()
        return Done(code, seen.out, seen.err)

    return run


@pytest.fixture(scope="session")
def made_once(tmp_path_factory):
    """A folder with a project of three variants on two units, and a few readings."""
    folder = tmp_path_factory.mktemp("rig")
    (folder / "setup.toml").write_text(SETUP, encoding="utf-8")
    here = ["--project", folder / "rig.duckdb"]
    for words in (
        ["init", folder / "rig", "--setup", folder / "setup.toml"],
        ["log", "vents=2", "rings=9", "wool=0", "driver=paper", "--new-unit", "body A", *here],
        ["log", "wool=30", *here],
        ["log", "--new-unit", "body B", "--from", "1", "rings=11", "driver=poly", *here],
        ["read", "1", "bass=4.1", "bass=3.9", "--session", "Tuesday", *here],
        ["read", "2", "echo=3", "--session", "Tuesday", "--rater", "Ann", "--order", "2", *here],
    ):
        assert main([str(word) for word in words]) == 0
    return folder


@pytest.fixture
def rig(made_once, tmp_path):
    """A copy of that project in the test's own folder."""
    shutil.copy(made_once / "rig.duckdb", tmp_path / "rig.duckdb")
    return tmp_path / "rig.duckdb"


@pytest.fixture
def unharmed(rig, tmp_path_factory):
    """Check after the test that the project holds what it held before; where not a byte of it changed, that is sure."""
    kept = tmp_path_factory.mktemp("kept") / rig.name
    shutil.copy(rig, kept)
    yield
    if rig.read_bytes() != kept.read_bytes() or rig.with_suffix(".duckdb.wal").exists():
        before, after = ProjectFile.open(kept), ProjectFile.open(rig)
        assert (after.fingerprint(), after.history()) == (before.fingerprint(), before.history())
        assert after.check() == []
    assert not rig.with_suffix(".files").exists()


@pytest.fixture(scope="session")
def radio_once(tmp_path_factory):
    """The log of the invented radio, for tests that only read it or make a copy."""
    folder = tmp_path_factory.mktemp("radio")
    project = Project.create(folder / "radio.duckdb", demo_folder("radio") / "setup.toml")
    project.import_log(demo_folder("radio") / "log.csv")
    return folder / "radio.duckdb"


@pytest.fixture
def radio(radio_once, tmp_path):
    """A project of that log, of the test's own."""
    return Project.open(shutil.copy(radio_once, tmp_path / "radio.duckdb"))
