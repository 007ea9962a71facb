"""Likely slips in definitions; those in readings are tested where they are told."""

from __future__ import annotations

from datetime import datetime

import pytest

from doe.model.expectation import Expectation
from doe.model.outcome import Outcome
from doe.model.slips import Seen, slip_in_matters, slip_in_minutes, slip_in_size, slips_among, slips_of_build

LOWER = {"goal": "lower", "best": 5, "worst": 15, "unit": "min"}
HIT = {"goal": "hit", "target": 0, "worst": 6, "unit": "dB"}


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (Outcome("x", matters=20, **LOWER), "20 min, more than all there is from worst to best (10 min)"),
        (Outcome("x", matters=10, **LOWER), "10 min, as much as all there is from worst to best (10 min)"),
        (Outcome("x", matters=9, **LOWER), ""),
        (Outcome("x", matters=9, goal="raise", best=2, worst=-6), "9, more than all there is from worst to best (8)"),
        (Outcome("x", **LOWER), ""),
        (Outcome("x", matters=7, **HIT), "7 dB, more than all there is from worst to best (6 dB)"),
        (Outcome("x", matters=5, goal="hit", target=0, worst=(-3, 6)), ""),  # the longer side counts
        (
            Outcome("x", matters=3, goal="within", low=1, high=2, worst=0),
            "3, more than all there is from worst to best (1)",
        ),
        (Outcome("x", kind="rated", scale=(1, 7), matters=6), "6, as much as all there is on its scale (6)"),
        (Outcome("x", kind="rated", scale=(1, 7), matters=1), ""),
        (Outcome("x", matters=1e6), ""),  # nothing says how far it goes
    ],
)
def test_what_matters_is_questioned_from_all_there_is_on(outcome: Outcome, said: str) -> None:
    assert slip_in_matters(outcome) == (f"what matters of x is {said}" if said else "")


NOW = datetime(2026, 3, 2, 12)


@pytest.mark.parametrize(
    ("when", "minutes", "said"),
    [
        (datetime(2026, 3, 3, 11), 480, []),  # an evening over there may be tomorrow here
        (None, None, []),
        (datetime(2027, 3, 2), 480, ["variant 7 is dated in days to come, 2027-03-02"]),
        (None, 60_001, ["the bench time of variant 7 is 1000 h 1 min"]),
    ],
)
def test_a_variant_from_days_to_come_or_of_endless_work_is_questioned(
    when: datetime | None, minutes: float | None, said: list[str]
) -> None:
    assert slips_of_build("7", when, minutes, NOW) == said


def test_bench_time_is_questioned_beyond_a_thousand_hours() -> None:
    assert slip_in_minutes("a session", 60_000) == ""
    assert slip_in_minutes("a session", 60_060) == "a session is 1001 h"


@pytest.mark.parametrize(
    ("outcome", "seen", "size", "is_questioned"),
    [
        (Outcome("x", **LOWER), Seen(), 30, False),
        (Outcome("x", **LOWER), Seen(), 31, True),
        (Outcome("x", **LOWER), Seen(2, 0, 20), 60, False),  # what was read counts too
        (Outcome("x", kind="rated", scale=(1, 7)), Seen(), 19, True),
        (Outcome("x"), Seen(), 1e9, False),  # nothing is known of it
        (Outcome("x"), Seen(5, 2, 4), 7, True),
    ],
)
def test_an_effect_larger_than_the_outcome_is_questioned(
    outcome: Outcome, seen: Seen, size: float, is_questioned: bool
) -> None:
    said = slip_in_size(Expectation("wool", "x", "lowers", size), outcome, seen)
    assert said.startswith("wool is expected to change x by ") == is_questioned
    assert slip_in_size(Expectation("wool", "x", "lowers"), outcome, seen) == ""


def test_what_is_far_below_is_told_as_what_is_far_above() -> None:
    told = "bass is -60 dB, far from all that is known of it (1 to 5)"
    assert slips_among(Outcome("bass", unit="dB"), [3, 1, -60, 2, 4, 5]) == [told]


def test_what_was_seen_adds_up() -> None:
    assert Seen().with_values([]) == Seen()
    assert Seen().with_values([3, 1]) == Seen(2, 1, 3)
    assert Seen(2, 1, 3).with_values([7]) == Seen(3, 1, 7)
