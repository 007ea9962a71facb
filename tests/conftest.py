from __future__ import annotations

import gc
import os
import shutil
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import settings

# Before numpy is imported: many small matrices, and threads of two test processes only get in each other's way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A shared machine has no deadline that a test could keep; more examples: pytest --hypothesis-profile=long. A test that wants
# more or fewer than others says so with `examples` of tests/strategies.py, in proportion to the profile
settings.register_profile("quick", deadline=None, max_examples=10)
settings.register_profile("short", deadline=None, max_examples=20)
settings.register_profile("long", deadline=None, max_examples=1000)
settings.load_profile("short")

DOORS = ("cli", "web", "sheets")


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Look for no garbage while tests are collected: what is made stays, and looking through it took a third of the time."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what goes through a door: the command line, the pages, the sheets."""
    tests = Path(__file__).parent
    for item in items:
        if item.path.relative_to(tests).parts[0] in DOORS:
            item.add_marker(pytest.mark.doors)


@pytest.fixture(scope="session")
def cleared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for all tests of one process that clear it before they use it."""
    return tmp_path_factory.mktemp("cleared")


@pytest.fixture
def desk(cleared: Path) -> Path:
    """An empty folder that was another test's before, so that the database engine that waits for a project there is used again.

    Starting one takes 13 milliseconds of processor time, most of what a small test of a project takes. A folder of tests says
    that its `tmp_path` is this one.
    """
    for left in cleared.iterdir():
        shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()
    return cleared
