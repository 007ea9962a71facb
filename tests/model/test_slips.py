"""Likely slips in definitions; those in readings are tested where they are told."""

from __future__ import annotations

import pytest

from doe.model.outcome import Outcome
from doe.model.slips import slip_in_matters

LOWER = {"goal": "lower", "best": 5, "worst": 15, "unit": "min"}
HIT = {"goal": "hit", "target": 0, "worst": 6, "unit": "dB"}


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (Outcome("x", matters=20, **LOWER), "20 min, more than all there is from worst to best (10 min)"),
        (Outcome("x", matters=10, **LOWER), "10 min, as much as all there is from worst to best (10 min)"),
        (Outcome("x", matters=9, **LOWER), ""),
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
