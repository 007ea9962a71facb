"""The empty chart: size, title, text alternative, and how an interval is drawn."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any, Literal

import plotly.graph_objects as go

from doe.charts import text, theme
from doe.model.choices import choose

Width = Literal["wide", "narrow"]

PIXELS = {"wide": 860, "narrow": 360}
"""Width in pixels that each drawing is made for; pages may stretch the wide one."""

_TITLE_CHARACTERS = {"wide": 84, "narrow": 36}
_TITLE_LINES, _TITLE_LINE = 8, 24
_REACH = 3.0
_STRIP = 11


@dataclass(frozen=True, slots=True)
class Margins:
    """Room around the plot, in pixels; the title's comes on top.

    Attributes
    ----------
    left, right, top, bottom : int
        Pixels.
    """

    left: int = 64
    right: int = 20
    top: int = 16
    bottom: int = 56


def empty(kind: str, title: str, alt: str, width: Width, height: float, margins: Margins | None = None) -> go.Figure:
    """Start a figure.

    Parameters
    ----------
    kind : str
        Name of the chart, kept in ``layout.meta``.
    title : str
        The sentence that the chart supports.
    alt : str
        The same facts as text, for those who cannot see it.
    width : {"wide", "narrow"}
        Which drawing is made.
    height : float
        Height of the plot itself, in pixels.
    margins : Margins, optional
        Room around it.

    Raises
    ------
    UsageError
        If the width is neither.
    """
    choose("width", width, Width)
    room = margins or Margins()
    shown = text.lines(title, _TITLE_CHARACTERS[width], _TITLE_LINES)
    above = room.top + 12 + _TITLE_LINE * len(shown)
    fig = go.Figure(layout={"template": theme.template()})
    fig.update_layout(
        title={"text": text.stacked(shown), "font": {"size": 18 if width == "wide" else 17}, "pad": _pad(shown)},
        height=round(height) + above + room.bottom,
        margin={"l": room.left, "r": room.right, "t": above, "b": room.bottom},
        meta={"kind": kind, "title": title, "alt": alt, "width": width, "pixels": PIXELS[width], "top": room.top},
    )
    return fig


def as_many(sentences: Sequence[str], width: Width) -> str:
    """Join as many of some sentences as a title takes without being cut, the first in any case."""
    kept = " ".join(sentences)
    while len(sentences) > 1 and len(text.lines(kept, _TITLE_CHARACTERS[width], 99)) > _TITLE_LINES:
        sentences = sentences[:-1]
        kept = " ".join(sentences)
    return kept


def _pad(shown: Sequence[str]) -> dict[str, int]:
    """Room above a title; plotly sets the first of several lines higher than a single one."""
    return {"t": 12 if len(shown) == 1 else 24, "l": 12}


def rows(fig: go.Figure, height: float) -> None:
    """Make the vertical axis count pixels downwards, so that rows may have any height."""
    fig.update_yaxes(range=[height, 0], visible=False, showgrid=False, automargin=False)


def ground(fig: go.Figure, matters: float | None, strips: Sequence[float] = ()) -> None:
    """Draw what changes are measured against: no change at all, and the band of those too small to matter.

    Parameters
    ----------
    fig : Figure
        Drawn into; changes are on its horizontal axis.
    matters : float or None
        Half the width of the band.
    strips : sequence of float
        Middles of the rows, in pixels, where each row has a strip of its own; by default one ground for all.
    """
    tall: list[dict[str, Any]] = [{"yref": "y", "y0": row - _STRIP, "y1": row + _STRIP} for row in strips]
    for reach in tall or [{"yref": "paper", "y0": 0, "y1": 1}]:
        if strips:
            _rectangle(fig, "paper", xref="paper", x0=0, x1=1, **reach)
        if matters is not None:
            _rectangle(fig, "band", x0=-matters, x1=matters, **reach)
        line = {"color": theme.colour("ink"), "width": 1.5}
        fig.add_shape(type="line", x0=0, x1=0, line=line, layer="below", **reach)


def _rectangle(fig: go.Figure, colour: str, **place: Any) -> None:
    fig.add_shape(type="rect", fillcolor=theme.colour(colour), line_width=0, layer="below", **place)


def note(fig: go.Figure, content: str, **place: Any) -> None:
    """Write text on the chart without an arrow; `content` must be safe already."""
    fig.add_annotation(text=content, showarrow=False, align="left", xanchor="left", **place)


def finite(values: Iterable[Any]) -> list[float]:
    """Keep the numbers that can be drawn."""
    return [float(value) for value in values if value is not None and math.isfinite(value)]


def extent(values: Sequence[float], ends: Sequence[float], *, floor: float = 1.0) -> tuple[float, float]:
    """Choose the range of an axis.

    Parameters
    ----------
    values : sequence of float
        What must be seen: estimates, zero, what matters.
    ends : sequence of float
        Ends of intervals; seen too unless they reach out further than the span of `values` and than three times what
        the middle one of them does, so that one interval that knows nothing does not flatten all others. Those are
        drawn open.
    floor : float
        Half the range where there is nothing to go by.

    Returns
    -------
    tuple of float
        Low and high, a little beyond what is drawn.
    """
    seen = finite(values)
    if not seen:
        return -floor, floor
    low, high = min(seen), max(seen)
    beyond = [max(low - end, end - high, 0.0) for end in finite(ends)]
    reach = max(high - low, _REACH * median(beyond or [0.0])) or floor
    drawn = [min(max(end, low - reach), high + reach) for end in finite(ends)]
    low, high = min([low, *drawn]), max([high, *drawn])
    pad = 0.06 * ((high - low) or floor)
    return low - pad, high + pad


@dataclass(frozen=True, slots=True)
class Interval:
    """One interval to be drawn.

    Attributes
    ----------
    place : float
        Where it stands on the other axis.
    value, low, high : float
        Estimate and 95 % ends; ends may be infinite or NaN.
    hover : str
        Safe text shown under the pointer.
    """

    place: float
    value: float
    low: float
    high: float
    hover: str


def intervals(
    fig: go.Figure,
    items: Sequence[Interval],
    limits: tuple[float, float],
    *,
    upright: bool = False,
    name: str = "",
    colour: str = "data",
    symbol: str = "circle",
    size: float = 11,
    thick: float = 4,
    filled: bool = True,
    dash: str = "solid",
    join: bool = False,
    **cell: Any,
) -> None:
    """Draw estimates with their intervals: a line for the interval, a mark on it, open heads where it runs on.

    Parameters
    ----------
    fig : Figure
        Drawn into.
    items : sequence of Interval
        What is drawn, in one style.
    limits : tuple of float
        Range of the axis that the values stand on.
    upright : bool
        Whether the intervals stand upright.
    name, colour, symbol, size, thick, filled, dash
        Style; `colour` is a name of the palette or a hex colour.
    join : bool
        Whether a thin line joins the marks.
    **cell
        ``row`` and ``col`` of a figure with several panels.
    """
    hue = colour if colour.startswith("#") else theme.colour(colour)
    whiskers = _whiskers(items, limits)
    _trace(fig, whiskers, upright, cell, name=f"{name} interval", mode="lines", hoverinfo="skip",
           line={"color": hue, "width": thick, "dash": dash}, showlegend=False)  # fmt: skip
    for sign, end in ((-1, "low"), (1, "high")):
        heads = [(item.place, limits[0 if sign < 0 else 1]) for item in items if _runs_on(item, limits, sign)]
        head = {"symbol": _head(upright, sign), "color": hue, "size": 10}
        if heads:
            _trace(fig, heads, upright, cell, name=f"{name} runs on {end}", mode="markers", hoverinfo="skip",
                   marker=head, showlegend=False)  # fmt: skip
    marks = [(item.place, item.value) for item in items]
    fill = hue if filled else theme.colour("sheet")
    _trace(fig, marks, upright, cell, name=name, mode="lines+markers" if join else "markers",
           line={"color": hue, "width": 1.5}, hoverinfo="text", hovertext=[item.hover for item in items],
           marker={"symbol": symbol, "size": size, "color": fill, "line": {"color": hue, "width": 2.5}})  # fmt: skip


def _whiskers(items: Sequence[Interval], limits: tuple[float, float]) -> list[tuple[float | None, float | None]]:
    points: list[tuple[float | None, float | None]] = []
    for item in items:
        if math.isnan(item.low) or math.isnan(item.high):
            continue
        low, high = max(item.low, limits[0]), min(item.high, limits[1])
        points += [(item.place, low), (item.place, high), (None, None)]
    return points


def _runs_on(item: Interval, limits: tuple[float, float], sign: int) -> bool:
    return item.low < limits[0] if sign < 0 else item.high > limits[1]


def _head(upright: bool, sign: int) -> str:
    if upright:
        return "triangle-down-open" if sign < 0 else "triangle-up-open"
    return "triangle-left-open" if sign < 0 else "triangle-right-open"


def _trace(
    fig: go.Figure, points: Sequence[tuple[Any, Any]], upright: bool, cell: dict[str, Any], **style: Any
) -> None:
    places, values = [point[0] for point in points], [_drawable(point[1]) for point in points]
    x, y = (places, values) if upright else (values, places)
    fig.add_trace(go.Scatter(x=x, y=y, **style), **cell)


def _drawable(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None
