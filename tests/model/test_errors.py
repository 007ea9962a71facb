from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import (
    DataError,
    FettleError,
    FitError,
    ImportProblems,
    Problem,
    StoreError,
    UsageError,
    did_you_mean,
    listed,
    shown,
)


@pytest.mark.parametrize(
    ("kind", "built_in"),
    [(UsageError, ValueError), (DataError, ValueError), (FitError, ValueError), (StoreError, OSError)],
)
def test_callers_need_not_know_our_classes(kind: type[FettleError], built_in: type[Exception]) -> None:
    """Each branch is a FettleError and the built-in error that fits it, and shows its message alone."""
    error = kind("the sentence")
    assert isinstance(error, FettleError)
    assert isinstance(error, built_in)
    assert str(error) == "the sentence"


def test_import_problems_name_every_cell() -> None:
    """A refused log lists all bad cells, with line, column, value and what is allowed."""
    problems = [
        Problem(3, "Vents", "seven", "must be a whole number from 0 to 6"),
        Problem(4, "Wool", "", "must be a number from 0 to 60"),
        Problem(0, "", "", "has no column for wool"),
    ]
    assert str(ImportProblems("log.csv", problems)) == (
        "log.csv was not imported, nothing was stored: 3 cells to put right.\n"
        "  line 3, column 'Vents': 'seven' - must be a whole number from 0 to 6\n"
        "  line 4, column 'Wool': empty - must be a number from 0 to 60\n"
        "  the file: empty - has no column for wool"
    )


def test_one_problem_is_one_cell() -> None:
    error = ImportProblems("log.csv", [Problem(2, "a", "x", "must be a number")])
    assert str(error).splitlines()[0] == "log.csv was not imported, nothing was stored: 1 cell to put right."
    assert isinstance(error, DataError)


@pytest.mark.parametrize(
    ("names", "text"),
    [([], ""), (["a"], "a"), (["a", "b"], "a or b"), (["a", "b", "c"], "a, b or c"), ([1, 2], "1 or 2")],
)
def test_names_are_listed_as_a_person_would(names: list[object], text: str) -> None:
    assert listed(names) == text
    assert listed(names, "and") == text.replace(" or ", " and ")


def test_near_names_are_suggested_whatever_their_capitals() -> None:
    known = ["Wool", "vents", "driver"]
    assert did_you_mean("wol", known) == " Did you mean 'Wool'?"
    assert did_you_mean("VENT", known) == " Did you mean 'vents'?"
    assert did_you_mean("rings", known) == ""
    assert did_you_mean("x", []) == ""


@given(st.text() | st.integers() | st.floats() | st.binary())
def test_a_quoted_value_stays_on_one_line_and_short(value: object) -> None:
    """Whatever is quoted in a message cannot break the sentence, hide text or fill the screen."""
    text = shown(value, 40)
    assert len(text) <= 40
    assert text.isprintable()


def test_a_huge_whole_number_can_be_quoted() -> None:
    assert shown(10**5000) == "a very long number"
