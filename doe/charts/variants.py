"""Variants along an axis in the order they were built: across the page, or down it where the screen is narrow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from doe.charts import canvas, text
from doe.charts.rows import Row, Rows

_ROW = 24
_MOST_ROWS = 40
_MANY = 60


@dataclass(frozen=True, slots=True)
class Layout:
    """How a set of variants is laid out.

    Attributes
    ----------
    names : tuple of str
        Variants in order.
    down : bool
        Whether they run down the page, one row each.
    height : float
        Height of the plot in pixels.
    gutter : int
        Room left of the plot in pixels.
    across : int
        Width of the plot in pixels, about.
    """

    names: tuple[str, ...]
    down: bool
    height: float
    gutter: int
    across: int

    @property
    def size(self) -> float:
        """Size of a mark."""
        return 5.0 if len(self.names) > _MANY else 9.0

    @property
    def thick(self) -> float:
        """Width of an interval's line."""
        return 1.5 if len(self.names) > _MANY else 3.0


def ordered(records: Iterable[Row], order: Sequence[str] | None) -> list[Row]:
    """Sort rows by a given order of variants; without one they stay as they are."""
    rows = list(records)
    place = {str(name): number for number, name in enumerate(order or ())}
    return sorted(rows, key=lambda row: place.get(str(row["variant"]), len(place))) if order else rows


def lay_out(rows: Rows, width: canvas.Width, tall: float) -> Layout:
    """Choose the layout: narrow drawings run down the page unless the variants are too many for that."""
    names = tuple(str(row["variant"]) for row in rows)
    down = width == "narrow" and len(names) <= _MOST_ROWS
    gutter = min(text.room(names, 13), 120) + 24 if down else 60 if width == "wide" else 50
    return Layout(names, down, max(80.0, _ROW * len(names)) if down else tall, gutter, canvas.PIXELS[width] - 150)


def set_axes(fig: go.Figure, layout: Layout, value_axis: Row, label: str) -> None:
    """Label the variants on one axis, with `label` for all of them, and put `value_axis` on the other."""
    names, down = layout.names, layout.down
    shown = [text.cut(name, 14 if down else 9) for name in names]
    longest = max(map(len, shown), default=1)
    is_level = down or longest <= 4
    per_label = text.room(["0" * longest], 13) + 10 if is_level else 24
    step = 1 if down else max(1, math.ceil(len(names) * per_label / layout.across))
    ticks = {
        "tickvals": list(range(0, len(names), step)),
        "ticktext": [text.safe(name) for name in shown[::step]],
        "tickangle": 0 if is_level else -45,
        "showgrid": False,
    }
    if down:
        fig.update_xaxes(value_axis)
        fig.update_yaxes(ticks, range=[len(names) - 0.5, -0.5], automargin=False)
    else:
        fig.update_yaxes(value_axis)
        fig.update_xaxes(ticks, range=[-0.7, len(names) - 0.3], title_text=label)
