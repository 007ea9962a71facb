import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding
from doe.fit import analyse
from doe.fit.tangled import RELATED, Tie
from doe.fit.verdicts import CLAIM, EXCLUDED, SURE, either_active, judge
from doe.fit.words import open_sizes
from doe.model.factor import Factor
from doe.model.outcome import Outcome
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


def verdicts(names, activity, intervals, matters=1.0):
    """Judge terms of two factors that differ in no way but these."""
    coding = Coding((Factor("wool", low=0, high=60), Factor("rings", low=1, high=9)))
    low, high = np.array(intervals, dtype=float).T
    count = len(names)
    found = judge(
        coding.terms(names), np.array(activity), low, high, matters,
        related=np.eye(count), either=np.eye(count), ties=(),
    )  # fmt: skip
    return [one.verdict for one in found]


@pytest.mark.parametrize(
    ("of_main", "of_bend", "bend", "expected"),
    [
        (0.30, EXCLUDED, (0.4, 1.4), [CANT_TELL, CANT_TELL]),  # a bend of what matters has not been ruled out
        (0.30, EXCLUDED, (-0.9, 0.9), [TOO_SMALL, TOO_SMALL]),  # however it bends, that is too little
        (0.30, EXCLUDED / 2, (0.4, 1.4), [TOO_SMALL, CANT_TELL]),  # it hardly can bend
        (0.90, 0.89, (0.6, 1.4), [CANT_TELL, MOVES]),  # it bends; which end is higher is open
        (0.99, 0.98, (0.6, 1.4), [MOVES, MOVES]),
        (0.30, 0.00, (np.nan, np.nan), [TOO_SMALL, CANT_TELL]),  # no model holds it
    ],
)
def test_a_factor_is_not_too_small_while_its_bend_is_open(of_main, of_bend, bend, expected):
    assert verdicts(["wool", "wool^2"], [of_main, of_bend], [(-0.3, 0.3), bend]) == expected


def test_a_factor_is_not_too_small_while_an_interaction_of_it_is_open():
    open_pair = verdicts(["wool", "rings", "wool:rings"], [0.3, 1.0, 0.2], [(-0.3, 0.3), (2, 3), (-0.2, 1.3)])
    assert open_pair == [CANT_TELL, MOVES, CANT_TELL]
    small_pair = verdicts(["wool", "rings", "wool:rings"], [0.3, 1.0, 0.2], [(-0.3, 0.3), (2, 3), (-0.2, 0.3)])
    assert small_pair == [TOO_SMALL, MOVES, TOO_SMALL]


def tangles(activity, *ties, related=1.0, either=1.0):
    """Verdict and partners of terms a, b, ... that go together, one or the other of each two for sure; how far is open."""
    names = "abcdefgh"[: len(activity)]
    count, one = len(activity), np.ones(len(activity))
    found = judge(
        Coding([Factor(name, low=0, high=1) for name in names]).terms("main"), np.array(activity), -one, 3 * one, 1.0,
        related=np.full((count, count), related), either=np.full((count, count), either), ties=[Tie(*tie, 1.0) for tie in ties],
    )  # fmt: skip
    return [(judged.verdict, judged.tangled_with) for judged in found]


def test_terms_that_stand_in_for_each_other_are_tangled_with_the_likeliest():
    """Neither is claimed by itself, and neither is as good as excluded; three are named."""
    found = tangles([0.5, 0.6, 0.4, 0.3, 0.2, 1 - CLAIM - 0.01, CLAIM])
    assert found[0] == (TANGLED, "b, c, d")
    assert found[1] == (TANGLED, "a, c, d")
    assert found[4] == (TANGLED, "b, a, c")
    assert found[5:] == [(CANT_TELL, ""), (CANT_TELL, "")]


@pytest.mark.parametrize(("related", "either"), [(RELATED - 0.01, 1.0), (1.0, CLAIM - 0.01)])
def test_terms_that_go_together_loosely_or_may_both_be_idle_are_not_tangled(related, either):
    assert tangles([0.5, 0.5], related=related, either=either) == [(CANT_TELL, "")] * 2


def test_one_or_the_other_is_active_where_a_set_holds_either():
    """By hand: sets of the first, of the second and of none, with 0.5, 0.3 and 0.2."""
    included = np.array([[True, False], [False, True], [False, False]])
    np.testing.assert_allclose(either_active(included, np.array([0.5, 0.3, 0.2])), [[0.5, 0.8], [0.8, 0.3]])


def test_what_always_went_together_is_tangled_however_surely_one_of_them_acts():
    """The averaging may favour one of them; nothing in the log does."""
    assert tangles([0.05, 0.99, 0.05], ("a", "b"), ("b", "session")) == [
        (TANGLED, "b"),
        (TANGLED, "a, session"),
        (CANT_TELL, ""),
    ]


@pytest.mark.parametrize(
    ("loss", "seed", "expected", "headline"),
    [
        (0.7, 9, CANT_TELL, "Loss follows heat."),
        (1.4, 0, MOVES, "Loss follows heat and gap (with a bend)."),
        (1.4, 9, MOVES, "Loss follows heat and gap (with a bend); idle is too small to matter."),
    ],
)
def test_what_is_best_in_the_middle_is_not_called_too_small(loss, seed, expected, headline):
    """Truth: `loss` more at either end of gap than in its middle, the ends alike; heat 2 from end to end; idle nothing."""
    rng = np.random.default_rng(seed)
    factors = (Factor("gap", low=10, high=40), Factor("heat", low=0, high=10), Factor("idle", low=0, high=8))
    frame = pd.DataFrame({factor.name: rng.choice(np.linspace(*factor.span, 3), 24) for factor in factors})
    value = loss * ((frame["gap"] - 25) / 15) ** 2 + 0.2 * frame["heat"] + rng.normal(0, 0.3, 24)
    log = frame.assign(variant=np.arange(24).astype(str), outcome="loss", value=value)
    found = analyse(log, factors, Outcome("loss", goal="lower", best=0, worst=20, matters=0.5))
    assert found.table.set_index("term").loc["gap", "verdict"] == expected
    assert found.headline == headline


def test_claims_of_open_size_are_named_in_a_note():
    table = pd.DataFrame(
        {"term": ["wool", "rings", "feet"], "low": [-1.0, 0.5, -1.0], "high": [4.0, 2.0, 1.0],
         "verdict": [MOVES, MOVES, TANGLED]}
    )  # fmt: skip
    (note,) = open_sizes(table)
    assert note.startswith("How far wool moves it on average is open, though it acts for sure")
    assert "the effect bends" in note
    assert open_sizes(table[1:]) == []
    (note,) = open_sizes(table, {"wool", "feet"})  # levels without an order have no bend
    assert note == (
        "How far wool moves it on average is open, though it acts for sure: some of its levels may do the same, or it "
        "depends on another factor; look at its levels rather than at the average."
    )
