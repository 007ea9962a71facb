from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from doe.model.effort import Effort, bare_setting, change_told, setting_minutes
from doe.model.errors import UsageError
from doe.model.factor import Factor
from tests.refusing import refused

NAMES = [item.name for item in fields(Effort)]


def test_effort_is_nothing_unless_said() -> None:
    assert [getattr(Effort(), name) for name in NAMES] == [0.0] * 4


@pytest.mark.parametrize("name", NAMES)
def test_effort_is_a_number_from_zero(name: str) -> None:
    given: dict[str, Any] = {name: np.int64(15)}
    assert getattr(Effort(**given), name) == 15.0
    with refused(UsageError, f"Effort: {name} is -1; it must be 0 or more."):
        Effort(**{name: -1})
    with refused(UsageError, f"Effort: {name} is 'nan'; it must be a finite number."):
        Effort(**{name: float("nan")})
    with refused(UsageError, f"Effort: {name} is 'long'; it must be a finite number."):
        Effort(**{name: "long"})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("effort", "said"),
    [
        (Effort(90, 15, 6), "a new unit 1 h 30 min, a session 15 min, a round of readings 6 min"),
        (Effort(reading_minutes=0.5, new_unit_price=12.5), "a round of readings 0.5 min, a new unit 12.5 in money"),
        (Effort(), "nothing beside the changes themselves"),
    ],
)
def test_an_effort_is_told_in_words(effort, said):
    """What costs nothing is left out; parts of a minute are kept."""
    assert effort.told() == said


def test_a_change_is_told_by_what_it_is_counted_in() -> None:
    assert change_told(Factor("gap", low=0, high=9, unit="mm", minutes_per_step=2), Effort()) == "2 min for each 1 mm"
    sizes = Factor("size", "ordered", levels=["S", "M", "L"], minutes=5, minutes_per_step=2)
    assert change_told(sizes, Effort()) == "5 min, 2 min more for each step"
    assert change_told(Factor("gap", low=0, high=9), Effort()) == "0 min"


def test_a_unit_just_made_stands_where_one_way_changes_start() -> None:
    """And has nothing fitted of what has no order, so that each level takes one change."""
    driver = Factor("driver", "categorical", levels=["paper", "poly"], minutes=25, minutes_per_step=1)
    sizes = Factor("size", "ordered", levels=["S", "M", "L"], way="down", minutes=5, minutes_per_step=2)
    vents = Factor("vents", "count", low=1, high=6, way="up", minutes=12)
    assert [bare_setting(factor) for factor in (driver, sizes, vents)] == [None, "L", 1]
    assert setting_minutes(driver, None, "paper") == 25 + 1
    assert (setting_minutes(sizes, "L", "S"), setting_minutes(vents, 1, 1)) == (5 + 2 * 2, 0)
