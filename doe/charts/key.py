"""The key of a chart: which mark is what, in a line of its own between title and plot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from doe.charts import text, theme

_GLYPHS = {"circle": "●", "square": "■", "diamond": "◆", "triangle-up": "▲", "x": "✖", "triangle-down": "▼",
           "cross": "✚", "star": "★", "circle-open": "○", "square-open": "□", "diamond-open": "◇",
           "triangle-up-open": "△", "triangle-down-open": "▽", "star-open": "☆"}  # fmt: skip


LINE = 18
"""Height of a line, in pixels."""
_ROOM = {"wide": 96, "narrow": 42}
"""Characters in a line."""


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


def count_lines(entries: Sequence[Entry], width: str, head: str = "") -> int:
    """Count the lines that a key takes, `LINE` pixels each."""
    return len(_lines(entries, width, head))


def draw(fig: go.Figure, entries: Sequence[Entry], width: str, head: str = "", *, most: int = 2) -> None:
    """Write the key above the plot, left; breaks into at most so many lines."""
    lines = _lines(entries, width, head)
    shown = ["&nbsp;&nbsp; ".join(line) for line in lines[:most]]
    if len(lines) > most:
        shown[-1] += " …"
    fig.add_annotation(text="<br>".join(shown), xref="paper", x=0, xanchor="left", yref="paper", y=1, yanchor="bottom",
                       yshift=8, showarrow=False, align="left", font={"size": 13})  # fmt: skip


def _lines(entries: Sequence[Entry], width: str, head: str) -> list[list[str]]:
    """Share the entries out to lines, what they belong to before them; a long one of that has a line of its own."""
    longest = _ROOM[width]
    head = text.cut(head, longest - 6)
    lines: list[list[str]] = [[text.small(text.safe(head), theme.colour("soft"))] if head else []]
    used = len(head) + 2 if head else 0
    for entry in entries:
        label = text.cut(entry.label, min(34, longest - 4))
        if used + len(label) + 4 > longest and lines[-1]:
            lines.append([])
            used = 0
        used += len(label) + 4
        lines[-1].append(f'<span style="color:{entry.colour}">{glyph(entry.symbol)}</span>&nbsp;{text.safe(label)}')
    return lines
