"""Level means: the outcome at each setting of each factor, the others at their middle."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import plotly.graph_objects as go

from doe.charts import canvas, goal, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording
from doe.model.errors import UsageError, did_you_mean, shown, there_are

if TYPE_CHECKING:
    from doe.fit.effects import Effects

_PANELS = {"wide": 5, "narrow": 2}
_TALL = {"wide": 190, "narrow": 170}
_HEAD = 52
_TITLE_LINE = 17
_SHORTEST_LABEL, _UPRIGHT_LABEL = 7, 16
"""Characters: with less room than the first, names of levels stand upright, and have the second."""


def draw_levels(effects: Effects, *, width: canvas.Width = "wide", factors: Sequence[str] | None = None) -> go.Figure:
    """Draw the mean of each level with its 95 % interval, one small panel per factor on a common scale.

    Parameters
    ----------
    effects : Effects
        Result of `doe.analyse`.
    width : {"wide", "narrow"}
        Five panels in a row, or two.
    factors : sequence of str, optional
        Only these factors; all by default, in the order of the table.
    """
    panels = _panels(effects, factors)
    n_rows = max(1, math.ceil(len(panels) / _PANELS[width]))
    columns = max(1, math.ceil(len(panels) / n_rows))
    room = (canvas.PIXELS[width] - 60) / columns
    axes = {name: _axis(effects, name, records, room) for name, records in panels.items()}
    drops = [drop_of(axis) for _, axis in axes.values()]
    last = (n_rows - 1) * columns  # what stands upright in the last row needs no room between rows
    between = _HEAD + max(drops[:last], default=0)
    height = n_rows * _TALL[width] + (n_rows - 1) * between
    title = goal.axis_lines(effects.outcome, _TALL[width])
    left = (60 if width == "wide" else 48) + _TITLE_LINE * (len(title) - 1)
    margins = canvas.Margins(left=left, right=16, top=_HEAD - 16, bottom=46 + max(drops[last:], default=0))
    fig = canvas.empty("levels", _title(effects), describe_levels(effects, factors), width, height, margins)
    gap = 0.05 if width == "wide" else 0.1
    fig.set_subplots(n_rows, columns, shared_yaxes=True, horizontal_spacing=gap if columns > 1 else 0,
                     vertical_spacing=between / height if n_rows > 1 else 0)  # fmt: skip
    everything = [row for records in panels.values() for row in records]
    limits = canvas.extent(
        [row["mean"] for row in everything], [row[end] for row in everything for end in ("low", "high")]
    )
    for place, (name, records) in enumerate(panels.items()):
        cell: dict[str, Any] = {"row": place // columns + 1, "col": place % columns + 1}
        _panel(fig, effects, name, records, limits, cell, axes[name], room)
    fig.update_yaxes(range=list(limits), nticks=6)
    for row in range(n_rows):
        fig.update_yaxes(title_text=text.stacked(title), row=row + 1, col=1)
    return fig


def describe_levels(effects: Effects, factors: Sequence[str] | None = None) -> str:
    """Say in words what the chart shows: each factor's level means with intervals."""
    parts = [
        f"Mean of {text.name(effects.outcome.name)} at each setting, other factors at their middle, with 95 % intervals",
        goal.sentence(effects.outcome),
    ]
    counted = effects.means
    for name, records in _panels(effects, factors).items():
        own_unit = axis_of(effects, name)[1]
        settings = [f"{wording.setting(row['level'])}{wording.unit_behind(own_unit)}" for row in records]
        means = [f"{at}: {text.level(row, counted)}" for at, row in zip(settings, records, strict=True)]
        parts.append(f"{text.name(name)} {', '.join(means)}")
    return text.sentences(parts)


def _panels(effects: Effects, factors: Sequence[str] | None) -> dict[str, Rows]:
    """Level rows by factor, the factor with the largest swing first."""
    by_factor: dict[str, list[Row]] = {}
    for row in rows_of(effects.levels):
        by_factor.setdefault(str(row["factor"]), []).append(row)
    order = [name for name in effects.table["term"] if name in by_factor]
    order += [name for name in by_factor if name not in order]
    if factors is None:
        return {name: by_factor[name] for name in order}
    wanted = [factors] if isinstance(factors, str) else list(factors)
    unknown = [name for name in wanted if name not in by_factor]
    if unknown:
        raise UsageError(f"factors names '{shown(unknown[0])}'; {there_are(order)}.{did_you_mean(unknown[0], order)}")
    return {name: by_factor[name] for name in order if name in wanted}


