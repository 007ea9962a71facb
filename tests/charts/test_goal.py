"""Goals in words and values, each by hand."""

import plotly.graph_objects as go
import pytest

from doe.charts import goal
from doe.model.outcome import Outcome

GOALS = [
    (Outcome("gap", unit="mm"), [], ""),
    (Outcome("gap", goal="raise", best=9, worst=2), [(2, "worst"), (9, "best")], "best 9, worst 2"),
    (Outcome("gap", goal="lower", best=-9, worst=2), [(2, "worst"), (-9, "best")], "best -9, worst 2"),
    (
        Outcome("gap", goal="hit", target=1.005, worst=1.015),  # the other end as far away
        [(0.995, "worst"), (1.015, "worst"), (1.005, "target")],
        "target 1.005, worst 0.995 and 1.015",
    ),
    (
        Outcome("gap", goal="within", low=1, high=3, worst=(0, 9)),
        [(0, "worst"), (9, "worst"), (1, "wanted from"), (3, "wanted to")],
        "wanted 1 to 3, worst 0 and 9",
    ),
]


@pytest.mark.parametrize(("outcome", "marks", "phrase"), GOALS)
def test_a_goal_is_told_by_its_values_to_the_last_digit(outcome, marks, phrase):
    """Ends that no reading loses by are no values; what was typed is not rounded."""
    found = goal.marks(outcome)
    assert [(pytest.approx(value, abs=1e-12), word) for value, word in marks] == found
    assert goal.phrase(outcome) == phrase
    assert goal.sentence(outcome) == (f"Goal: {phrase}" if phrase else "")


@pytest.mark.parametrize("upright", [False, True])
def test_goal_lines_are_drawn_where_the_axis_reaches(upright):
    """Worst dotted, wanted solid, the far end beyond the axis left out; across the axis that the outcome stands on."""
    fig = go.Figure()
    goal.lines(fig, GOALS[-1][0], (0.0, 8.0), upright=upright)
    own, other = ("x", "y") if upright else ("y", "x")
    drawn = {shape[f"{own}0"]: shape.line.dash for shape in fig.layout.shapes}
    assert drawn == {0: "dot", 1: "solid", 3: "solid"}
    assert {shape[f"{other}ref"] for shape in fig.layout.shapes} == {f"{other} domain"}
    goal.label(fig, GOALS[-1][0], (0.5, 8.0))
    assert [(note.y, note.text) for note in fig.layout.annotations] == [(1, "wanted from"), (3, "wanted to")]


@pytest.mark.parametrize(
    ("outcome", "named"),
    [
        (Outcome("tip_gap", unit="mm"), "tip gap, mm"),
        (Outcome("tip_gap"), "tip gap"),
        (Outcome("echo", kind="rated", scale=(1, 7.5)), "echo, graded 1 to 7.5"),
        (Outcome("bass", unit="dB", relative_to="shop_radio"), "bass, dB against shop_radio"),
    ],
)
def test_an_outcome_is_named_with_what_it_is_measured_in(outcome, named):
    assert goal.named(outcome) == goal.axis_title(outcome, 400) == named
    assert goal.axis_lines(outcome, 400) == [named]
