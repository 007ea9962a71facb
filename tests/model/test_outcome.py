from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.model.outcome import MOST_READ, Outcome
from tests.refusing import refused
from tests.strategies import outcomes

INF = math.inf
ENDS: list[tuple[dict[str, Any], tuple[float, float], tuple[float, float]]] = [
    ({}, (-INF, INF), (-INF, INF)),
    ({"goal": "raise", "best": 9, "worst": 2}, (9, INF), (2, INF)),
    ({"goal": "lower", "best": 2, "worst": 9}, (-INF, 2), (-INF, 9)),
    ({"goal": "hit", "target": 3, "worst": 5}, (3, 3), (1, 5)),
    ({"goal": "hit", "target": 3, "worst": 1}, (3, 3), (1, 5)),
    ({"goal": "hit", "target": 3, "worst": (0, 9)}, (3, 3), (0, 9)),
    ({"goal": "within", "low": 1, "high": 3}, (1, 3), (-1, 5)),
    ({"goal": "within", "low": 1, "high": 3, "worst": 4}, (1, 3), (0, 4)),
    ({"goal": "within", "low": 1, "high": 3, "worst": -2}, (1, 3), (-2, 6)),
    ({"goal": "within", "low": 1, "high": 3, "worst": (0, 9)}, (1, 3), (0, 9)),
]


@pytest.mark.parametrize(("fields", "inner", "outer"), ENDS)
def test_where_nothing_and_everything_is_lost(
    fields: dict[str, Any], inner: tuple[float, float], outer: tuple[float, float]
) -> None:
    """A single worst value of `hit` and `within` counts on both sides, at the same distance."""
    outcome = Outcome("x", **fields)
    assert (outcome.inner, outcome.outer) == (inner, outer)


@given(outcomes())
def test_nothing_is_worth_more_outside_than_inside(outcome: Outcome) -> None:
    (low, high), (worst_low, worst_high) = outcome.inner, outcome.outer
    assert low <= high
    if outcome.goal is not None:
        assert worst_low < low or outcome.goal == "lower"
        assert worst_high > high or outcome.goal == "raise"


@pytest.mark.parametrize(("goal", "best", "worst"), [("raise", 7, 1), ("lower", 1, 7)])
def test_a_rated_outcome_takes_the_ends_of_its_scale(goal: Any, best: float, worst: float) -> None:
    """Of differences from a reference object, on a scale from 1 to 7, the ends are 6 below and 6 above."""
    outcome = Outcome("echo", "rated", scale=[1, 7], goal=goal)
    assert (outcome.best, outcome.worst) == (best, worst)
    outcome = Outcome("echo", "rated", scale=[1, 7], goal=goal, relative_to="shop radio")
    assert (outcome.best, outcome.worst) == (best - worst, worst - best)


def test_definitions_take_the_types_that_arrays_hold() -> None:
    plain = Outcome("x", "rated", scale=[1, 7], goal="within", low=3, high=5, worst=[2, 6], matters=1, weight=2)
    arrays = Outcome(
        "x",
        "rated",
        scale=np.array([1, 7]),  # type: ignore[arg-type]
        goal="within",
        low=np.int64(3),
        high=np.float32(5),
        worst=np.array([2.0, 6.0]),  # type: ignore[arg-type]
        matters=np.float32(1),
        weight=np.int64(2),
    )
    assert arrays == plain
    assert (type(arrays.matters), type(arrays.weight), arrays.worst) == (float, float, (2.0, 6.0))


