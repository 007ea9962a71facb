import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding
from doe.fit.verdicts import CLAIM, SURE, judge
from doe.fit.words import open_sizes
from doe.model.factor import Factor
from doe.model.wording import CANT_TELL, MOVES, TANGLED, TOO_SMALL

(TERM,) = Coding((Factor("wool", low=0, high=60, step=5),)).terms("main")


def verdict(activity, low, high, matters=1.0):
    """Judge one term that is alone in the log."""
    (found,) = judge(
        [TERM], np.array([activity]), np.array([low]), np.array([high]), matters,
        related=np.eye(1), either=np.array([[activity]]), ties=(),
    )  # fmt: skip
    return found.verdict


@pytest.mark.parametrize(
    ("activity", "low", "high", "expected"),
    [
        (CLAIM, 0.5, 4.0, MOVES),  # active, and it is known which way
        (CLAIM - 0.01, 0.5, 4.0, CANT_TELL),
        (CLAIM, -0.5, 4.0, CANT_TELL),  # which way is open, and it is not sure enough that it acts at all
        (SURE, -0.5, 4.0, MOVES),  # whichever way
        (1.0, -0.5, 0.5, TOO_SMALL),  # sure to act, and too little to matter
    ],
)
def test_a_claim_needs_a_direction_or_certainty(activity, low, high, expected):
    """The rules at the head of `doe.fit.verdicts`, at their edges."""
    assert verdict(activity, low, high) == expected


def test_claims_of_open_size_are_named_in_a_note():
    table = pd.DataFrame(
        {"term": ["wool", "rings", "feet"], "low": [-1.0, 0.5, -1.0], "high": [4.0, 2.0, 1.0],
         "verdict": [MOVES, MOVES, TANGLED]}
    )  # fmt: skip
    (note,) = open_sizes(table)
    assert note.startswith("How far wool moves it on average is open, though it acts for sure")
    assert open_sizes(table[1:]) == []
