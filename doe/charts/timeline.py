"""Timeline: one outcome over the variants in the order they were built."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, goal, key, text, theme, variants
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording

if TYPE_CHECKING:
    import pandas as pd

    from doe.fit.effects import Effects

_TALL = 300
_MOST_TOLD = 200
_ASIDE, _APART, _WIDEST = 0.18, 0.12, 0.3


def draw_timeline(effects: Effects, readings: pd.DataFrame | None = None, *, width: canvas.Width = "wide",
                  order: Sequence[str] | None = None) -> go.Figure:  # fmt: skip
    """Draw each variant's mean, adjusted for session and rater, with its interval, over the raw readings as dots.

    Parameters
    ----------
    effects : Effects
        Result of `doe.analyse`.
    readings : DataFrame, optional
        The raw readings, one row each, with columns `variant`, `outcome`, `value` and perhaps `rater`.
    width : {"wide", "narrow"}
        The narrow drawing runs down the page, one row per variant, where they are not too many.
    order : sequence of str, optional
        Variants in build order; that of ``effects.variants`` by default.
    """
    outcome = effects.outcome
    rows = variants.ordered(rows_of(effects.variants), order)
    layout = variants.lay_out(rows, width, _TALL)
    dots = _dots(effects, readings, rows)
    right = 20 if layout.down else (92 if width == "wide" else 60)
    margins = canvas.Margins(left=layout.gutter, right=right, top=52, bottom=62)
    alt = describe_timeline(effects, order, readings)
    fig = canvas.empty("timeline", _title(effects, rows), alt, width, layout.height, margins)
    values = [row["mean"] for row in rows] + [value for group in dots.values() for _, value in group]
    limits = canvas.extent(values, [row[end] for row in rows for end in ("low", "high")])
    goal.lines(fig, outcome, limits, upright=layout.down)
    entries = _draw_dots(fig, dots, layout.down)
    means = effects.means
    items = [
        canvas.Interval(place, row["mean"], row["low"], row["high"], _hover(row, means))
        for place, row in enumerate(rows)
    ]
    canvas.intervals(fig, items, limits, upright=not layout.down, name="adjusted mean", size=layout.size,
                     thick=layout.thick)  # fmt: skip
    mean = key.Entry("mean, adjusted, 95 % interval", theme.colour("data"), "circle")
    key.draw(fig, [mean, *entries], width)
    along = canvas.PIXELS[width] - layout.gutter - right if layout.down else layout.height
    axis = {"range": list(limits), "title_text": text.safe(goal.axis_title(outcome, along)), "nticks": 7}
    variants.set_axes(fig, layout, axis, "variant, in build order")
    if not layout.down:
        goal.label(fig, outcome, limits)
    return fig


def describe_timeline(
    effects: Effects, order: Sequence[str] | None = None, readings: pd.DataFrame | None = None
) -> str:
    """Say in words what the chart shows: the goal, then each variant's adjusted mean with its interval, and its readings."""
    outcome = effects.outcome
    rows = variants.ordered(rows_of(effects.variants), order)
    read, means = _read(_dots(effects, readings, rows)), effects.means
    parts = [f"{goal.named(outcome)}, by variant in build order, mean with 95 % interval", goal.sentence(outcome)]
    parts += [f"{row['variant']}: {text.level(row, means)}{read.get(place, '')}" for place, row in enumerate(rows)]
    return text.sentences(parts)


def _read(dots: Mapping[str, Sequence[tuple[float, float]]]) -> dict[int, str]:
    """Say what was read of each variant, by its place: each rater's readings, or their range where they are many."""
    found: dict[int, dict[str, list[float]]] = {}
    for rater, points in dots.items():
        for place, value in points:
            found.setdefault(int(place), {}).setdefault(rater, []).append(value)
    is_long = sum(map(len, dots.values())) > _MOST_TOLD
    return {place: f", read {_range(own) if is_long else _each(own)}" for place, own in found.items()}


def _each(own: Mapping[str, Sequence[float]]) -> str:
    return ", ".join(f"{rater} {' and '.join(map(wording.setting, values))}" for rater, values in own.items())


def _range(own: Mapping[str, Sequence[float]]) -> str:
    values = [value for group in own.values() for value in group]
    return f"{len(values)} times, {wording.setting(min(values))} to {wording.setting(max(values))}"


def _dots(effects: Effects, readings: pd.DataFrame | None, rows: Rows) -> dict[str, list[tuple[float, float]]]:
    """Place and value of each raw reading, by rater; comparisons are not on the scale of the means."""
    if readings is None or effects.outcome.kind == "compared":
        return {}
    place = {str(row["variant"]): number for number, row in enumerate(rows)}
    groups: dict[str, list[tuple[float, float]]] = {}
    for row in rows_of(readings[readings["outcome"] == effects.outcome.name]):
        if str(row["variant"]) in place:
            rater = text.plain(row.get("rater")) or "reading"
            groups.setdefault(rater, []).append((place[str(row["variant"])], float(row["value"])))
    return groups


def _draw_dots(fig: go.Figure, dots: Mapping[str, Sequence[tuple[float, float]]], down: bool) -> list[key.Entry]:
    """Draw each rater's readings a little aside of the mean, so that neither hides the other."""
    entries = []
    for number, (rater, points) in enumerate(dots.items()):
        hue, symbol = theme.series(number + 1)
        symbol = symbol if symbol in ("x", "cross") else f"{symbol}-open"
        shift = _ASIDE + number * min(_APART, _WIDEST / len(dots))
        places, values = [place + shift for place, _ in points], [value for _, value in points]
        x, y = (values, places) if down else (places, values)
        fig.add_scatter(x=x, y=y, mode="markers", name=rater, opacity=0.85, hoverinfo="text", hovertext=text.safe(rater),
                        marker={"symbol": symbol, "size": 6, "color": hue, "line": {"width": 1.2, "color": hue}})  # fmt: skip
        entries.append(key.Entry(rater, hue, symbol))
    return entries


def _hover(row: Row, unit: wording.Column) -> str:
    count = row.get("readings")
    counted = text.plain(count)
    return text.stacked([f"variant {row['variant']}", text.level(row, unit), f"{counted} readings" if counted else ""])


def _title(effects: Effects, rows: Rows) -> str:
    outcome = effects.outcome
    if not rows:
        return f"No variant has a reading of {text.name(outcome.name)} yet"
    nearest = min(rows, key=lambda row: _short_of_goal(row["mean"], effects)) if outcome.goal else rows[-1]
    said = "Nearest to the goal on" if outcome.goal else "Latest on"
    return f"{said} {text.name(outcome.name)}: variant {nearest['variant']}, {text.level(nearest, effects.means)}"


def _short_of_goal(mean: float, effects: Effects) -> float:
    """Distance on the outcome's own scale by which a mean misses what is wanted; only used to choose which to name."""
    low, high = effects.outcome.inner
    return max(low - mean, mean - high, 0.0)
