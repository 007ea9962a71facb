"""Interaction plot: how the effect of one factor changes with the setting of another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import plotly.graph_objects as go

from doe.charts import canvas, goal, key, text, theme
from doe.charts.levels import axis_of, drop_of, level_axis
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording
from doe.model.errors import UsageError, did_you_mean, listed

if TYPE_CHECKING:
    from doe.fit.effects import Effects

_TALL = {"wide": 280, "narrow": 240}
_APART = 0.035


def draw_interaction(effects: Effects, term: str | None = None, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw the means of two factors taken together: one line per setting of the second, each mean with its interval.

    Parameters
    ----------
    effects : Effects
        Result of `doe.analyse`; its `cells` hold the interactions worth seeing.
    term : str, optional
        Which interaction, such as ``"vents:wool"``; the largest by default.
    width : {"wide", "narrow"}
        Which drawing is made.

    Raises
    ------
    UsageError
        If no interaction is worth seeing, or `term` is not among those that are.
    """
    name = _chosen(effects, term)
    rows = [row for row in rows_of(effects.cells) if row["term"] == name]
    first, second = name.split(":")
    is_numeric, unit = axis_of(effects, first)
    levels = list(dict.fromkeys(row["first"] for row in rows))
    places, axis = level_axis(levels, is_numeric, canvas.PIXELS[width] - 70)
    entries = _entries(effects, rows)
    deep = key.count_lines(entries, width, text.name(second))
    margins = canvas.Margins(
        left=60 if width == "wide" else 50, right=20, top=12 + key.LINE * max(deep, 2), bottom=64 + drop_of(axis)
    )
    alt = describe_interaction(effects, name)
    fig = canvas.empty("interaction", _title(effects, name), alt, width, _TALL[width], margins)
    limits = canvas.extent([row["mean"] for row in rows], [row[end] for row in rows for end in ("low", "high")])
    goal.lines(fig, effects.outcome, limits)
    step = _APART * (axis["range"][1] - axis["range"][0])
    _draw_lines(fig, effects, rows, dict(zip(levels, places, strict=True)), step, limits, entries)
    key.draw(fig, entries, width, text.name(second), most=deep)
    fig.update_xaxes(axis, title_text=text.safe(_cut_to(width, text.name(first), unit)), showgrid=False)
    fig.update_yaxes(range=list(limits), title_text=text.safe(goal.axis_title(effects.outcome, _TALL[width])))
    return fig


def _cut_to(width: canvas.Width, name: str, unit: str) -> str:
    """Name what is on the horizontal axis, as far as there is room below it."""
    end = f", {text.cut(unit, 12)}" if unit else ""
    return f"{text.cut(name, int((canvas.PIXELS[width] - 80) / text.ALONG_AXIS_PX) - len(end))}{end}"


def _entries(effects: Effects, rows: Rows) -> list[key.Entry]:
    """List the settings of the second factor, each with its look."""
    unit = axis_of(effects, rows[0]["term"].split(":")[1])[1]
    groups = dict.fromkeys(row["second"] for row in rows)
    return [
        key.Entry(f"{wording.setting(group)}{wording.unit_behind(unit)}", *theme.series(number))
        for number, group in enumerate(groups)
    ]


def _draw_lines(fig: go.Figure, effects: Effects, rows: Rows, where: Mapping[Any, float], step: float,
                limits: tuple[float, float], entries: Sequence[key.Entry]) -> None:  # fmt: skip
    """Draw one line per setting of the second factor, each set a little aside of the others."""
    groups = list(dict.fromkeys(row["second"] for row in rows))
    unit = axis_of(effects, rows[0]["term"].split(":")[0])[1]
    for number, (group, entry) in enumerate(zip(groups, entries, strict=True)):
        shift = (number - (len(groups) - 1) / 2) * step
        items = [
            canvas.Interval(where[row["first"]] + shift, row["mean"], row["low"], row["high"],
                            _hover(row, unit, entry.label, effects.means))
            for row in rows if row["second"] == group
        ]  # fmt: skip
        canvas.intervals(fig, items, limits, upright=True, name=entry.label, colour=entry.colour, symbol=entry.symbol,
                         size=10, thick=3, join=True)  # fmt: skip


def _hover(row: Row, unit: str, second: str, means: wording.Column) -> str:
    """Say of one mean at which settings it is: of the first factor, in its unit, and of the second, as it is written."""
    names = [text.name(part) for part in row["term"].split(":")]
    first = f"{names[0]} {wording.setting(row['first'])}{wording.unit_behind(unit)}"
    return text.stacked([first, f"{names[1]} {second}", text.level(row, means)])


def describe_interaction(effects: Effects, term: str) -> str:
    """Say in words what the chart shows: each cell's mean with its interval."""
    first, second = term.split(":")
    parts = [
        f"Mean of {text.name(effects.outcome.name)} by {text.name(first)} for each {text.name(second)}, with 95 % intervals",
        goal.sentence(effects.outcome),
    ]
    units = [axis_of(effects, name)[1] for name in (first, second)]
    by_group: dict[str, list[str]] = {}
    means = effects.means
    for row in rows_of(effects.cells):
        if row["term"] == term:
            at, group = (
                f"{wording.setting(row[end])}{wording.unit_behind(unit)}"
                for end, unit in zip(("first", "second"), units, strict=True)
            )
            by_group.setdefault(group, []).append(f"{text.name(first)} {at}: {text.level(row, means)}")
    return text.sentences(
        [*parts, *(f"With {text.name(second)} {group}, {', '.join(cells)}" for group, cells in by_group.items())]
    )


def _chosen(effects: Effects, term: str | None) -> str:
    shown = list(dict.fromkeys(effects.cells["term"])) if len(effects.cells) else []
    if not shown:
        raise UsageError(f"No interaction on {effects.outcome.name} is worth a chart yet.")
    name = str(term) if term is not None else next((name for name in effects.table["term"] if name in shown), shown[0])
    swapped = ":".join(reversed(name.split(":")))
    if name not in shown and swapped in shown:
        return swapped
    if name not in shown:
        raise UsageError(f"term is '{name}'; the interactions worth seeing are {listed(shown, 'and')}."
                         f"{did_you_mean(name, shown)}")  # fmt: skip
    return str(name)


def _title(effects: Effects, name: str) -> str:
    first, second = (text.name(part) for part in name.split(":"))
    outcome = text.name(effects.outcome.name)
    row = next((row for row in rows_of(effects.table) if row["term"] == name), None)
    said = row["verdict"] if row else wording.CANT_TELL
    if said == wording.MOVES:
        return f"What {first} does to {outcome} depends on {second}"
    if said == wording.TOO_SMALL:
        return f"What {first} does to {outcome} hardly depends on {second}"
    if said == wording.TANGLED and row:
        return f"{text.term(name)} on {outcome} is {text.verdict(row)}"
    return f"Whether what {first} does to {outcome} depends on {second} can't be told yet"
