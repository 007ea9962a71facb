"""Whole commands against the imports that they cannot do without, as ratios within one run.

Each pair is timed in turn and the fastest of each is compared, so that a busy machine slows both alike. What a command loads
is tested in `tests/cli/test_loaded.py`.
"""

import shutil
import subprocess
import sys
import time

import pytest

from tests.benchmarks.in_turn import fastest_in_turn
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


def ratio(command, yardstick, cwd, at_most):
    """Return the fastest run of a command over the fastest run of bare imports."""
    own, theirs = fastest_in_turn(
        lambda: seconds(command, cwd), lambda: seconds(["-c", yardstick], cwd), at_most=at_most, rounds=ROUNDS
    )
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
    assert ratio(fettle(*words), "import duckdb", demo, at_most=4.0) <= 4.0


def test_analysing_an_outcome_takes_at_most_twice_the_imports_of_an_analysis(demo):
    """All three outcomes of the demo in one command."""
    yardstick = "import duckdb, pandas, scipy.stats, scipy.optimize"
    assert ratio(fettle("analyse"), yardstick, demo, at_most=2.0) <= 2.0


def test_the_next_change_takes_at_most_two_and_a_half_times_the_imports_of_an_analysis(demo, tmp_path):
    shutil.copy(demo / "radio.duckdb", tmp_path / "radio.duckdb")
    yardstick = "import duckdb, pandas, scipy.stats, scipy.optimize"
    assert ratio(fettle("next"), yardstick, tmp_path, at_most=2.5) <= 2.5
