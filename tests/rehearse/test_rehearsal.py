import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.rehearse import Rehearsal, rehearse
from doe.rehearse.answer import share_interval
from doe.rehearse.benches import EFFORT, FACTORS, OUTCOMES
from doe.rehearse.rehearsal import RIVALS, smallest_seen
from tests.refusing import refused

SETUP = Setup("radio", "", FACTORS[:4], OUTCOMES[:2], EFFORT)


def test_the_size_that_would_be_seen_is_found_from_claims():
    """Claims drawn with a known logistic curve: 80 % at 0.30 + log(4) / 12 = 0.416."""
    rng = np.random.default_rng(1)
    sizes = rng.uniform(0.05, 0.9, 3000)
    claimed = (rng.random(3000) < 1 / (1 + np.exp(-12 * (sizes - 0.30)))).astype(float)
    assert smallest_seen(sizes, claimed) == pytest.approx(0.30 + np.log(4) / 12, abs=0.02)


def test_where_hardly_anything_is_claimed_no_size_is_named():
    sizes = np.linspace(0.05, 0.9, 40)
    assert np.isnan(smallest_seen(sizes, np.zeros(40)))
    assert np.isnan(smallest_seen(np.array([]), np.array([])))


@pytest.mark.slow
def test_a_setup_is_rehearsed_and_the_answer_is_a_sentence():
    found = rehearse(SETUP, hours=6, benches=3, seed=2)
    assert len(found.plays) == 3
    assert list(found.plays["family"]) == ["main", "interaction", "curved"]
    assert (found.plays["minutes"] <= 360).all()
    assert list(found.smallest["outcome"]) == ["bass", "echo"]
    assert found.headline in found.summary()
    assert re.match(r"(\d|In none) of 3 rehearsals", found.headline)
    assert (found.plays["variants_until"] <= found.plays["variants"]).all()
    assert len(found.rivals) == 0
    in_vain = replace(found, plays=found.plays.assign(reached=False))
    assert in_vain.headline == (
        "In none of 3 rehearsals was a variant with at least 90 % of the best attainable worth found within 6 h."
    )


def test_outcomes_on_which_nothing_would_be_seen_are_told_together():
    plays = pd.DataFrame({"minutes": [90.0], "finally_right": True, "regret": 0.0, "variants": 3, "builds": 1})
    smallest = pd.DataFrame(
        {
            "outcome": ["bass", "tip_noise", "echo"],
            "unit": ["dB", "", ""],
            "swing": [2.0, np.nan, np.nan],
            "share": 0.25,
        }
    )
    told = Rehearsal(plays, pd.DataFrame(), smallest, 8.0, 0.1).sentences
    assert told[1:] == (
        "Bass: effects from about 2 dB on (25 % of its range) would be seen with a chance of 80 %.",
        "No effect of the sizes tried would be seen with a chance of 80 % on tip noise and echo.",
    )


def test_half_were_there_when_the_curve_says_so():
    """Of two, one is there after 90 minutes; the middle of both, 120, is no time at which anything happened."""
    plays = pd.DataFrame({"minutes": [150.0, 90.0], "reached": True, "variants_until": [5, 3]})
    found = Rehearsal(plays, pd.DataFrame(), pd.DataFrame(), 8.0, 0.1)
    assert found.headline.endswith("half were there after 1 h 30 min and 3 variants.")
    in_vain = plays.assign(
        minutes=[480.0, 90.0], reached=[False, True], variants_until=[2, 3]
    )  # neither of the two good
    assert replace(found, plays=in_vain).headline.endswith("half were there after 1 h 30 min and 3 variants.")
    assert [found.by(hours)["share"] for hours in (1.49, 1.5, 2.5)] == [0.0, 0.5, 1.0]


@pytest.mark.parametrize(
    ("minutes", "reached", "said"),
    [
        ([60.0, 480.0, 480.0], [True, True, False], "8 h"),
        ([60.0, 480.0, 480.0], [True, False, False], "not in 8 h"),
        ([60.0, 120.0, 480.0], [True, True, False], "2 h"),
        ([60.0, 480.0], [True, False], "1 h"),
    ],
)
def test_half_found_a_good_one_by_then(minutes, reached, said):
    """Also as the hours end; what was never found counts as the whole time."""
    plays = pd.DataFrame({"minutes": minutes, "reached": reached, "variants_until": 3})
    plays = plays.assign(finally_right=True, regret=0.0)
    found = Rehearsal(plays, pd.DataFrame(), pd.DataFrame(), 8.0, 0.1, rivals=plays.assign(strategy="simplex"))
    assert [row[2] for row in found.compared("ours")] == [said, said]
    assert (f"half were there after {said}" in found.headline) == (not said.startswith("not"))


