"""A moment's look into a project file, against starting the database anew as each would have to otherwise."""

import tempfile
from functools import cache
from pathlib import Path

import duckdb
import pytest

from doe.model.setup import Setup
from doe.store import ProjectFile
from tests.benchmarks.test_fit_speed import fastest

pytestmark = pytest.mark.slow

TARGET = 0.5


@cache
def look_over_start() -> float:
    """Ratio of reading the title of a small project to opening and closing a database in memory."""
    with tempfile.TemporaryDirectory() as folder:
        file = ProjectFile.create(Path(folder) / "small.duckdb", Setup(title="Small"))
        look = fastest(file.setup, 30)
        start = fastest(lambda: duckdb.connect(config={"threads": 1}).close(), 30)
    return look / start


def figures():
    """Measure what is promised."""
    return [
        {
            "check": "a look at the setup over starting the database",
            "ours": look_over_start(),
            "target": f"at most {TARGET:g}",
        }
    ]


def test_a_look_takes_at_most_half_of_starting_the_database():
    assert look_over_start() <= TARGET
