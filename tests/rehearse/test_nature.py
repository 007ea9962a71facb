"""What is drawn of a simulated prototype keeps the rules that are written down of it."""

import numpy as np
import pytest

from doe.model.outcome import Outcome
from doe.rehearse.benches import FACTORS
from doe.rehearse.nature import draw_truth

WOOL, DRIVER, FEET = FACTORS[2:5]
GOALS = {
    "raise": Outcome("y", goal="raise", best=10, worst=0),
    "lower": Outcome("y", goal="lower", best=0, worst=10),
    "hit": Outcome("y", goal="hit", target=4, worst=10),
}


@pytest.mark.parametrize("goal", GOALS)
@pytest.mark.parametrize("family", ["main", "interaction", "curved", "nothing"])
def test_a_goal_can_nearly_be_met_somewhere(goal, family):
    """Short of it by no more than 12 % of the range; a target lies among what can be had; where nothing acts, half is met."""
    grid = np.array(np.meshgrid(WOOL.grid(), DRIVER.levels, FEET.levels, indexing="ij"), dtype=object).reshape(3, -1)
    settings = {"wool": grid[0].astype(float), "driver": grid[1], "feet": grid[2]}
    active = () if family == "nothing" else (WOOL, DRIVER, FEET)
    for seed in range(6):
        means = draw_truth(family, GOALS[goal], active, np.random.default_rng(seed)).mean(settings)
        least, most = means.min(), means.max()
        if not active:
            middle = 7.0 if goal == "hit" else 5.0
            assert least == most == pytest.approx(middle, abs=0.15 * (6 if goal == "hit" else 10))
        elif goal == "hit":
            assert least < 4.0 < most
        else:
            assert 0 <= (10 - most if goal == "raise" else least) <= 1.2


def test_a_noisy_family_reads_with_more_scatter_and_only_listeners_differ():
    grade = Outcome("g", kind="rated", scale=(1, 7), goal="raise", best=7, worst=1)
    drawn = {
        name: draw_truth(family, outcome, (WOOL, DRIVER), np.random.default_rng(3)).scatter
        for name, family, outcome in (
            ("level", "main", GOALS["raise"]),
            ("grade", "main", grade),
            ("noisy", "noisy", grade),
        )
    }
    assert 0.5 <= drawn["level"].reading <= 1.2
    assert 0.6 <= drawn["grade"].reading <= 0.96
    assert 1.2 <= drawn["noisy"].reading <= 1.68
    assert [drawn[name].rater for name in drawn] == pytest.approx([0.0, 0.36, 0.36])
