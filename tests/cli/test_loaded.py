"""What a command loads: nothing heavy that it does not use, since loading is most of its time."""

import subprocess
import sys

import pytest

from doe.guides.demos import demo_folder
from doe.project import Project
from tests.cli.running import environment


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A folder with the radio project and its log."""
    folder = tmp_path_factory.mktemp("loaded")
    project = Project.create(folder / "radio.duckdb", demo_folder("radio") / "setup.toml")
    project.import_log(demo_folder("radio") / "log.csv")
    return folder


def loaded_by(words, cwd):
    """Return the modules that a command has loaded when it is done."""
    code = f"from doe.cli.main import main; main({list(map(str, words))!r}); import sys; print(*sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=cwd, env=environment(), capture_output=True, text=True, check=True
    )
    return set(done.stderr.splitlines()[-1].split())


@pytest.mark.parametrize(
    ("words", "absent"),
    [
        (
            ("log", "--unit", "body B", "--again"),
            "numpy pandas scipy sklearn statsmodels plotly jinja2 openpyxl pyarrow",
        ),
        (("read", "21", "bass=1.4"), "numpy pandas scipy sklearn statsmodels plotly jinja2 openpyxl pyarrow"),
        (("show", "21"), "numpy pandas scipy sklearn statsmodels plotly"),
        (("factor",), "numpy pandas scipy sklearn statsmodels plotly"),
        (("check",), "scipy sklearn statsmodels plotly"),
        (("export", "tables"), "scipy sklearn statsmodels plotly"),
        (("analyse", "bass"), "plotly statsmodels sklearn scipy.stats jinja2"),
        (("next",), "plotly statsmodels sklearn jinja2"),
        (("analyse", "--help"), "duckdb numpy pandas"),
        (("measure", "--help"), "duckdb numpy scipy soundfile"),
        (("measure", "--recipes"), "duckdb pandas plotly"),
        (("estimate",), "duckdb pandas plotly soundfile"),
        (("log", "--unit", "body B", "--again"), "doe.signals doe.measuring"),
        (("read", "21", "bass=1.3"), "doe.signals doe.measuring"),
    ],
)
def test_a_command_loads_nothing_heavy_that_it_does_not_use(demo, words, absent):
    assert sorted(loaded_by(words, demo) & set(absent.split())) == []


def test_the_check_sees_what_is_loaded(demo):
    """Drawing does need plotly; otherwise the check above could not fail."""
    assert "plotly" in loaded_by(("analyse", "bass", "--plot", "bass.html"), demo)
    assert (demo / "bass.html").exists()
