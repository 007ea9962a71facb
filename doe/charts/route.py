"""A route as a time line: what is done on which unit, one bench and one pair of hands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording

if TYPE_CHECKING:
    from doe.advise.route import Route

_LANE = {"wide": 54, "narrow": 46}
_SHORTEST_NAMED = {"wide": 0.03, "narrow": 0.07}


def draw_route(route: Route, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw every step as a bar from its start to its end, in the lane of its unit; making a new unit is filled.

    Parameters
    ----------
    route : Route
        Result of `doe.route`.
    width : {"wide", "narrow"}
        Which drawing is made.
    """
    rows = rows_of(route.table)
    units = list(dict.fromkeys(row["unit"] for row in rows))
    left = min(text.room(units), 170 if width == "wide" else 90) + 20
    margins = canvas.Margins(left=left, right=24, top=16, bottom=62)
    fig = canvas.empty("route", route.headline, describe_route(route), width, _LANE[width] * len(units), margins)
    for is_new in (True, False):
        _bars(fig, [row for row in rows if _makes_unit(row) == is_new], units, is_new)
    _labels(fig, rows, units, route.minutes * _SHORTEST_NAMED[width])
    fig.update_xaxes(title_text="bench minutes", rangemode="tozero")
    fig.update_yaxes(
        tickvals=list(range(len(units))),
        ticktext=[text.safe(unit) for unit in units],
        range=[len(units) - 0.4, -0.6],
        showgrid=False,
    )
    fig.update_layout(barmode="overlay")
    return fig


def _makes_unit(row: Row) -> bool:
    return str(row["what to do"]).startswith("new unit:")


def _bars(fig: go.Figure, rows: Rows, units: list[str], is_new: bool) -> None:
    if not rows:
        return
    hue = theme.colour("series2" if is_new else "series1")
    fig.add_trace(
        go.Bar(
            x=[row["minutes"] for row in rows], base=[row["minutes so far"] - row["minutes"] for row in rows],
            y=[units.index(row["unit"]) for row in rows], orientation="h", width=0.6, name="new unit" if is_new else "change",
            marker={"color": hue, "line": {"color": theme.colour("sheet"), "width": 1.5}}, hoverinfo="text",
            hovertext=[_hover(row) for row in rows], textposition="none",
        )
    )  # fmt: skip


def _labels(fig: go.Figure, rows: Rows, units: list[str], shortest: float) -> None:
    """Write the variant under each bar that is long enough; short ones are named under the pointer."""
    for row in rows:
        if row["minutes"] < shortest:
            continue
        middle = row["minutes so far"] - row["minutes"] / 2
        font = {"size": 12, "color": theme.colour("soft")}
        fig.add_annotation(
            text=text.safe(row["variant"]), x=middle, y=units.index(row["unit"]), yshift=-24, showarrow=False, font=font
        )


def _hover(row: Row) -> str:
    what = f"{row['order']}. variant {text.safe(row['variant'])}: {text.safe(row['what to do'])}"
    return f"{what}, {wording.duration(row['minutes'])}"


def _when(row: Row) -> str:
    """Say how long a step takes, and when it is done counted from the first."""
    return f"{wording.duration(row['minutes'])}, done at {wording.duration(row['minutes so far'])}"


def describe_route(route: Route) -> str:
    """Say in words what the chart shows: every step in order."""
    parts = [
        f"{row['order']}. {row['unit']}, variant {row['variant']}, {row['what to do']}, {_when(row)}"
        for row in rows_of(route.table)
    ]
    return text.sentences([route.headline, *parts])
