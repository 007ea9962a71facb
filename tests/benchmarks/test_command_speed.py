"""Whole commands against the imports that they cannot do without, as ratios within one run.

Each pair is timed in turn and the fastest of each is compared, so that a busy machine slows both alike.
"""

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.running import ROOT, environment

pytestmark = pytest.mark.slow

EXAMPLES = ROOT / "examples"
ROUNDS = 9


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The radio project with its log."""
    folder = tmp_path_factory.mktemp("speed")
    for words in (["init", "radio", "--setup", EXAMPLES / "radio/setup.toml"], ["import", EXAMPLES / "radio/log.csv"]):
        seconds(fettle(*words), folder)
    return folder


def fettle(*words):
    return ["-m", "doe.cli.main", *map(str, words)]


def seconds(words, cwd):
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], cwd=cwd, env=environment(), capture_output=True, check=True)
    return time.perf_counter() - start


def ratio(command, yardstick, cwd, rounds=ROUNDS):
    """Return the fastest run of a command over the fastest run of bare imports."""
    pairs = [(seconds(command, cwd), seconds(["-c", yardstick], cwd)) for _ in range(rounds)]
    own, theirs = min(pair[0] for pair in pairs), min(pair[1] for pair in pairs)
    print(f"\n{' '.join(command[2:4])}: {own:.3f} s, '{yardstick}': {theirs:.3f} s, ratio {own / theirs:.2f}")
    return own / theirs


@pytest.mark.parametrize(
    "words",
    [
        ("log", "--unit", "body C", "--again"),
        ("read", "21", "bass=1.5", "decay=70", "--session", "evening 7"),
    ],
)
def test_a_bench_command_takes_at_most_four_times_the_import_of_its_database(demo, words):
    assert ratio(fettle(*words), "import duckdb", demo) <= 4.0


def test_analysing_an_outcome_takes_at_most_twice_the_imports_of_an_analysis(demo):
    """All three outcomes of the demo in one command."""
    yardstick = "import duckdb, pandas, scipy.stats, scipy.optimize"
    assert ratio(fettle("analyse"), yardstick, demo, rounds=5) <= 2.0


def test_the_next_change_takes_at_most_two_and_a_half_times_the_imports_of_an_analysis(demo, tmp_path):
    shutil.copy(demo / "radio.duckdb", tmp_path / "radio.duckdb")
    yardstick = "import duckdb, pandas, scipy.stats, scipy.optimize"
    assert ratio(fettle("next"), yardstick, tmp_path, rounds=5) <= 2.5


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
    assert (Path(demo) / "bass.html").exists()
