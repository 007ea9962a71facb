"""What a figure shows, read back from its traces."""

from __future__ import annotations

import plotly.graph_objects as go


def whiskers(fig: go.Figure, name: str = "", *, upright: bool = False) -> list[tuple[float, float, float]]:
    """Place, low and high of every interval line whose trace name starts with `name`."""
    found = []
    for trace in fig.data:
        if not (trace.name.startswith(name) and trace.name.endswith(" interval")):
            continue
        values, places = (trace.y, trace.x) if upright else (trace.x, trace.y)
        for start in range(0, len(values), 3):
            found.append((places[start], values[start], values[start + 1]))
    return found


def marks(fig: go.Figure, name: str, *, upright: bool = False) -> list[tuple[float, float]]:
    """Place and value of the marks of one trace."""
    trace = next(trace for trace in fig.data if trace.name == name)
    values, places = (trace.y, trace.x) if upright else (trace.x, trace.y)
    return list(zip(places, values, strict=True))


def words(fig: go.Figure) -> str:
    """All text written on a figure, as one string."""
    parts = [str(note.text) for note in fig.layout.annotations] + [str(fig.layout.title.text)]
    for axis in (*fig.select_xaxes(), *fig.select_yaxes()):
        parts += [str(axis.title.text), *map(str, axis.ticktext or ())]
    return "\n".join(parts)
