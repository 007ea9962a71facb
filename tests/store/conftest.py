import shutil
from pathlib import Path

import pytest

from doe.model.records import Reading, Unit, Variant
from doe.store import ProjectFile
from tests.store.radio import RADIO, SETTINGS


@pytest.fixture
def tmp_path(desk: Path) -> Path:
    """The folder that is used again and again."""
    return desk


@pytest.fixture(scope="session")
def templates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the two projects that tests start from, made once."""
    folder = tmp_path_factory.mktemp("templates")
    ProjectFile.create(folder / "empty.duckdb", RADIO)
    shutil.copyfile(folder / "empty.duckdb", folder / "radio.duckdb")
    f = ProjectFile.open(folder / "radio.duckdb")
    f.add_unit(Unit("A"))
    f.add_variant(Variant("1", SETTINGS, unit="A"))
    f.add_variant(Variant("2", {**SETTINGS, "vents": 4}, unit="A", parent="1", minutes=20, note="fuller"))
    f.add_variant(Variant("shop"))
    f.add_readings(
        [
            Reading("1", "bass", -3.25, session="Tuesday", rater="mic", order=1),
            Reading("2", "bass", -1.0, session="Tuesday", rater="mic", order=2),
            Reading("shop", "echo", 2, session="Tuesday", rater="Ann"),
            Reading("2", "nicer", 1, versus="1", rater="Ann"),
        ]
    )
    return folder


@pytest.fixture
def empty(tmp_path: Path, templates: Path) -> ProjectFile:
    """A project with definitions and no records."""
    return ProjectFile.open(shutil.copyfile(templates / "empty.duckdb", tmp_path / "radio.duckdb"))


@pytest.fixture
def radio(tmp_path: Path, templates: Path) -> ProjectFile:
    """A project with one unit, two variants on it, a reference object and four readings."""
    return ProjectFile.open(shutil.copyfile(templates / "radio.duckdb", tmp_path / "radio.duckdb"))
