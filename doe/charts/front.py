"""Trade-offs: variants where no outcome improves without loss in another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import plotly.graph_objects as go

from doe.charts import canvas, goal, key, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording
from doe.model.errors import UsageError
from doe.model.names import interval_columns
from doe.model.outcome import Outcome

if TYPE_CHECKING:
    from doe.advise.advice import Advice

MOST = 12
"""Variants drawn; those with the most worth."""

_ROW = 40
_HEAD = 44
_GUTTER = {"wide": 190, "narrow": 132}
_BOLD_PX = 9.2
"""Width of a bold character in the widest of the fonts that may be there."""
_LABEL = {"wide": 25, "narrow": 16}


def draw_front(advice: Advice, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw each variant of the front in a row, what it does to each outcome in a panel, with 95 % intervals.

    Built ones are filled, those that could be built are open, the one to keep stands out. Most worth comes first.

    Parameters
    ----------
    advice : Advice
        Result of `doe.recommend`.
    width : {"wide", "narrow"}
        Panels side by side, or one below the other.

    Raises
    ------
    UsageError
        If there is no front: with one outcome, or before the first readings.
    """
    rows = rows_of(advice.front)[:MOST]
    outcomes = [outcome for outcome in advice.outcomes if outcome.name in advice.front.columns]
    if not rows:
        raise UsageError("There is nothing to trade off: that takes two outcomes with goals, and readings.")
    deep, across = (1, len(outcomes)) if width == "wide" else (len(outcomes), 1)
    height = deep * _ROW * len(rows) + (deep - 1) * (_HEAD + 24)
    margins = canvas.Margins(left=_GUTTER[width], right=18, top=_HEAD + 28, bottom=34)
    fig = canvas.empty("front", _headline(advice), describe_front(advice), width, height, margins)
    fig.set_subplots(deep, across, shared_yaxes=width == "wide", horizontal_spacing=0.03 if across > 1 else 0,
                     vertical_spacing=(_HEAD + 24) / height if deep > 1 else 0)  # fmt: skip
    for place, outcome in enumerate(outcomes):
        cell = {"row": 1, "col": place + 1} if width == "wide" else {"row": place + 1, "col": 1}
        _panel(fig, advice, outcome, rows, cell, (canvas.PIXELS[width] - _GUTTER[width] - 18) / across)
    ranks = _ranks(rows)
    labels = [
        text.stacked(text.lines(rank + label(advice, row), _LABEL[width], 2))
        for rank, row in zip(ranks, rows, strict=True)
    ]
    fig.update_yaxes(range=[len(rows) - 0.5, -0.5], tickvals=list(range(len(rows))), ticktext=labels, automargin=False,
                     tickfont={"size": 13}, ticks="")  # fmt: skip
    _key(fig, rows, width)
    return fig


def _headline(advice: Advice) -> str:
    """Say what is traded, and which variant has the most worth as the outcomes are weighted now."""
    rows = rows_of(advice.front)
    if not rows:
        return "There is nothing to trade off yet"
    first = rows[0]
    named = f"variant {text.plain(first['variant'])}" if text.plain(first["variant"]) else "one yet to build"
    if len(rows) == 1:
        return f"Nothing has to be traded: {named} is best in every outcome"
    worth = wording.fixed(first["mean worth"], 2)
    return f"In {len(rows)} variants no outcome improves without loss in another; most worth now, {worth}, is {named}"


def describe_front(advice: Advice) -> str:
    """Say in words what the chart shows: each variant's outcomes with intervals."""
    rows = rows_of(advice.front)[:MOST]
    parts = [_headline(advice)]
    if len(advice.front) > MOST:
        parts.append(f"The {MOST} with the most worth")
    parts += [f"{text.name(outcome.name)}: {_wanted(outcome)}" for outcome in _shown(advice) if outcome.goal]
    kept = text.plain(advice.best.get("variant")) if advice.best else ""
    for rank, row in zip(_ranks(rows), rows, strict=True):
        values = [f"{text.name(outcome.name)} {advice.told_on_front(row, outcome)}" for outcome in _shown(advice)]
        who = "it or one alike " if row["more alike"] else ""
        chance = f"{who}on the front with a chance of {wording.chance(row['chance on front'])}"
        said = f"{rank}{_named(advice, row)}{' (to keep)' if kept and text.plain(row['variant']) == kept else ''}"
        parts.append(f"{said}: {', '.join(values)}, {chance}")
    return text.sentences(parts)


def _ranks(rows: Rows) -> list[str]:
    """Return numbers for the rows where several are yet to build: what fits beside a chart may not tell these apart."""
    is_needed = sum(not text.plain(row["variant"]) for row in rows) > 1
    return [f"{place}. " if is_needed else "" for place in range(1, len(rows) + 1)]


