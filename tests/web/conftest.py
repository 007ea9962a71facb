import hashlib
import shutil

import pytest

from doe.project import Project
from doe.store import ProjectFile
from doe.store.setup_file import read_setup
from doe.web import Settings, create_app
from doe.web.desk import Desk
from doe.web.thinking import Known
from tests.cli.conftest import SETUP
from tests.web.client import Visitor


@pytest.fixture(scope="session")
def rig_once(tmp_path_factory):
    """A project of three variants on two units, with a few readings."""
    folder = tmp_path_factory.mktemp("web")
    (folder / "setup.toml").write_text(SETUP, encoding="utf-8")
    project = Project.create(folder / "rig.duckdb", read_setup(folder / "setup.toml"))
    project.log({"vents": 2, "rings": 9, "wool": 0, "driver": "paper"}, new_unit="body A")
    project.log({"wool": 30}, unit="body A")
    project.log({"rings": 11, "driver": "poly"}, new_unit="body B", start="1")
    project.read("1", [("bass", 4.1), ("bass", 3.9)], session="Tuesday")
    project.read("2", [("echo", 3)], session="Tuesday", rater="Ann", order=2)
    return project.path


@pytest.fixture
def path(rig_once, tmp_path):
    shutil.copy(rig_once, tmp_path / "rig.duckdb")
    return tmp_path / "rig.duckdb"


class NoThinker:
    """Stands in for the analyses where a test is not about them."""

    def ask(self, *_):
        return Known(None, is_fresh=False, is_working=False)

    def last(self, *_):
        return self.ask()

    def cancel(self):
        pass

    def again(self):
        pass


@pytest.fixture(scope="package", autouse=True)
def fingerprint_once():
    """A project that is byte for byte as one was before has its fingerprint, which most tests here ask for twice."""
    kept, take = {}, ProjectFile.fingerprint

    def remembered(file):
        late = file.path.with_name(file.path.name + ".wal")
        held = (file.path.read_bytes(), late.read_bytes() if late.exists() else b"")
        key = (*(hashlib.sha256(part).digest() for part in held), *sorted(file.files_folder.glob("*")))
        if key not in kept:
            kept[key] = take(file)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ProjectFile, "fingerprint", remembered)
        yield


@pytest.fixture(scope="session")
def app_once(rig_once):
    return create_app(rig_once)


@pytest.fixture
def app(app_once, path):
    """The app at a desk of the test's own; putting it together anew for each test would take longer than the tests."""
    app_once.state.desk = Desk(path, Settings(folder=path.parent))
    app_once.state.desk.thinker = NoThinker()
    return app_once


@pytest.fixture
def visitor(app):
    return Visitor(app)


@pytest.fixture
def thoughtful(app_once, path):
    """A visitor of an app that analyses."""
    app_once.state.desk = Desk(path, Settings(folder=path.parent, patience_s=20.0))
    return Visitor(app_once)


@pytest.fixture
def project(path):
    return Project.open(path)
