import numpy as np
import pandas as pd
import pytest

from doe.rehearse.targets import TARGET_HEADINGS, targets
from tests.rehearse.test_report import plays


def by_words(found):
    return {target.what: target for target in found}


def test_each_figure_stands_beside_its_target_met_or_not():
    """The made-up plays take half the minutes, claim wrongly once in 16, and stop in half of the benches, 3 in 4 rightly."""
    found = by_words(targets(plays()))
    minutes = found["minutes over those of one factor at a time, five families"]
    assert (minutes.measured, minutes.limit, minutes.is_met) == (pytest.approx(0.5), 0.58, True)
    precision = found["precision of *moves it*, five families"]
    assert (precision.measured, precision.limit, precision.is_met) == (pytest.approx(15 / 16), 0.97, False)
    stops = found["stop advice says 90 % within the hours, five families"]
    assert (stops.measured, stops.is_met) == (0.5, False)
    right = found["right when it first says so"]
    assert (right.measured, right.is_met) == (0.75, False)


def test_what_was_not_played_is_not_met():
    found = by_words(targets(plays()))["minutes over those of the screening plan"]
    assert np.isnan(found.measured)
    assert not found.is_met
    assert found.cells[1] == "-"


def test_the_frontier_is_held_to_our_minutes():
    """A frontier that needs 0.6 of our minutes needs 40 % fewer, more than the 30 % allowed."""
    ours = plays()
    ahead = ours[ours["strategy"] == "advised"].assign(strategy="told which terms are real")
    ahead["minutes"] *= 0.6
    both = by_words(targets(pd.concat([ours, ahead], ignore_index=True)))
    frontier = both["minutes of the frontier, told which terms are real, over ours"]
    assert frontier.measured == pytest.approx(0.6)
    assert not frontier.is_met


def test_a_row_has_a_cell_for_each_heading():
    assert {len(target.cells) for target in targets(plays())} == {len(TARGET_HEADINGS)}
