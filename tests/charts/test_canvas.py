import math
from typing import Any

import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.charts import canvas
from doe.model.errors import UsageError
from tests.charts.drawn import marks, whiskers

numbers = st.floats(-1e3, 1e3)


@given(st.lists(numbers, min_size=1, max_size=8), st.lists(numbers, max_size=8))
def test_axis_holds_every_estimate(values, ends):
    """However wide the intervals are, no estimate falls off the axis."""
    low, high = canvas.extent(values, ends)
    assert low < min(values) and max(values) < high


def test_axis_holds_intervals_that_are_all_wide():
    """Wide intervals are the usual case early on; they are shown whole."""
    low, high = canvas.extent([0.0, 0.1], [-5.0, 5.0, -4.0, 6.0])
    assert low < -5.0 and high > 6.0


def test_one_interval_that_knows_nothing_does_not_flatten_the_others():
    low, high = canvas.extent([0.0, 2.0, -1.0], [1.5, 2.5, -1.5, -0.5, -900.0, 900.0])
    assert -6.0 < low < -1.5 and 2.5 < high < 7.0


def test_axis_of_nothing_is_still_an_axis():
    assert canvas.extent([], [], floor=2.0) == (-2.0, 2.0)
    low, high = canvas.extent([math.nan, 3.0], [math.inf, -math.inf])
    assert low < 3.0 < high


def draw(*items: canvas.Interval, **style: Any) -> go.Figure:
    fig = go.Figure()
    canvas.intervals(fig, items, (-10.0, 10.0), name="x", **style)
    return fig


def test_interval_is_drawn_from_low_to_high():
    fig = draw(canvas.Interval(1.0, 2.0, -3.25, 4.5, ""))
    assert whiskers(fig) == [(1.0, -3.25, 4.5)]
    assert marks(fig, "x") == [(1.0, 2.0)]
    assert (fig.data[-1].mode, draw(canvas.Interval(1.0, 2.0, 1.0, 3.0, ""), join=True).data[-1].mode) == (
        "markers",
        "lines+markers",
    )


def test_interval_beyond_the_axis_ends_in_open_heads():
    """Each at its own end, pointing outwards."""
    fig = draw(canvas.Interval(1.0, 2.0, -math.inf, 40.0, ""))
    assert whiskers(fig) == [(1.0, -10.0, 10.0)]
    heads = {trace.name: (trace.marker.symbol, trace.x[0]) for trace in fig.data if "runs on" in trace.name}
    assert heads == {"x runs on low": ("triangle-left-open", -10), "x runs on high": ("triangle-right-open", 10)}
    fig = draw(canvas.Interval(1.0, 2.0, -math.inf, 40.0, ""), upright=True)
    heads = {trace.name: (trace.marker.symbol, trace.y[0]) for trace in fig.data if "runs on" in trace.name}
    assert heads == {"x runs on low": ("triangle-down-open", -10), "x runs on high": ("triangle-up-open", 10)}


def test_the_ground_is_one_for_all_or_a_strip_for_each_row():
    """The band of what is too small to matter, and no change at all, under every row."""
    fig = go.Figure()
    canvas.ground(fig, 2.0)
    assert [(shape.type, shape.x0, shape.x1, shape.y0, shape.y1) for shape in fig.layout.shapes] == [
        ("rect", -2, 2, 0, 1), ("line", 0, 0, 0, 1)]  # fmt: skip
    fig = go.Figure()
    canvas.ground(fig, None, [50.0, 90.0])
    assert [shape.type for shape in fig.layout.shapes] == ["rect", "line"] * 2
    assert [(shape.y0 + shape.y1) / 2 for shape in fig.layout.shapes] == [50, 50, 90, 90]
    assert all(shape.y0 < shape.y1 for shape in fig.layout.shapes)


def test_estimate_without_interval_is_a_mark_alone():
    fig = draw(canvas.Interval(1.0, 2.0, math.nan, math.nan, ""))
    assert whiskers(fig) == []
    assert marks(fig, "x") == [(1.0, 2.0)]


def test_unknown_width_is_refused_with_what_is_allowed():
    with pytest.raises(UsageError, match=r"^width is 'wid'; it must be wide or narrow\. Did you mean 'wide'\?$"):
        canvas.empty("x", "t", "a", "wid", 10)  # type: ignore[arg-type]
