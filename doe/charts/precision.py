"""What a plan will be able to say: the 95 % interval to expect for each term, before anything is built."""

from __future__ import annotations

from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, goal, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording
from doe.model.errors import listed

if TYPE_CHECKING:
    from doe.plans.result import Plan

_ROW = {"wide": 30, "narrow": 50}
_ABOVE, _LINE, _LONGEST_LINE = 13, 18, 44
_MOST_NAMED = 4


def draw_precision(plan: Plan, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw the half-width to expect of each term's interval, around no change at all.

    Parameters
    ----------
    plan : Plan
        Result of `doe.plan`.
    width : {"wide", "narrow"}
        The narrow drawing sets the words above the intervals instead of beside them.
    """
    rows = rows_of(plan.precision)
    is_split = width == "narrow" and any(len(_line(row)) > _LONGEST_LINE for row in rows)
    tall = _ROW[width] + _LINE * is_split
    height = max(tall * len(rows), 40)
    fig = canvas.empty("precision", _title(plan, rows), describe_precision(plan), width, height, _margins(rows, width))
    limits = _limits(plan, rows)
    canvas.rows(fig, height)
    places = [tall * (number + (0.5 if width == "wide" else 0.78 if is_split else 0.7)) for number in range(len(rows))]
    canvas.ground(fig, plan.matters, () if width == "wide" else places)
    items = [
        canvas.Interval(
            place, 0.0, -row["half_width"], row["half_width"], text.stacked([text.term(row["term"]), _says(row)])
        )
        for place, row in zip(places, rows, strict=True)
    ]
    canvas.intervals(fig, items, limits, name="expected", filled=False, size=9)
    for place, row in zip(places, rows, strict=True):
        _write(fig, row, place, width, is_split)
    longest = 80 if width == "wide" else 42
    shown = [line for part in _axis_title(plan) for line in text.lines(part, longest)]
    fig.update_xaxes(range=list(limits), title_text=text.stacked(shown), automargin=False, nticks=7,
                     showgrid=width == "wide")  # fmt: skip
    return fig


def _title(plan: Plan, rows: Rows) -> str:
    """Say how wide intervals will be, and of what none can be promised."""
    known = canvas.finite(row["half_width"] for row in rows)
    open_ = [text.cut(text.term(row["term"]), 26) for row in rows if not canvas.finite([row["half_width"]])]
    if not known:
        return "No interval can be promised: no run is left over to judge the scatter by"
    unit = "" if plan.scatter is not None else " times the scatter between runs"
    widest = f"±{wording.number(max(known), 2)}{unit} or less"
    if not open_:
        return f"Expect every interval to be {widest}"
    left = listed(open_, "and") if len(open_) <= _MOST_NAMED else wording.counted(len(open_), "term")
    return f"Expect intervals of {widest}; none can be promised for {left}"


def describe_precision(plan: Plan) -> str:
    """Say in words what the chart shows: each term with the interval to expect, and what it would be sure to see."""
    parts = [f"Expected 95 % interval of each swing, {_measure(plan)}"]
    parts.append(goal.smallest(plan.matters))
    return text.sentences([*parts, *(f"{text.term(row['term'])}: {_says(row)}" for row in rows_of(plan.precision))])


def _measure(plan: Plan) -> str:
    return "in the outcome's unit" if plan.scatter is not None else "in multiples of the scatter between runs"


def _axis_title(plan: Plan) -> list[str]:
    parts = [f"expected 95\u00a0% interval around no change, {_measure(plan)}"]
    if plan.matters is not None:
        parts.append(f"band: ±{wording.number(plan.matters)}, the smallest that matters")
    return parts


def _says(row: Row) -> str:
    if not canvas.finite([row["half_width"]]):
        return "no interval can be promised" if row["df"] <= 0 else "cannot be estimated"
    return f"±{wording.number(row['half_width'], 2)}, a t test sees {wording.number(row['detectable'], 2)} with 80 %"


def _margins(rows: Rows, width: canvas.Width) -> canvas.Margins:
    if width == "narrow":
        return canvas.Margins(left=14, right=14, top=8, bottom=78)
    names = text.room([text.cut(text.term(row["term"]), 26) for row in rows])
    return canvas.Margins(left=names + 28, right=text.room([_says(row) for row in rows], 13) + 28, top=12, bottom=74)


def _limits(plan: Plan, rows: Rows) -> tuple[float, float]:
    ends = canvas.finite(row["half_width"] for row in rows)
    band = [] if plan.matters is None else [plan.matters]
    low, high = canvas.extent([0.0, *band, *(-end for end in band)], [sign * end for end in ends for sign in (-1, 1)])
    return min(low, -high), max(high, -low)


def _line(row: Row) -> str:
    """Return what stands above an interval of the narrow drawing."""
    return f"{text.cut(text.term(row['term']), 26)}  {_says(row)}"


def _write(fig: go.Figure, row: Row, place: float, width: canvas.Width, is_split: bool) -> None:
    name, says = (
        text.safe(text.cut(text.term(row["term"]), 26)),
        text.small(text.safe(_says(row)), theme.colour("soft")),
    )
    if width == "narrow":
        canvas.note(
            fig,
            f"<b>{name}</b>{'<br>' if is_split else '&nbsp; '}{says}",
            xref="paper",
            x=0,
            y=place - _ABOVE,
            yanchor="bottom",
        )
        return
    canvas.note(fig, name, xref="paper", x=0, xshift=12 - fig.layout.margin.l, y=place, yanchor="middle")
    canvas.note(fig, says, xref="paper", x=1, xshift=12, y=place, yanchor="middle")