def test_a_share_has_an_interval_that_knows_how_few_there_were():
    """Wilson's interval, with statsmodels as independent source."""
    for count, of in ((0, 5), (3, 4), (15, 20), (20, 20)):
        expected = proportion_confint(count, of, method="wilson")
        assert share_interval(count, of) == pytest.approx(expected, abs=1e-12)


@pytest.mark.slow
def test_other_ways_of_working_are_played_on_the_same_benches():
    found = rehearse(SETUP, hours=5, benches=2, seed=2, compare=True)
    assert set(found.rivals["strategy"]) == set(RIVALS)
    assert (found.rivals.groupby("strategy")["seed"].apply(list).map(sorted).map(tuple) == (2, 3)).all()


@pytest.mark.slow
def test_an_interruption_keeps_the_benches_that_are_done():
    """The third call of the progress comes with the interruption: two benches remain, and a note says so."""

    def stop(done, count):
        if done == 2:
            raise KeyboardInterrupt

    found = rehearse(SETUP, hours=3, benches=9, seed=2, progress=stop)
    assert len(found.plays) == 2
    assert found.notes[-1] == "Stopped early: this is about the 2 of 9 benches that were played."
    assert "Note: Stopped early" in found.summary()


def test_an_interruption_before_the_first_bench_is_passed_on(monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("doe.rehearse.rehearsal._one", stop)
    with pytest.raises(KeyboardInterrupt):
        rehearse(SETUP, hours=3, benches=2)


def test_hours_in_which_nothing_can_be_read_find_nothing():
    """A first reading takes 21 minutes; it was said that the readings have no column of variants."""
    found = rehearse(Setup("radio", "", FACTORS[:2], OUTCOMES[:1], EFFORT), hours=0.25, benches=1)
    assert found.headline.startswith("In none of 1 rehearsal was a variant")
    assert (found.plays["variants"].item(), found.effects["claimed"].any()) == (0, False)
    assert found.sentences[-1] == "No effect of the sizes tried would be seen with a chance of 80 % on bass."


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"noise": 1.5}, "scatter is 150 %; it must be a share above 0 and below 100 %, such as 10 %."),
        ({"benches": 0}, "benches is 0; it must be a whole number from 1 to 1000."),
        ({"hours": 0}, "hours is 0; it must be a number above 0."),
    ],
)
def test_numbers_out_of_range_are_named(change, message):
    with pytest.raises(UsageError, match=re.escape(message)):
        rehearse(SETUP, **change)


def test_a_setup_without_a_goal_cannot_be_rehearsed():
    message = "No measured or rated outcome has a goal, so there is nothing to rehearse; set a goal on one."
    with pytest.raises(UsageError, match=re.escape(message)):
        rehearse(Setup("x", "", FACTORS[:3], [Outcome("colour")], EFFORT))


def test_one_factor_is_too_few():
    with pytest.raises(UsageError, match="a rehearsal needs two at least"):
        rehearse(Setup("x", "", [Factor("a", low=0, high=1)], OUTCOMES[:1], EFFORT))


@pytest.mark.parametrize("start", [None, {"vents": 1, "rings": 8, "wool": 10, "driver": "poly"}])
@pytest.mark.parametrize("jobs", [1, -1])
def test_a_limit_that_nothing_can_keep_is_named_before_anything_is_played(start, jobs):
    """The same sentence as of the next change; vents end at 6."""
    setup = Setup("radio", "", FACTORS[:4], OUTCOMES[:2], EFFORT, [Limit("wool < 40"), Limit("vents > 20")])
    with refused(DataError, "No settings keep the limit 'vents > 20' within the factors' ranges; loosen it."):
        rehearse(setup, hours=3, benches=2, start=start, jobs=jobs)


def test_limits_that_nothing_keeps_together_are_named():
    setup = Setup("radio", "", FACTORS[:4], OUTCOMES[:2], EFFORT, [Limit("vents > 4"), Limit("vents < 2")])
    said = "No settings keep both limits 'vents > 4' and 'vents < 2'; loosen or remove one of them."
    with refused(DataError, said):
        rehearse(setup, hours=3, benches=2)