def _title(effects: Effects) -> str:
    name = text.name(effects.outcome.name)
    for row in rows_of(effects.table):
        if row["verdict"] == wording.MOVES and row["term"] in set(effects.levels["factor"]):
            way = f" from {text.plain(row['from'])} to {text.plain(row['to'])}" if text.span(row) else ""
            return f"{text.name(row['term'])} moves {name} by {text.change(row, effects.changes)}{way}"
    return f"No factor on its own is shown to move {name} yet"


def _panel(fig: go.Figure, effects: Effects, name: str, records: Rows, limits: tuple[float, float],
           cell: dict[str, Any], placed: tuple[list[float], dict[str, Any]], room: float) -> None:  # fmt: skip
    (is_numeric, own_unit), (places, axis) = axis_of(effects, name), placed
    goal.lines(fig, effects.outcome, limits, **cell)
    counted = effects.means
    items = [
        canvas.Interval(place, row["mean"], row["low"], row["high"], _hover(name, row, own_unit, counted))
        for place, row in zip(places, records, strict=True)
    ]
    in_order = is_numeric or any(factor.name == name and factor.kind == "ordered" for factor in effects.coding.factors)
    settled = name in set(effects.table.loc[effects.table["verdict"] == wording.MOVES, "term"])
    canvas.intervals(fig, items, limits, upright=True, name=name, join=in_order, size=9, thick=3.5, filled=settled,
                     **cell)  # fmt: skip
    fig.update_xaxes(axis, showgrid=False, **cell)
    canvas.note(fig, _head(name, own_unit, room), xref="x domain", x=0, yref="y domain", y=1, yshift=4, yanchor="bottom",
                **cell)  # fmt: skip


def _head(name: str, unit: str, room: float) -> str:
    """Name a panel's factor, and its unit behind, as far as there is room."""
    shown_unit = text.cut(unit, 8)
    head = f"<b>{text.safe(text.cut(text.name(name), int(room / 9) - len(shown_unit) - 2))}</b>"
    return f"{head} {text.small(text.safe(shown_unit), theme.colour('soft'))}" if shown_unit else head


def _axis(effects: Effects, name: str, records: Rows, room: float) -> tuple[list[float], dict[str, Any]]:
    return level_axis([row["level"] for row in records], axis_of(effects, name)[0], room)


def _hover(name: str, row: Row, own_unit: str, unit: wording.Column) -> str:
    setting = f"{text.name(name)} {wording.setting(row['level'])}{wording.unit_behind(own_unit)}"
    return text.stacked([setting, text.level(row, unit)])


def level_axis(levels: Sequence[Any], is_numeric: bool, room: float) -> tuple[list[float], dict[str, Any]]:
    """Place settings on an axis: numbers where they are, named levels side by side.

    Parameters
    ----------
    levels : sequence of number or str
        Settings; numbers may be written as text.
    is_numeric : bool
        Whether they are numbers.
    room : float
        Width of the axis in pixels, which the labels share.

    Returns
    -------
    tuple
        Places, and the axis's range and tick labels.
    """
    places = [float(level) for level in levels] if is_numeric else [float(place) for place in range(len(levels))]
    low, high = min(places), max(places)
    pad = 0.16 * (high - low) if is_numeric and high > low else 0.5
    wide = int(room / 8 / max(len(levels), 1))
    written = [wording.setting(level) for level in levels]
    is_turned = not is_numeric and wide < _SHORTEST_LABEL and any(len(label) > wide for label in written)
    labels = _turned(written) if is_turned else [text.stacked(text.lines(label, max(wide, 4), 3)) for label in written]
    return places, {"range": [low - pad, high + pad], "tickvals": places, "ticktext": labels,
                    "tickangle": -90 if is_turned else 0, "tickfont": {"size": 12}}  # fmt: skip


def _turned(written: Sequence[str]) -> list[str]:
    """Shorten labels that stand upright; at the end, or inside where two would be alike."""
    short = [text.cut(label, _UPRIGHT_LABEL) for label in written]
    return (
        [text.safe(label) for label in short]
        if len(set(short)) == len(written)
        else [text.safe(text.cut_inside(label, _UPRIGHT_LABEL)) for label in written]
    )


def drop_of(axis: Mapping[str, Any]) -> int:
    """Return how many pixels more the labels of an axis need below it, since they stand upright."""
    longest = max((len(label) for label in axis["ticktext"]), default=0)
    return max(0, round(7.6 * longest) - 14) if axis["tickangle"] else 0


def axis_of(effects: Effects, name: str) -> tuple[bool, str]:
    """Tell whether a factor or derived quantity is a number, and its unit."""
    coding = effects.coding
    units = {factor.name: factor.unit for factor in coding.factors}
    units |= {quantity.name: quantity.unit for quantity in coding.derived}
    return coding.axes[name].contrasts is None, units.get(name, "")