BAD: list[tuple[dict[str, Any], str]] = [
    ({"kind": "x"}, "Outcome 'x': kind is 'x'; it must be measured, rated or compared."),
    ({"goal": "rise"}, "Outcome 'x': goal is 'rise'; it must be raise, lower, hit or within. Did you mean 'raise'?"),
    ({"weight": -1}, "Outcome 'x': weight is -1; it must be 0 or more."),
    ({"matters": 0}, "Outcome 'x': matters is 0; it must be more than 0."),
    ({"matters": "1"}, "Outcome 'x': matters is '1'; it must be a finite number."),
    ({"scale": [1, 7]}, "Outcome 'x' is measured; only rated outcomes have a scale."),
    ({"kind": "rated"}, "Outcome 'x' is rated: give the scale from low to high, such as scale = [1, 7]."),
    (
        {"kind": "rated", "scale": [7, 1]},
        "Outcome 'x' is rated: give the scale from low to high, such as scale = [1, 7].",
    ),
    ({"kind": "rated", "scale": "17"}, "Outcome 'x': scale is '17'; it must be two numbers."),
    ({"kind": "rated", "scale": [1, 4, 7]}, "Outcome 'x': scale is '[1, 4, 7]'; it must be two numbers."),
    ({"kind": "rated", "scale": [1, None]}, "Outcome 'x': scale is 'None'; it must be a finite number."),
    ({"best": 3}, "Outcome 'x': best does not fit, since it has no goal."),
    ({"worst": 3}, "Outcome 'x': worst does not fit, since it has no goal."),
    ({"goal": "hit", "best": 3}, "Outcome 'x': best does not fit, since goal hit uses target."),
    ({"goal": "raise", "low": 3}, "Outcome 'x': low does not fit, since goal raise uses best."),
    ({"goal": "within", "target": 3}, "Outcome 'x': target does not fit, since goal within uses low and high."),
    ({"goal": "raise"}, "Outcome 'x' has goal raise: give one best and one worst value."),
    (
        {"kind": "compared", "goal": "raise"},
        "Outcome 'x' has goal raise: give one best and one worst value, where 0 is a usual variant, and 1 more wins 73 % of "
        "comparisons, 2 more 88 %.",  # 1 / (1 + exp(-1)) and 1 / (1 + exp(-2))
    ),
    ({"goal": "raise", "best": 3}, "Outcome 'x' has goal raise: give one best and one worst value."),
    ({"goal": "raise", "best": 3, "worst": [1, 2]}, "Outcome 'x' has goal raise: give one best and one worst value."),
    ({"goal": "raise", "best": 3, "worst": "low"}, "Outcome 'x': worst is 'low'; it must be a finite number."),
    ({"goal": "raise", "best": 3, "worst": 3}, "Outcome 'x' has goal raise: worst (3) must be below best (3)."),
    ({"goal": "raise", "best": 3, "worst": 4}, "Outcome 'x' has goal raise: worst (4) must be below best (3)."),
    ({"goal": "lower", "best": 3, "worst": 2}, "Outcome 'x' has goal lower: worst (2) must be above best (3)."),
    ({"goal": "hit"}, "Outcome 'x' has goal hit: give target."),
    ({"goal": "hit", "target": 3}, "Outcome 'x' has goal hit: give worst, the value at which it is worth nothing."),
    ({"goal": "hit", "target": 3, "worst": 3}, "Outcome 'x': worst (3) must lie away from target (3)."),
    (
        {"goal": "hit", "target": 3, "worst": [4, 9]},
        "Outcome 'x': worst (4 and 9) must lie on both sides of target (3).",
    ),
    ({"goal": "hit", "target": 3, "worst": "9"}, "Outcome 'x': worst is '9'; it must be a finite number."),
    ({"goal": "hit", "target": 3, "worst": [1]}, "Outcome 'x': worst is '[1]'; it must be two numbers."),
    ({"goal": "within", "low": 3}, "Outcome 'x' has goal within: give low and high."),
    ({"goal": "within", "low": 3, "high": 3}, "Outcome 'x' has goal within: low (3) must be below high (3)."),
    ({"goal": "within", "low": 1, "high": 3, "worst": 2}, "Outcome 'x': worst (2) must lie outside 1 to 3."),
    ({"goal": "within", "low": 1, "high": 3, "worst": 3}, "Outcome 'x': worst (3) must lie outside 1 to 3."),
    (
        {"goal": "within", "low": 1, "high": 3, "worst": [0, 3]},
        "Outcome 'x': worst (0 and 3) must lie on both sides of 1 to 3.",
    ),
    ({"recipe": 3}, "Outcome 'x': recipe must be a table of keys and values."),
]


