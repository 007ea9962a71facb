"""The course of rehearsals: how many had a good variant by when."""

from __future__ import annotations

from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, text, theme
from doe.model import wording

if TYPE_CHECKING:
    import pandas as pd

    from doe.rehearse.answer import Rehearsal

_TALL = 280


def draw_rehearsal(rehearsal: Rehearsal, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw the share of rehearsals that had a good variant over the bench hours, with its 95 % interval.

    Parameters
    ----------
    rehearsal : Rehearsal
        Result of `doe.rehearse.rehearse`.
    width : {"wide", "narrow"}
        Which drawing is made.
    """
    course = rehearsal.course()
    title = rehearsal.course_headline()
    what = "rehearsals with a good variant, %" if width == "wide" else "with a good variant, %"
    margins = canvas.Margins(left=64 if width == "wide" else 54, right=24, top=16, bottom=62)
    told = text.sentences([title, *_told(rehearsal)])
    fig = canvas.empty("rehearsal", title, told, width, _TALL, margins)
    fig.add_trace(_band(course))
    line = {"color": theme.colour("data"), "width": 3, "shape": "hv"}
    hover = "%{y:.0f} % after %{x:.3g} h<extra></extra>"
    fig.add_trace(
        go.Scatter(
            x=course["hours"].tolist(),
            y=(100 * course["share"]).tolist(),
            mode="lines",
            line=line,
            name="share",
            hovertemplate=hover,
        )
    )
    fig.update_xaxes(range=[0, rehearsal.hours], title_text="bench hours")
    fig.update_yaxes(range=[0, 104], title_text=what)
    return fig


def _band(course: pd.DataFrame) -> go.Scatter:
    """Draw the interval as a band around the steps: there along the upper ends, back along the lower ones."""
    upper, lower = _steps(course, "high"), _steps(course, "low")[::-1]
    hours, shares = zip(*upper, *lower, strict=True)
    return go.Scatter(
        x=hours, y=shares, mode="lines", line={"width": 0, "color": theme.colour("band")}, fill="toself",
        fillcolor=theme.colour("band"), hoverinfo="skip", name="95 % of it",
    )  # fmt: skip


def _steps(course: pd.DataFrame, column: str) -> list[tuple[float, float]]:
    """Return the corners of a line that stays where it is until the next row."""
    hours, shares = course["hours"].tolist(), (100 * course[column]).tolist()
    corners = [(hours[0], shares[0])]
    for place in range(1, len(hours)):
        corners += [(hours[place], shares[place - 1]), (hours[place], shares[place])]
    return corners


def _told(rehearsal: Rehearsal) -> list[str]:
    """Read the curve at each quarter of the hours."""
    told = []
    for quarter in range(1, 5):
        hours = rehearsal.hours * quarter / 4
        row = rehearsal.by(hours)
        low, high = wording.percent(row["low"]), wording.percent(row["high"])
        told.append(f"After {wording.duration(60 * hours)} {wording.percent(row['share'])} ({low} to {high})")
    return told
