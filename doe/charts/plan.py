"""Charts of a plan: which terms it mixes, and how well the region is predicted; `precision` draws how sure each will be."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import plotly.graph_objects as go

from doe.charts import canvas, text, theme
from doe.charts.rows import rows_of
from doe.model import wording
from doe.model.names import MEAN

if TYPE_CHECKING:
    import pandas as pd

    from doe.plans.result import Plan

MOST_NAMED = {"wide": 30, "narrow": 18}
"""Most terms whose names are written beside the map."""

_CELL = {"wide": 22, "narrow": 16}
_TALLEST = {"wide": 620, "narrow": 300}
_TALL = 280
_MOST_TOLD = 8
_CHARACTER = 0.62
"""Width of a character in the widest of the fonts that may be there (DejaVu Sans), as a share of its size."""
_TOLD_SHARES = (0.1, 0.5, 0.9, 1.0)


def draw_correlations(plan: Plan, *, width: canvas.Width = "wide", mains_only: bool = False) -> go.Figure:
    """Draw the correlation of every two terms over the runs: the darker, the more the plan mixes them.

    Terms that the runs never vary are left out.

    Parameters
    ----------
    plan : Plan
        Result of `doe.plan`.
    width : {"wide", "narrow"}
        Which drawing is made.
    mains_only : bool
        Whether rows are main effects only, against all terms.
    """
    square = plan.correlations().dropna(how="all").dropna(how="all", axis="columns")
    rows = [name for name in square.index if not mains_only or (":" not in name and "^" not in name)]
    full = {name: text.term(str(name)) for name in square.columns}
    shown = _short(full, 24 if width == "wide" else 17)
    names = list(shown.values())
    named = len(names) <= MOST_NAMED[width]
    size = min(_CELL[width] * len(names), _TALLEST[width])
    height = size * len(rows) / len(names) if mains_only else size
    font = 12 if width == "wide" else 11
    side = math.ceil(_CHARACTER * font * max(map(len, names), default=0)) + 16 if named else 24
    margins = canvas.Margins(left=side, right=96 if width == "wide" else 12, top=16, bottom=side + 12)
    fig = canvas.empty(
        "correlations",
        canvas.as_many(plan.separation.sentences[:2], width),
        describe_correlations(plan),
        width,
        height,
        margins,
    )
    kept = [shown[name] for name in rows]
    fig.add_trace(_map(square.loc[rows], kept, names, full, has_scale=width == "wide"))
    ticks = "outside" if named else ""
    fig.update_xaxes(
        showgrid=False, ticks=ticks, showticklabels=named, tickangle=-90, tickfont={"size": font}, automargin=False
    )
    fig.update_yaxes(
        showgrid=False, showticklabels=named, autorange="reversed", tickfont={"size": font}, automargin=False
    )
    return fig


def _short(full: dict[Any, str], longest: int) -> dict[Any, str]:
    """Shorten names to the room beside the map: at the end, or where that leaves two alike inside; two never share a cell."""
    short = {name: text.cut(said, longest) for name, said in full.items()}
    if len(set(short.values())) < len(full):
        short = {name: text.cut_inside(said, longest) for name, said in full.items()}
    taken: dict[str, int] = {}
    for name, said in short.items():
        taken[said] = taken.get(said, 0) + 1
        short[name] = said + (taken[said] - 1) * "\u2060"  # word joiners, which are not seen
    return short


def _map(
    square: pd.DataFrame, rows: list[str], columns: list[str], full: dict[Any, str], *, has_scale: bool
) -> go.Heatmap:
    sizes = square.abs().to_numpy(dtype=float)
    hover = [
        [
            f"{text.safe(full[row])} and {text.safe(full[column])}: {wording.number(value, 2)}"
            for column, value in zip(square.columns, line, strict=True)
        ]
        for row, line in zip(square.index, square.to_numpy(dtype=float), strict=True)
    ]
    scale = [[0.0, theme.colour("sheet")], [0.5, theme.colour("band")], [1.0, theme.colour("data")]]
    bar = {
        "title": {"text": "correlation", "side": "right"},
        "thickness": 12,
        "len": 0.8,
        "outlinewidth": 0,
        "tickvals": [0, 0.5, 1],
    }
    return go.Heatmap(
        z=sizes, x=[text.safe(name) for name in columns], y=[text.safe(name) for name in rows], zmin=0, zmax=1, xgap=1, ygap=1,
        colorscale=scale, hovertext=hover, hoverinfo="text", colorbar=bar, showscale=has_scale, name="correlation",
    )  # fmt: skip


def describe_correlations(plan: Plan) -> str:
    """Say in words what the map shows."""
    found = [row for row in rows_of(plan.confounded) if row["with"] != MEAN]
    parts = [
        f"{text.term(row['term'])} and {text.term(row['with'])} {wording.number(row['correlation'], 2)}"
        for row in found[:_MOST_TOLD]
    ]
    if len(found) > _MOST_TOLD:
        least = wording.number(abs(found[_MOST_TOLD]["correlation"]), 2)
        parts.append(f"{len(found) - _MOST_TOLD} more pairs, none above {least}")
    head = "Correlation between terms, largest first" if parts else "No two terms are correlated"
    return text.sentences([head, *parts, *plan.separation.sentences])


def draw_prediction(plan: Plan, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw the error of prediction over the region: which share of all settings is predicted how well.

    Parameters
    ----------
    plan : Plan
        Result of `doe.plan`.
    width : {"wide", "narrow"}
        Which drawing is made.
    """
    spread = plan.prediction_spread()
    title = plan.prediction_headline(spread)
    what = _axis_title(plan, "error of prediction") if width == "wide" else "error"
    shown = text.lines(what, int(_TALL / text.ALONG_AXIS_PX))
    margins = canvas.Margins(left=(46 if width == "wide" else 36) + 18 * len(shown), right=24, top=16, bottom=62)
    fig = canvas.empty(
        "prediction", title, text.sentences([title, *_told(spread), plan.headline]), width, _TALL, margins
    )
    line = {"color": theme.colour("data"), "width": 3}
    hover = "%{x:.0f} % of the region: %{y:.3g} or less<extra></extra>"
    shares, errors = (100 * spread["share"]).tolist(), spread["error"].tolist()
    fig.add_trace(
        go.Scatter(x=shares, y=errors, mode="lines", name="error of prediction", line=line, hovertemplate=hover)
    )
    fig.update_xaxes(range=[0, 100], title_text="share of the region, %")
    fig.update_yaxes(rangemode="tozero", title_text=text.stacked(shown))
    return fig


def _told(spread: pd.DataFrame) -> list[str]:
    """Read the curve at a few shares of the region."""
    told = []
    for share in _TOLD_SHARES:
        row = spread.iloc[(spread["share"] - share).abs().argmin()]
        told.append(f"{wording.percent(row['share'])} of the region: {wording.number(row['error'])} or less")
    return told


def _axis_title(plan: Plan, what: str) -> str:
    return what if plan.scatter is not None else f"{what}, in multiples of the scatter between runs"
