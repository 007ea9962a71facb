"""Whether outcomes are kept, against worlds that are written down one by one."""

import numpy as np
import pandas as pd
import pytest

from doe.advise.limits_kept import Watch, is_kept
from doe.coding import Coding
from doe.fit.draws import Draws
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.outcome import Outcome

GAP = Factor("gap", low=0.0, high=10.0)
FLOW = Outcome("flow", goal="raise", best=20, worst=0)
NOISE = Outcome("noise", goal="lower", best=0, worst=10)


@pytest.mark.parametrize(
    ("asked", "start", "fine", "not_fine"),
    [
        ({"goal": "raise", "best": 4, "worst": 0, "matters": 2.0}, 7, [5, 20], [4.9, -1]),
        ({"goal": "raise", "best": 4, "worst": 0}, 7, [0, 20], [-0.1]),
        ({"goal": "lower", "best": 6, "worst": 10, "matters": 2.0}, 3, [5, -20], [5.1, 11]),
        ({"goal": "lower", "best": 6, "worst": 10}, 3, [10, -20], [10.1]),
        ({"goal": "hit", "target": 5, "worst": 9, "matters": 2.0}, 5, [3, 7], [2.9, 7.1]),
        ({"goal": "hit", "target": 5, "worst": 9, "matters": 2.0}, 8, [1, 9], [0.9, 9.1]),
        ({"goal": "within", "low": 0, "high": 10, "worst": 14, "matters": 2.0}, 9, [0, 10], [-0.1, 10.1]),
        ({"matters": 2.0}, 7, [5, 9], [4.9, 9.1]),
    ],
)
def test_kept_is_what_stays_within_limits_and_loses_no_more_than_what_matters(asked, start, fine, not_fine):
    """Both ends are fine. To raise or lower beyond what is best is a gain that may be lost again, by what matters."""
    kept = is_kept(Outcome("flow", **asked), np.array([*fine, *not_fine], dtype=float), np.array(float(start)))
    assert kept.tolist() == [True] * len(fine) + [False] * len(not_fine)


def watch(**more):
    """Tell of four worlds, in which flow is 1, 5, 5, 5 and noise 5, 5, 5, 9 at gap 5; both are 2 less at 0, 2 more at 10."""
    coding = Coding((GAP,))
    terms = coding.terms(["gap"])
    judged = [
        (outcome, Draws(coding, terms, np.column_stack([levels, np.full(4, 2.0)]), np.ones((4, 1), dtype=bool), np.zeros(4),
                        np.zeros(4), (), np.zeros((4, 0))))
        for outcome, levels in ((FLOW, [1.0, 5.0, 5.0, 5.0]), (NOISE, [5.0, 5.0, 5.0, 9.0]))
    ]  # fmt: skip
    return Watch(judged, (GAP,), {"gap": 5.0}, np.random.default_rng(1), **more)


def test_the_chance_is_the_share_of_worlds_in_which_every_outcome_is_kept():
    """At gap 0 flow is -1 in one world, at gap 10 noise is 11 in another."""
    chances, first = watch().moved(GAP, [0.0, 5.0, 10.0])
    assert chances.tolist() == [0.75, 1.0, 0.75]
    assert (first[0], first[2]) == ("flow", "noise")


def test_where_each_world_drifts_by_itself_its_own_values_count():
    worlds = watch()
    assert worlds.chance_at(pd.DataFrame({"gap": [10.0, 0.0, 0.0, 0.0]})) == 1.0
    assert worlds.chance_at(pd.DataFrame({"gap": [0.0, 10.0, 10.0, 10.0]})) == 0.5


def test_a_limit_is_broken_for_certain_and_named_only_where_it_is_broken():
    chances, first = watch(limits=(Limit("gap <= 8"),)).moved(GAP, [0.0, 9.0])
    assert (chances.tolist(), first) == ([0.75, 0.0], ["flow", "the limit gap <= 8"])


def test_what_one_build_may_be_off_by_counts_against_limits():
    """Flow 1 + e with e ~ N(0, 1) stays above 0 with Phi(1) = 0.8413; 20000 worlds tell that to 0.003.

    Against itself a build that does not drift loses nothing.
    """
    coding = Coding((GAP,))
    level = np.column_stack([np.ones(20_000), np.zeros(20_000)])
    draws = Draws(coding, coding.terms(["gap"]), level, np.ones((20_000, 1), dtype=bool), np.ones(20_000),
                  np.zeros(20_000), (), np.zeros((20_000, 0)))  # fmt: skip
    one = Watch([(FLOW, draws)], (GAP,), {"gap": 5.0}, np.random.default_rng(1))
    assert one.moved(GAP, [5.0])[0][0] == pytest.approx(0.8413, abs=0.008)
    assert one.chance_at(pd.DataFrame({"gap": [5.0] * 20_000})) == pytest.approx(0.8413, abs=0.008)
    lossless = Outcome("flow", goal="raise", best=20, worst=-50, matters=0.01)
    still = Watch([(lossless, draws)], (GAP,), {"gap": 5.0}, np.random.default_rng(1))
    assert (still.moved(GAP, [5.0])[0][0], still.chance_at(pd.DataFrame({"gap": [5.0] * 20_000}))) == (1.0, 1.0)
