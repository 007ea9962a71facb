"""The chance that a build beats the best so far, as told."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from doe.advise.outlook import chance_better
from doe.advise.standing import ROOM


@pytest.mark.parametrize("ahead", [-0.3, -0.05, 0.0, 0.1, 0.4])
def test_it_has_the_room_that_worth_is_told_with(ahead):
    """Closed form: both are normal with a standard deviation of 0.2, so is their difference, at `ROOM` times 0.2 * sqrt(2)."""
    quantiles = stats.norm.ppf((np.arange(400) + 0.5) / 400)
    rng = np.random.default_rng(1)
    best, move = (0.2 * rng.permutation(quantiles)[:, None] for _ in range(2))
    belief = SimpleNamespace(variant_values=(best,), worth=lambda values: values[0])
    moves = SimpleNamespace(variant=np.array([-1]), values=(move + ahead,))
    told = chance_better(SimpleNamespace(best=0, belief=belief), SimpleNamespace(moves=moves, place=0))
    exact = stats.norm.cdf(ahead / (ROOM * 0.2 * np.sqrt(2)))
    assert told == pytest.approx(exact, abs=0.03)


def test_nothing_is_told_of_the_best_itself_and_all_of_a_first_build():
    moves = SimpleNamespace(variant=np.array([0]))
    choice = SimpleNamespace(moves=moves, place=0)
    assert chance_better(SimpleNamespace(best=0, belief=None), choice) == 0.0
    assert chance_better(SimpleNamespace(best=None, belief=None), choice) == 1.0