@pytest.mark.parametrize(("fields", "message"), BAD)
def test_a_definition_that_contradicts_itself_is_refused(fields: dict[str, Any], message: str) -> None:
    with refused(UsageError, message):
        Outcome("x", **fields)


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"goal": "lower", "best": 0, "worst": 9}, "best (0) and worst (9) lie"),
        ({"goal": "hit", "target": 4, "worst": [1, 8]}, "worst (1 and 8) lies"),
        ({"goal": "within", "low": 0.5, "high": 3, "worst": 7}, "low (0.5) lies"),
    ],
)
def test_a_goal_that_no_grade_reaches_is_refused(fields: dict[str, Any], told: str) -> None:
    said = f"Outcome 'x': {told} beyond its scale from 1 to 7, so no reading can ever get there."
    with refused(UsageError, said):
        Outcome("x", "rated", scale=[1, 7], **fields).check_on_scale()
    Outcome("x", "rated", scale=[1, 7], relative_to="shop radio", **fields).check_on_scale()  # a difference may be any
    Outcome("x", "rated", scale=[-1, 9], **fields).check_on_scale()


BASS = Outcome("bass", unit="dB")
ECHO = Outcome("echo", "rated", scale=[1, 7])
CLEAR = Outcome("clear", "compared")


@pytest.mark.parametrize("typed", ["−3,5", -3.5, np.float32(-3.5), np.float64(-3.5)])
def test_readings_are_read_as_people_type_them(typed: object) -> None:
    assert BASS.read(typed) == -3.5


@pytest.mark.parametrize(("typed", "grade"), [(1, 1.0), ("4,5", 4.5), ("7", 7.0)])
def test_any_grade_of_the_scale_is_read_both_ends_included(typed: object, grade: float) -> None:
    assert ECHO.read(typed) == grade


@pytest.mark.parametrize(
    ("outcome", "typed", "message"),
    [
        (BASS, "loud", "bass is 'loud'; it must be a number in dB."),
        (BASS, "", "bass is ''; it must be a number in dB."),
        (BASS, pd.NA, "bass is ''; it must be a number in dB."),
        (BASS, math.nan, "bass is ''; it must be a number in dB."),
        (BASS, True, "bass is 'True'; it must be a number in dB."),
        (BASS, "1,234", "bass is '1,234'; write it with a decimal point, since the comma could mean thousands."),
        (Outcome("score"), "x", "score is 'x'; it must be a number."),
        (BASS, "1e300", "bass is 1e+300; nothing at a bench is that large, so it is no reading."),
        (ECHO, 0.5, "echo is 0.5; it must be a grade from 1 to 7."),
        (ECHO, "7,0001", "echo is 7.0001; it must be a grade from 1 to 7."),
        (ECHO, "good", "echo is 'good'; it must be a grade from 1 to 7."),
        (CLEAR, "third", "clear is 'third'; it must be first, second or tie (or 1, 0, 0.5)."),
        (CLEAR, 2, "clear is '2'; it must be first, second or tie (or 1, 0, 0.5)."),
        (CLEAR, None, "clear is ''; it must be first, second or tie (or 1, 0, 0.5)."),
        (CLEAR, True, "clear is 'True'; it must be first, second or tie (or 1, 0, 0.5)."),
    ],
)
def test_a_reading_that_cannot_be_is_refused(outcome: Outcome, typed: object, message: str) -> None:
    with refused(DataError, message):
        outcome.read(typed)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("First", 1),
        ("second ", 0),
        ("TIE", 0.5),
        ("1", 1),
        (0, 0),
        ("0,5", 0.5),
        (0.5, 0.5),
        (np.float64(1), 1),
        (np.int64(0), 0),
    ],
)
def test_a_comparison_has_three_answers(typed: object, value: float) -> None:
    assert CLEAR.read(typed) == value


@given(outcomes(), st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8)))
def test_anything_typed_is_a_reading_or_a_data_error(outcome: Outcome, typed: object) -> None:
    """What is read is finite, on the scale, and read again as itself."""
    try:
        value = outcome.read(typed)
    except DataError:
        return
    assert abs(value) <= MOST_READ
    assert outcome.read(value) == value
    assert outcome.scale is None or outcome.scale[0] <= value <= outcome.scale[1]


def test_an_outcome_may_bear_a_word_of_rules_but_not_of_tables() -> None:
    """Rules are written in factors, so that only the columns of tables are taken."""
    assert Outcome("exp").name == "exp"
    with refused(
        UsageError, "Outcome name 'rater' is a word that Fettle uses itself; choose another, such as 'rater_1'."
    ):
        Outcome("rater")
