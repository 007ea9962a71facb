import ast
import importlib
import re
import subprocess
import sys
from pathlib import Path

import pytest

import doe
from doe.advise.confirm import Confirmation
from doe.advise.confirm_size import ConfirmationPlan
from doe.advise.equivalents import Equivalents
from doe.advise.tolerance import Tolerances
from doe.advise.track import Track
from doe.rehearse.answer import Rehearsal

SOURCE = Path(doe.__file__)


def typed_names():
    """Return the names that type checkers see: those imported under TYPE_CHECKING."""
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    return {alias.asname: node.module for node in block.body for alias in node.names}


def test_the_public_names_are_sorted_and_each_can_be_had():
    assert doe.__all__ == sorted(doe.__all__)
    assert [name for name in doe.__all__ if getattr(doe, name, None) is None] == []


def test_type_checkers_and_users_see_the_same_names():
    """What is imported lazily, what is listed and what is typed are one list, each from the same home."""
    assert typed_names() == doe._HOMES
    assert sorted(doe._HOMES) == doe.__all__


@pytest.mark.parametrize("name", doe.__all__)
def test_a_name_is_the_very_object_of_its_home(name):
    assert getattr(doe, name) is getattr(importlib.import_module(doe._HOMES[name]), name)


def test_every_public_member_explains_itself():
    assert [name for name in doe.__all__ if not (getattr(doe, name).__doc__ or "").strip()] == []


def test_an_unknown_name_is_refused_as_python_does_it():
    with pytest.raises(AttributeError, match=re.escape("module 'doe' has no attribute 'analyze'")):
        doe.analyze  # noqa: B018


def test_names_show_before_they_are_loaded():
    """Completion in a notebook lists what has not been imported yet."""
    code = (
        "import doe, sys; names = dir(doe); print(all(name in names for name in doe.__all__), 'numpy' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=SOURCE.parents[1], check=True
    )
    assert done.stdout.split() == ["True", "False"]


@pytest.mark.parametrize("kind", [doe.Advice, doe.Effects, doe.Plan, doe.PlanChoice, doe.Route, Track, Confirmation,
                                  ConfirmationPlan, Equivalents, Tolerances, Rehearsal])  # fmt: skip
def test_a_result_is_equal_to_itself_only_and_may_stand_in_a_set(kind):
    """Results hold frames, which have no single yes or no: field by field, ``==`` ended in a ValueError of pandas."""
    assert kind.__eq__ is object.__eq__
    assert kind.__hash__ is object.__hash__