def label(advice: Advice, row: Row) -> str:
    """Name a variant of the front: its label, or for one yet to build the settings that tell it from the others."""
    more = f" (and {row['more alike']} alike)" if row["more alike"] else ""
    if text.plain(row["variant"]):
        return f"variant {text.plain(row['variant'])}{more}"
    return f"new: {_settings(row, _telling(advice, row))}{more}"


def _telling(advice: Advice, row: Row) -> list[str]:
    """Name the factors in which those yet to build differ; of a single one, those in which it differs from the best so far."""
    possible = advice.front[advice.front["variant"] == ""]
    names, now = _factors(advice), (advice.best or {}).get("settings", {})
    among = [name for name in names if possible[name].nunique() > 1]
    return among or [name for name in names if name in now and row[name] != now[name]] or names


def _named(advice: Advice, row: Row) -> str:
    name = text.plain(row["variant"])
    said = f"variant {name}" if name else f"new: {_settings(row, _factors(advice))}"
    if not row["more alike"]:
        return said
    return f"{said} (and {row['more alike']} alike to build, in {advice.alike_in(row)})"


def _factors(advice: Advice) -> list[str]:
    columns = list(advice.front.columns)
    return columns[columns.index("variant") + 1 : columns.index("mean worth")]


def _settings(row: Row, factors: Sequence[str]) -> str:
    return ", ".join(f"{text.name(name)} {wording.setting(row[name])}" for name in factors)


def _shown(advice: Advice) -> list[Outcome]:
    return [outcome for outcome in advice.outcomes if outcome.name in advice.front.columns]


def _wanted(outcome: Outcome) -> str:
    side = {"raise": "more is better, ", "lower": "less is better, "}.get(str(outcome.goal), "")
    return f"{side}{goal.phrase(outcome)}"


def _panel(fig: go.Figure, advice: Advice, outcome: Outcome, rows: Rows, cell: dict[str, Any], room: float) -> None:
    name = outcome.name
    means, lows, highs = ([outcome.on_scale(row[column]) for row in rows] for column in interval_columns(name))
    limits = canvas.extent(means, [*lows, *highs])
    goal.lines(fig, outcome, limits, upright=True, **cell)
    for style, chosen in _styles(advice, rows):
        items = [
            canvas.Interval(place, means[place], lows[place], highs[place], _hover(advice, row, outcome))
            for place, row in enumerate(rows)
            if place in chosen
        ]
        if items:
            canvas.intervals(fig, items, limits, size=10, thick=3.5, **style, **cell)
    fig.update_xaxes(range=list(limits), nticks=5, **cell)
    short = {"raise": "more is better", "lower": "less is better"}.get(str(outcome.goal), goal.phrase(outcome))
    wanted = short.split(", worst")[0]
    unit = wording.unit_behind(text.cut(outcome.unit, 8))
    named = text.cut(text.name(name), max(min(18, int(room / _BOLD_PX) - len(unit)), 6))
    head = f"<b>{text.safe(named)}</b>{text.safe(unit)}<br>{text.small(text.safe(wanted), theme.colour('soft'))}"
    canvas.note(fig, head, xref="x domain", x=0, yref="y domain", y=1, yshift=4, yanchor="bottom", **cell)


def _styles(advice: Advice, rows: Rows) -> list[tuple[dict[str, Any], set[int]]]:
    """Sort the rows into the one to keep, the built ones and the possible ones, each with its look."""
    kept = text.plain(advice.best.get("variant")) if advice.best else ""
    names = [text.plain(row["variant"]) for row in rows]
    return [
        ({"name": "could be built", "filled": False}, {place for place, name in enumerate(names) if not name}),
        ({"name": "built"}, {place for place, name in enumerate(names) if name and name != kept}),
        ({"name": "to keep", "colour": "mark"}, {place for place, name in enumerate(names) if name and name == kept}),
    ]


def _key(fig: go.Figure, rows: Rows, width: str) -> None:
    entries = []
    if any(text.plain(row["variant"]) for row in rows):
        entries.append(key.Entry("built", theme.colour("data"), "circle"))
    if any(not text.plain(row["variant"]) for row in rows):
        entries.append(key.Entry("could be built", theme.colour("data"), "circle-open"))
    key.draw(fig, entries, width)
    fig.layout.annotations[-1].yshift = _HEAD + 2


def _hover(advice: Advice, row: Row, outcome: Outcome) -> str:
    return text.stacked([_named(advice, row), f"{text.name(outcome.name)} {advice.told_on_front(row, outcome)}"])
