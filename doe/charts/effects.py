"""Effect chart: what each term does to the outcome, with its interval, and the verdict beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, goal, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording

if TYPE_CHECKING:
    from doe.fit.effects import Effects

MAY_ACT = 0.1
"""Interactions and curvature less probable than this are left out unless every term is asked for."""

_SHORTEST_NAME, _LONGEST_UNIT = 8, 12
_LINE, _GAP = 18, 16
_STYLE: Mapping[str, Row] = {
    wording.MOVES: {"filled": True, "size": 13},
    wording.TANGLED: {"filled": False, "size": 12, "dash": "5px,4px"},
    wording.CANT_TELL: {"filled": False, "size": 12},
    wording.TOO_SMALL: {"filled": False, "size": 9, "colour": "soft", "thick": 3},
}
_INK = {wording.MOVES: "good", wording.TANGLED: "wait", wording.CANT_TELL: "wait", wording.TOO_SMALL: "soft"}


@dataclass(frozen=True, slots=True)
class _Row:
    """One term as drawn: its cells, its lines of text, and where its interval lies in pixels from the top."""

    cells: Row
    left: Sequence[str]
    right: Sequence[str]
    numbers: Sequence[str]
    top: float
    line: float


def draw_effects(
    effects: Effects, *, width: canvas.Width = "wide", most: int | None = None, every: bool = False
) -> go.Figure:
    """Draw the swing of each term with its 95 % interval, largest first.

    Filled marks are settled (*moves it*), hollow ones are not; a dashed interval is tangled with another term. The
    band is plus and minus the smallest difference that matters. An interval too wide for the axis ends in an open head.

    Parameters
    ----------
    effects : Effects
        Result of `doe.analyse`.
    width : {"wide", "narrow"}
        The narrow drawing sets names and verdicts above the intervals instead of beside them.
    most : int, optional
        Draw only so many terms, the largest.
    every : bool
        Draw every term looked at; otherwise main effects, and others that act with a tenth or more.

    Returns
    -------
    Figure
        Its title is ``effects.headline``; ``layout.meta["alt"]`` says the same as text.
    """
    records = rows_worth_seeing(effects, every=every)[:most]
    unit = effects.changes._replace(unit=text.cut(effects.outcome.unit, _LONGEST_UNIT))
    matters = effects.outcome.matters
    rows, height = _beside(records, unit) if width == "wide" else _above(records, unit)
    alt = describe_effects(effects, most, every=every)
    fig = canvas.empty(
        "effects", effects.headline, alt, width, height, _margins(rows, width, _axis_title(effects, width))
    )
    limits = _limits(records, matters)
    canvas.rows(fig, height)
    canvas.ground(fig, matters, () if width == "wide" else [row.line for row in rows])
    fig.update_xaxes(range=list(limits), title_text=text.stacked(_axis_title(effects, width)), automargin=False,
                     nticks=8 if width == "wide" else 6, showgrid=width == "wide")  # fmt: skip
    _draw_intervals(fig, rows, effects.changes, limits)
    for row in rows:
        _write(fig, row, width)
    return fig


def describe_effects(effects: Effects, most: int | None = None, *, every: bool = False) -> str:
    """Say in words what the chart shows: each term's swing, interval and verdict."""
    records = rows_worth_seeing(effects, every=every)[:most]
    parts = [_told(row, effects.changes) for row in records]
    head = f"Change in {text.name(effects.outcome.name)} by term, with 95 % intervals"
    band = goal.smallest(effects.outcome.matters, effects.outcome.unit)
    return text.sentences([head, band, *parts] if parts else [head, "No term could be estimated"])


def _told(row: Row, unit: wording.Column) -> str:
    start, end = text.plain(row.get("from")), text.plain(row.get("to"))
    way = f" from {start} to {end}" if start and end else ""
    return f"{text.term(row['term'])}{way}: {text.change(row, unit)}, {text.verdict(row)}"


def rows_worth_seeing(effects: Effects, *, every: bool = False) -> list[Row]:
    """Select the rows of the effect table that are worth a reader's time: main effects, and others that may well act."""
    rows = rows_of(effects.table)
    return [row for row in rows if every or not {":", "^"} & set(row["term"]) or row["activity"] >= MAY_ACT]


def _beside(records: Rows, unit: wording.Column) -> tuple[list[_Row], float]:
    """Rows with text left and right, and the height they take."""
    rows, top = [], 4.0
    for cells in records:
        left = text.lines(text.term(cells["term"]), 24)
        right, numbers = text.lines(text.verdict(cells), 28), text.lines(text.change(cells, unit), 36)
        tall = _LINE * max(len(left) + bool(_span(cells)), len(right) + len(numbers)) + _GAP
        rows.append(_Row(cells, left, right, numbers, top, top + tall / 2))
        top += tall
    return rows, max(top, 40.0)


