"""Every change within reach: what it is expected to gain, against the bench minutes it takes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, key, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording
from doe.model.choices import AdviceKind
from doe.model.names import unit_text

if TYPE_CHECKING:
    from doe.advise.advice import Advice

_TALL = {"wide": 300, "narrow": 280}
_MOST_TOLD = 10
_KINDS: Mapping[AdviceKind, tuple[str, str]] = {
    "improve": ("series1", "circle"),
    "learn": ("series2", "square"),
    "repeat": ("series3", "diamond"),
    "confirm": ("series4", "triangle-up"),
}


def draw_candidates(advice: Advice, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw expected gain in worth against bench minutes, one mark per candidate; the first choice is ringed.

    Parameters
    ----------
    advice : Advice
        Result of `doe.recommend`.
    width : {"wide", "narrow"}
        Which drawing is made.
    """
    rows = rows_of(advice.candidates)
    margins = canvas.Margins(left=64 if width == "wide" else 54, right=24, top=44, bottom=60)
    fig = canvas.empty("candidates", _title(advice), describe_candidates(advice), width, _TALL[width], margins)
    entries = []
    for kind, (hue, symbol) in _KINDS.items():
        own = [row for row in rows if row["kind"] == kind]
        if own:
            _draw_kind(fig, own, kind, theme.colour(hue), symbol)
            entries.append(key.Entry(kind, theme.colour(hue), f"{symbol}-open"))
    first = _first(advice)
    if first is not None:
        _ring(fig, first, rows, width)
    if entries:
        key.draw(fig, entries, width)
    fig.update_xaxes(title_text="bench minutes", rangemode="tozero")
    # gains may be tiny, and plotly's own letters for powers of ten (100 micro) are no bench words
    fig.update_yaxes(title_text="expected gain in worth", rangemode="tozero", nticks=6, exponentformat="none")
    return fig


def describe_candidates(advice: Advice) -> str:
    """Say in words what the chart shows: how many candidates, the first choice, the ten that gain most, and the others."""
    rows = sorted(rows_of(advice.candidates), key=lambda row: -row["gain"])
    head = f"Expected gain in worth against bench minutes for {wording.counted(len(rows), 'change')} within reach"
    kinds = ", ".join(f"{sum(row['kind'] == kind for row in rows)} to {kind}" for kind in _KINDS)
    first = next((row for row in rows if row["chosen"]), None)
    parts = [f"{head}: {kinds}" if rows else head, f"First choice: {_told(first)}" if first is not None else ""]
    rest = [row for row in rows if row is not first]
    return text.sentences([*parts, *map(_told, rest[:_MOST_TOLD]), _others(rest[_MOST_TOLD:])])


def _told(row: Row) -> str:
    unit = _unit(row)
    return f"{row['label']}{f' on {unit}' if unit else ''}: to {row['kind']}, {_numbers(row)}"


def _others(rows: Rows) -> str:
    """Sum up, by their ends, the candidates that are not told one by one."""
    if not rows:
        return ""
    gains, minutes = [row["gain"] for row in rows], [row["minutes"] for row in rows]
    gain = f"gain {wording.number(min(gains), 2)} to {wording.number(max(gains), 2)}"
    return f"{len(rows)} others: {gain} for {wording.duration(min(minutes))} to {wording.duration(max(minutes))}"


def _draw_kind(fig: go.Figure, rows: Rows, kind: str, hue: str, symbol: str) -> None:
    hover = [text.stacked([row["label"], f"{kind}, {_numbers(row)}", _unit(row)]) for row in rows]
    fig.add_scatter(x=[row["minutes"] for row in rows], y=[row["gain"] for row in rows], mode="markers", name=kind,
                    hoverinfo="text", hovertext=hover, opacity=0.85, cliponaxis=False,
                    marker={"symbol": f"{symbol}-open", "size": 8, "color": hue, "line": {"width": 1.6}})  # fmt: skip


def _ring(fig: go.Figure, first: Row, rows: Rows, width: canvas.Width) -> None:
    hue = theme.colour("mark")
    fig.add_scatter(x=[first["minutes"]], y=[first["gain"]], mode="markers", name="first choice",
                    hoverinfo="skip", cliponaxis=False,
                    marker={"symbol": "circle-open", "size": 20, "color": hue, "line": {"width": 2.5}})  # fmt: skip
    is_right = first["minutes"] > max(row["minutes"] for row in rows) / 2
    label = text.stacked(text.lines(first["label"], 30 if width == "wide" else 22, 2))
    fig.add_annotation(text=f"<b>{label}</b>", x=first["minutes"], y=first["gain"], showarrow=False, align="left",
                       xanchor="right" if is_right else "left", xshift=8 if is_right else -8,
                       yanchor="bottom", yshift=10, font={"size": 13, "color": hue})  # fmt: skip


def _first(advice: Advice) -> Row | None:
    """Return the candidate that heads the table of suggestions."""
    return next((row for row in rows_of(advice.candidates) if row["chosen"]), None)


def _title(advice: Advice) -> str:
    if advice.stop:
        return advice.told_to_stop[0]
    first = _first(advice)
    if first is None:
        return "No change is within reach"
    if not advice.best:
        return f"To explore with first: {first['label']}, {wording.duration(first['minutes'])}"
    return f"Worth most for its bench time: {first['label']}, {wording.duration(first['minutes'])}"


def _numbers(row: Row) -> str:
    return f"gain {wording.number(row['gain'], 2)} for {wording.duration(row['minutes'])}"


def _unit(row: Row) -> str:
    unit = text.plain(row.get("unit"))
    return unit_text(unit) if unit else ""
