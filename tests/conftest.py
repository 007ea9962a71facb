from __future__ import annotations

import os
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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what goes through a door: the command line, the pages, the sheets."""
    tests = Path(__file__).parent
    for item in items:
        if item.path.relative_to(tests).parts[0] in DOORS:
            item.add_marker(pytest.mark.doors)
