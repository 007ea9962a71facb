import math

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


def draw(*items: canvas.Interval) -> go.Figure:
    fig = go.Figure()
    canvas.intervals(fig, items, (-10.0, 10.0), name="x")
    return fig


def test_interval_is_drawn_from_low_to_high():
    fig = draw(canvas.Interval(1.0, 2.0, -3.25, 4.5, ""))
    assert whiskers(fig) == [(1.0, -3.25, 4.5)]
    assert marks(fig, "x") == [(1.0, 2.0)]


def test_interval_beyond_the_axis_ends_in_open_heads():
    fig = draw(canvas.Interval(1.0, 2.0, -math.inf, 40.0, ""))
    assert whiskers(fig) == [(1.0, -10.0, 10.0)]
    heads = {trace.name: trace.marker.symbol for trace in fig.data if "runs on" in trace.name}
    assert heads == {"x runs on low": "triangle-left-open", "x runs on high": "triangle-right-open"}


def test_estimate_without_interval_is_a_mark_alone():
    fig = draw(canvas.Interval(1.0, 2.0, math.nan, math.nan, ""))
    assert whiskers(fig) == []
    assert marks(fig, "x") == [(1.0, 2.0)]


def test_unknown_width_is_refused_with_what_is_allowed():
    with pytest.raises(UsageError, match=r"^width is 'wid'; it must be wide or narrow\. Did you mean 'wide'\?$"):
        canvas.empty("x", "t", "a", "wid", 10)  # type: ignore[arg-type]
