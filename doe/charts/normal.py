"""Normal plot of effects: those that chance alone would give lie on a straight line (Daniel 1959).

Daniel, C. (1959), Use of half-normal plots in interpreting factorial two-level experiments, Technometrics 1, 311-341.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist
from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording
from doe.model.errors import UsageError

if TYPE_CHECKING:
    from doe.fit.effects import Effects

FEWEST = 5
"""Effects below this number make no line to stand off."""

_TALL = {"wide": 320, "narrow": 300}


def can_draw_normal(effects: Effects) -> bool:
    """Tell whether there are enough effects for a normal plot."""
    return len(canvas.finite(effects.classical["swing"])) >= FEWEST if len(effects.classical) else False


def draw_normal(effects: Effects, *, width: canvas.Width = "wide", margin: float | None = None) -> go.Figure:
    """Draw the classical effects in order of size against where a normal sample of that many would lie.

    Parameters
    ----------
    effects : Effects
        Result of `doe.analyse`; its `classical` table is drawn.
    width : {"wide", "narrow"}
        Which drawing is made.
    margin : float, optional
        Margin of error of an effect (Lenth 1989), in the outcome's unit; effects beyond it are filled and named. By
        default that of the result, if any.

    Raises
    ------
    UsageError
        If there are fewer than five effects.
    """
    rows = sorted(rows_of(effects.classical), key=lambda row: row["swing"])
    rows = [row for row in rows if canvas.finite([row["swing"]])]
    if len(rows) < FEWEST:
        raise UsageError(
            f"A normal plot needs {FEWEST} effects or more; {text.name(effects.outcome.name)} has {len(rows)}."
        )
    if margin is None and effects.margins is not None:
        margin = effects.margins.margin
    margins = canvas.Margins(left=64 if width == "wide" else 50, right=24, top=14, bottom=60)
    fig = canvas.empty("normal", _title(rows, margin), describe_normal(effects, margin), width, _TALL[width], margins)
    scores = normal_places(len(rows))
    if margin is not None:
        fig.add_vrect(x0=-margin, x1=margin, fillcolor=theme.colour("band"), line_width=0, layer="below")
    fig.add_vline(x=0, line={"color": theme.colour("line"), "width": 1.5}, layer="below")
    for is_beyond in (False, True):
        _draw(fig, [pair for pair in zip(rows, scores, strict=True) if _beyond(pair[0], margin) == is_beyond],
              is_beyond, effects.outcome.unit)  # fmt: skip
    unit = f", {effects.outcome.unit}" if effects.outcome.unit else ""
    band = "; band: Lenth's margin of error" if margin is not None else ""
    shown = text.lines(f"effect on {text.name(effects.outcome.name)}{unit}{band}", 90 if width == "wide" else 38)
    limits = canvas.extent([row["swing"] for row in rows], [] if margin is None else [-margin, margin])
    fig.update_xaxes(range=list(limits), title_text=text.stacked(shown), nticks=7)
    fig.update_yaxes(title_text="normal score", nticks=6)
    return fig


def describe_normal(effects: Effects, margin: float | None = None) -> str:
    """Say in words what the chart shows: the effects in order, and which lie beyond the margin."""
    unit = effects.outcome.unit
    rows = sorted(rows_of(effects.classical), key=lambda row: row["swing"])
    parts = [f"Effects on {text.name(effects.outcome.name)} in order of size, as a normal plot"]
    if margin is not None:
        parts.append(f"Lenth's margin of error is {wording.amount(margin, unit)}")
    said = [_told(row, margin, unit) for row in rows if canvas.finite([row["swing"]])]
    return text.sentences([*parts, ", ".join(said)])


def _told(row: Row, margin: float | None, unit: str) -> str:
    beyond = " (beyond it)" if _beyond(row, margin) else ""
    return f"{text.term(row['term'])} {wording.signed(row['swing'])}{wording.unit_behind(unit)}{beyond}"


def normal_places(count: int) -> list[float]:
    """Where the ordered values of a normal sample are expected: quantiles at (i - 1/2) / n, as Daniel plots them."""
    return [NormalDist().inv_cdf((place + 0.5) / count) for place in range(count)]


def _beyond(row: Row, margin: float | None) -> bool:
    return margin is not None and abs(row["swing"]) > margin


def _draw(fig: go.Figure, pairs: Sequence[tuple[Row, float]], is_beyond: bool, unit: str) -> None:
    if not pairs:
        return
    hue = theme.colour("data") if is_beyond else theme.colour("soft")
    names = [text.term(row["term"]) for row, _ in pairs]
    hover = [text.stacked([name, f"{wording.signed(row['swing'])}{wording.unit_behind(unit)}"])
             for name, (row, _) in zip(names, pairs, strict=True)]  # fmt: skip
    sides = ["middle left" if row["swing"] > 0 else "middle right" for row, _ in pairs]
    fig.add_scatter(x=[row["swing"] for row, _ in pairs], y=[score for _, score in pairs], name="effects",
                    mode="markers+text" if is_beyond else "markers", hoverinfo="text", hovertext=hover,
                    text=[f"{text.safe(text.lines(name, 26, 1)[0])}  " for name in names], textposition=sides,
                    marker={"size": 11 if is_beyond else 8, "color": hue if is_beyond else theme.colour("sheet"),
                            "line": {"width": 2, "color": hue}})  # fmt: skip


def _title(rows: Rows, margin: float | None) -> str:
    if margin is None:
        return "Effects that chance alone would give lie on a straight line; look for those that stand off it"
    beyond = sorted((row for row in rows if _beyond(row, margin)), key=lambda row: -abs(row["swing"]))
    if not beyond:
        return "No effect stands beyond what chance alone would give"
    names = ", ".join(text.term(row["term"]) for row in beyond[:5])
    more = f" and {len(beyond) - 5} more" if len(beyond) > 5 else ""
    return f"Beyond what chance alone would give: {names}{more}"
