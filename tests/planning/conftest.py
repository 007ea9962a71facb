import pytest

import doe
from doe.model.records import Unit

FACTORS = [
    doe.Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    doe.Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    doe.Factor("wool", low=0, high=60, step=5, unit="%", minutes=8),
    doe.Factor("driver", kind="categorical", levels=["paper", "poly"], minutes=25),
]
OUTCOMES = [
    doe.Outcome("bass", unit="dB", goal="raise", best=6, worst=0, matters=1.0),
    doe.Outcome("echo", kind="rated", scale=(1, 7), goal="lower", matters=0.5),
    doe.Outcome("nicer", kind="compared"),
]
SETTINGS = {"vents": 2, "rings": 9, "wool": 20.0, "driver": "poly"}
SETUP = doe.Setup(title="Radio", factors=FACTORS, outcomes=OUTCOMES, effort=doe.Effort(100, 10, 5))


@pytest.fixture
def tmp_path(desk):
    """The folder that is used again and again."""
    return desk


@pytest.fixture(scope="session")
def template(tmp_path_factory):
    """A project with one unit that carries variant 1, and nothing read."""
    project = doe.create(tmp_path_factory.mktemp("radio") / "radio.duckdb", SETUP)
    project.file.add_unit(Unit("A"))
    project.log(SETTINGS, unit="A")
    return project.path


@pytest.fixture
def radio(template, tmp_path):
    path = tmp_path / "radio.duckdb"
    path.write_bytes(template.read_bytes())
    return doe.open(path)
