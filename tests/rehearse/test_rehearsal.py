import re

import numpy as np
import pytest

from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.rehearse import rehearse
from doe.rehearse.benches import EFFORT, FACTORS, OUTCOMES
from doe.rehearse.rehearsal import smallest_seen

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
    assert re.match(r"(\d+ %|In none) of 3 rehearsals", found.headline)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"noise": 1.5}, "noise is 1.5; it must be a share above 0 and below 1, such as 0.1."),
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
