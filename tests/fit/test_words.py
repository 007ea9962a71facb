"""Sentences about effects, from tables small enough to say by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from doe.fit.words import headline, sensitivity_line
from doe.model.outcome import Outcome
from doe.model.wording import CANT_TELL, MOVES, TANGLED, TOO_SMALL


def said(**verdicts: str) -> str:
    """The headline of terms by verdict, blanks between; ``a/b`` is a, tangled with b."""
    names = {"moves": MOVES, "tied": TANGLED, "small": TOO_SMALL, "open": CANT_TELL}
    rows = [(*term.partition("/"), names[verdict]) for verdict, terms in verdicts.items() for term in terms.split()]
    table = pd.DataFrame(rows, columns=["term", "_", "tangled_with", "verdict"])
    return headline(Outcome("bass_level"), table)


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        ({"open": "wool vents"}, "Nothing can be said to move bass level yet."),
        ({"moves": "wool:vents wool wool^2"}, "Bass level follows wool with vents and wool (with a bend)."),
        ({"moves": "wool^2"}, "Bass level follows wool bent."),
        ({"moves": "a b c d"}, "Bass level follows a, b, c and d."),
        ({"moves": "a b c d e"}, "Bass level follows a, b, c and 2 more."),
        ({"small": "wool wool^2 wool:vents"}, "Wool is too small to matter."),
        ({"small": "lid_with_wax tube_bent"}, "Lid with wax and tube bent are too small to matter."),
        ({"tied": "b/a a/b"}, "For bass level, a and b cannot be told apart."),
        ({"tied": "a/b b/a c/session"}, "For bass level, a cannot be told from b, nor c from session."),
        ({"tied": "a/b c/d e/f g/h"}, "For bass level, a cannot be told from b, nor c from d, e from f nor g from h."),
        (
            {"tied": "a/b c/d e/f g/h i/j k/l"},
            "For bass level, a cannot be told from b, nor c from d, e from f, g from h nor 2 more pairs.",
        ),
        (
            {"moves": "wool", "tied": "a/b", "small": "feet", "open": "lid"},
            "Bass level follows wool; a and b cannot be told apart; feet is too small to matter.",
        ),
    ],
)
def test_the_headline_says_what_moves_it_what_is_tied_and_which_factors_are_too_small(verdicts, expected):
    """Bends and interactions that are too small are no news; a factor's name may hold the words they are said with."""
    assert said(**verdicts) == expected


def test_the_claim_that_falls_lowest_under_another_prior_is_told_with_its_range():
    """A claim needs 0.85; by hand: of b 0.80 to 0.95, of c 0.60 to 0.99; d falls lower still, but is not claimed."""
    by_scale = np.array([[0.99, 0.95, 0.60, 0.2], [0.90, 0.80, 0.99, 0.5]])
    assert sensitivity_line(["a", "b", "c:a", "d"], [True, True, True, False], by_scale, 0.85) == (
        "The claim on c with a depends on how large effects were expected to be: its probability runs from 60 % to 99 %."
    )
    steady = "No claim depends on how large effects were expected to be."
    assert sensitivity_line(["a", "b"], [True, False], by_scale[:, :2], 0.85) == steady
    assert sensitivity_line(["a", "b"], [True, False], by_scale[:, :2], 0.90) == steady
    assert sensitivity_line(["a", "b"], [False, False], by_scale[:, :2], 0.85) == ""
