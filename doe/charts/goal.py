"""What would be good, as quiet lines behind an outcome."""

from __future__ import annotations

import math
from typing import Any

import plotly.graph_objects as go

from doe.charts import text, theme
from doe.model import wording
from doe.model.outcome import Outcome

_SHORTEST_NAME = 8


def axis_title(outcome: Outcome, tall: float = 330.0) -> str:
    """Name the outcome with its unit or its scale, cut to so many pixels; the text alternative has the whole name."""
    longest = int(tall / text.ALONG_AXIS_PX)
    more = _measure(outcome)
    room = longest - len(more) - (2 if more else 0)
    name = text.cut(text.name(outcome.name), max(min(room, 30), _SHORTEST_NAME))
    return f"{name}, {more}" if more else name


def axis_lines(outcome: Outcome, tall: float) -> list[str]:
    """Name the outcome as `axis_title` does; what it is measured in stands on a line of its own where one is too short."""
    longest, whole, more = int(tall / text.ALONG_AXIS_PX), named(outcome), _measure(outcome)
    if len(whole) <= longest or not more:
        return [text.cut(whole, longest)]
    return [text.cut(text.name(outcome.name), longest), text.cut(more, longest)]


def named(outcome: Outcome) -> str:
    """Name the outcome with its unit or its scale, at whatever length."""
    more = _measure(outcome)
    return f"{text.name(outcome.name)}, {more}" if more else text.name(outcome.name)


def _measure(outcome: Outcome) -> str:
    if outcome.relative_to:
        return text.cut(f"{outcome.unit} against {outcome.relative_to}".strip(), 36)
    if outcome.scale is not None:
        return f"graded {wording.exact(outcome.scale[0])} to {wording.exact(outcome.scale[1])}"
    return text.cut(outcome.unit, 12)


def marks(outcome: Outcome) -> list[tuple[float, str]]:
    """List the values that the goal names, with what each is called; none without a goal."""
    if outcome.goal is None:
        return []
    inner, outer = outcome.inner, outcome.outer
    named = [(outer[0], "worst"), (outer[1], "worst")]
    if outcome.goal == "hit":
        named.append((inner[0], "target"))
    elif outcome.goal == "within":
        named += [(inner[0], "wanted from"), (inner[1], "wanted to")]
    else:
        named += [(end, "best") for end in inner]
    return [(value, word) for value, word in named if math.isfinite(value)]


def phrase(outcome: Outcome) -> str:
    """Say the goal in a few words: ``target 0, worst -6 and 6``; empty without one."""
    words: dict[str, list[str]] = {}
    for value, word in marks(outcome):
        words.setdefault(word, []).append(wording.exact(value))
    if outcome.goal == "within":
        words = {"wanted": [f"{words['wanted from'][0]} to {words['wanted to'][0]}"], "worst": words["worst"]}
    ordered = sorted(words.items(), key=lambda item: item[0] == "worst")
    return ", ".join(f"{word} {' and '.join(values)}" for word, values in ordered)


def sentence(outcome: Outcome) -> str:
    """Say the goal as a sentence of a text alternative; empty without one."""
    said = phrase(outcome)
    return f"Goal: {said}" if said else ""


def smallest(matters: float | None, unit: str = "") -> str:
    """Say what the band of a chart of changes means; empty without one."""
    reach = wording.amount(matters, unit)
    return f"A change of less than {reach} is too small to matter" if matters is not None else ""


def lines(fig: go.Figure, outcome: Outcome, limits: tuple[float, float], *, upright: bool = False, **cell: Any) -> None:
    """Draw the goal's values that lie on the axis as thin lines across it.

    Parameters
    ----------
    upright : bool
        Whether the lines stand upright, for an outcome on the horizontal axis.
    """
    for value, word in marks(outcome):
        if not limits[0] <= value <= limits[1]:
            continue
        line = {"color": theme.colour("soft"), "width": 1, "dash": "dot" if word == "worst" else "solid"}
        if upright:
            fig.add_vline(x=value, line=line, layer="below", **cell)
        else:
            fig.add_hline(y=value, line=line, layer="below", **cell)


def label(fig: go.Figure, outcome: Outcome, limits: tuple[float, float]) -> None:
    """Write beside each goal line what it is, at the right edge of a single plot."""
    for value, word in marks(outcome):
        if limits[0] <= value <= limits[1]:
            fig.add_annotation(text=word, xref="paper", x=1, xanchor="left", xshift=4, y=value, yanchor="middle",
                               showarrow=False, font={"size": 12, "color": theme.colour("soft")})  # fmt: skip
