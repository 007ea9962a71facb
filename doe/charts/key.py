"""The key of a chart: which mark is what, in a line of its own between title and plot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from doe.charts import text, theme

_GLYPHS = {"circle": "●", "square": "■", "diamond": "◆", "triangle-up": "▲", "x": "✖", "triangle-down": "▼",
           "cross": "✚", "star": "★", "circle-open": "○", "square-open": "□", "diamond-open": "◇",
           "triangle-up-open": "△", "triangle-down-open": "▽", "star-open": "☆"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """One mark and what it stands for.

    Attributes
    ----------
    label : str
        As the person wrote it.
    colour : str
        Hex colour.
    symbol : str
        Plotly's name of the mark.
    """

    label: str
    colour: str
    symbol: str


def glyph(symbol: str) -> str:
    """Return the sign that shows a mark in text."""
    return _GLYPHS[symbol]


def draw(fig: go.Figure, entries: Sequence[Entry], width: str, head: str = "") -> None:
    """Write the key above the plot, left; breaks into at most two lines."""
    longest = 96 if width == "wide" else 42
    lines: list[list[str]] = [[]]
    used = 0
    for entry in entries:
        label = text.lines(entry.label, 34, 1)[0]
        if used + len(label) + 4 > longest and lines[-1]:
            lines.append([])
            used = 0
        used += len(label) + 4
        lines[-1].append(f'<span style="color:{entry.colour}">{glyph(entry.symbol)}</span>&nbsp;{text.safe(label)}')
    shown = ["&nbsp;&nbsp; ".join(line) for line in lines[:2]]
    if len(lines) > 2:
        shown[-1] += " …"
    if head:
        shown[0] = f"{text.small(text.safe(head), theme.colour('soft'))}&nbsp; {shown[0]}"
    fig.add_annotation(text="<br>".join(shown), xref="paper", x=0, xanchor="left", yref="paper", y=1, yanchor="bottom",
                       yshift=8, showarrow=False, align="left", font={"size": 13})  # fmt: skip
