from __future__ import annotations

import doctest
import importlib
import pkgutil
import subprocess
import sys

import pytest

import doe.model

MODULES = sorted(f"doe.model.{module.name}" for module in pkgutil.iter_modules(doe.model.__path__))


@pytest.mark.parametrize("name", [*MODULES, "doe.coding"])
def test_examples_in_docstrings_are_true(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_at_least_the_words_have_examples() -> None:
    """The check above is not empty."""
    assert doctest.testmod(importlib.import_module("doe.model.wording")).attempted >= 4


def test_the_model_needs_no_array_library() -> None:
    """Floor 0 can be imported, and a single variant checked, without NumPy, pandas or DuckDB."""
    program = (
        f"import sys, {', '.join(MODULES)}\n"
        "assert doe.model.limit.broken_limits({'a': 3, 'b': 'x'}, [doe.model.limit.Limit(\"sqrt(a) < 1 and b == 'x'\")])\n"
        "print(sorted({'numpy', 'pandas', 'duckdb'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