def _above(records: Rows, unit: wording.Column) -> tuple[list[_Row], float]:
    """Rows with all text above the interval, and the height they take."""
    rows, top = [], 0.0
    for cells in records:
        left = text.lines(text.term(cells["term"]), 36)
        right, numbers = text.lines(text.verdict(cells), 40), text.lines(text.change(cells, unit), 46)
        beside = 0 if _follow(right, numbers) else len(numbers)
        words = _LINE * (len(left) + len(right) + beside + (bool(_span(cells)) and not _fits(left, cells)))
        rows.append(_Row(cells, left, right, numbers, top, top + words + 16))
        top += words + 44
    return rows, max(top, 40.0)


def _span(cells: Row) -> str:
    return text.span(cells, 18)


def _fits(left: Sequence[str], cells: Row) -> bool:
    """Tell whether the settings go on the same line as the name."""
    return len(left) == 1 and len(left[0]) + len(_span(cells)) <= 38


def _follow(right: Sequence[str], numbers: Sequence[str]) -> bool:
    """Tell whether the numbers go on the same line as the end of the verdict."""
    return len(numbers) == 1 and len(right[-1]) + len(numbers[0]) <= 46


def _margins(rows: Sequence[_Row], width: canvas.Width, title: Sequence[str]) -> canvas.Margins:
    bottom = 40 + _LINE * max(len(title), 2)
    if width == "narrow":
        return canvas.Margins(left=14, right=14, top=8, bottom=bottom)
    names = [part for row in rows for part in (*row.left, _span(row.cells))]
    words = [part for row in rows for part in row.right]
    numbers = [part for row in rows for part in row.numbers]
    right = max(text.room(words, 15), text.room(numbers, 12))
    return canvas.Margins(left=min(text.room(names), 190) + 26, right=min(right, 262) + 24, top=12, bottom=bottom)


def _limits(records: Rows, matters: float | None) -> tuple[float, float]:
    sizes = [row["swing"] for row in records]
    band = [] if matters is None else [-matters, matters]
    return canvas.extent([0.0, *sizes, *band], [row[end] for row in records for end in ("low", "high")])


def _axis_title(effects: Effects, width: canvas.Width) -> list[str]:
    outcome = effects.outcome
    short = text.cut(outcome.unit, _LONGEST_UNIT)
    unit = f", {short}" if short else ""
    around, end = f"change in {unit}, if the term acts,", "with 95\u00a0% interval"
    longest = 80 if width == "wide" else 42
    room = longest - len(around) - (len(end) + 1 if width == "wide" else 0)
    name = text.cut(text.name(outcome.name), max(room, _SHORTEST_NAME))  # the margin has room for a line of it
    parts = [f"change in {name}{unit}, if the term acts,", end]
    parts = [" ".join(parts)] if width == "wide" else parts
    if outcome.matters is not None:
        reach = wording.amount(outcome.matters, short)
        parts.append(f"band: ±{reach}, the smallest that matters")
    return [line for part in parts for line in text.lines(part, longest, 3)]


def _draw_intervals(fig: go.Figure, rows: Sequence[_Row], unit: wording.Column, limits: tuple[float, float]) -> None:
    for verdict, style in _STYLE.items():
        items = [
            canvas.Interval(row.line, row.cells["swing"], row.cells["low"], row.cells["high"], _hover(row.cells, unit))
            for row in rows
            if row.cells["verdict"] == verdict
        ]
        if items:
            canvas.intervals(fig, items, limits, name=verdict, **style)


def _hover(cells: Row, unit: wording.Column) -> str:
    parts = [text.term(cells["term"]), text.span(cells), text.change(cells, unit), text.verdict(cells),
             f"active with {wording.percent(cells['activity'])}"]  # fmt: skip
    return "<br>".join(text.safe(part) for part in parts if part)


def _write(fig: go.Figure, row: _Row, width: canvas.Width) -> None:
    soft, verdict = theme.colour("soft"), row.cells["verdict"]
    name, words, numbers = text.stacked(row.left), text.stacked(row.right), text.stacked(row.numbers)
    if verdict in (wording.MOVES, wording.TANGLED):
        words = f"<b>{words}</b>"
    words = f'<span style="color:{theme.colour(_INK[verdict])}">{words}</span>'
    detail = text.small(text.safe(_span(row.cells)), soft) if _span(row.cells) else ""
    if width == "wide":
        left = "<br>".join(part for part in (name, detail) if part)
        canvas.note(fig, left, xref="paper", x=0, xshift=12 - fig.layout.margin.l, y=row.line, yanchor="middle")
        right = f"{words}<br>{text.small(numbers, soft)}"
        canvas.note(fig, right, xref="paper", x=1, xshift=12, y=row.line, yanchor="middle")
        return
    head = f"<b>{name}</b>"
    if detail:
        head += ("&nbsp; " if _fits(row.left, row.cells) else "<br>") + detail
    between = "&nbsp; " if _follow(row.right, row.numbers) else "<br>"
    both = f"{head}<br>{words}{between}{text.small(numbers, soft)}"
    canvas.note(fig, both, xref="paper", x=0, xshift=0, y=row.top, yanchor="top")
