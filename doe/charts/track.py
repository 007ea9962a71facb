"""Beliefs on record: what was predicted, and what came."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import plotly.graph_objects as go

from doe.charts import canvas, key, text, theme
from doe.charts.rows import Row, Rows, rows_of
from doe.model import wording
from doe.model.errors import UsageError
from doe.model.outcome import Outcome

if TYPE_CHECKING:
    from doe.advise.track import Track

_TALL = {"wide": 190, "narrow": 190}
_HEAD = 54
_MOST_TOLD = 20


def draw_track(track: Track, *, width: canvas.Width = "wide") -> go.Figure:
    """Draw each prediction as its 95 % interval with what was read, one panel per outcome, in the order they were made.

    Parameters
    ----------
    track : Track
        Result of `Project.track`.
    width : {"wide", "narrow"}
        Which drawing is made.

    Raises
    ------
    UsageError
        If no prediction has been met by a reading yet.
    """
    panels = _panels(track)
    if not panels:
        raise UsageError("No prediction has been met by a reading yet, so there is nothing to draw.")
    height = len(panels) * _TALL[width] + (len(panels) - 1) * _HEAD
    margins = canvas.Margins(left=62 if width == "wide" else 50, right=18, top=_HEAD + 22, bottom=56)
    fig = canvas.empty("track", track.headline.rstrip("."), describe_track(track), width, height, margins)
    fig.set_subplots(len(panels), 1, vertical_spacing=_HEAD / height if len(panels) > 1 else 0)
    for place, (outcome, rows) in enumerate(panels.items(), start=1):
        _panel(fig, track, outcome, rows, {"row": place, "col": 1}, width)
    fig.update_xaxes(title_text="suggestion", row=len(panels), col=1)
    entries = [
        key.Entry("predicted", theme.colour("data"), "circle-open"),
        key.Entry("read", theme.colour("ink"), "circle"),
        key.Entry("read, outside", theme.colour("mark"), "x"),
    ]
    key.draw(fig, entries, width)
    fig.layout.annotations[-1].yshift = _HEAD - 22
    return fig


def describe_track(track: Track) -> str:
    """Say in words what the chart shows: each prediction with what came of it."""
    parts = [track.headline]
    for outcome, rows in _panels(track).items():
        parts.append(track.sentence(outcome))
        older = rows[:-_MOST_TOLD]
        if older:
            held = sum(bool(row["held"]) for row in older)
            parts.append(f"Of the oldest {len(older)}, {held} held; the newest {_MOST_TOLD} one by one")
        known = _outcome(track, outcome)
        parts += [_told(row, known, _column(known, rows)) for row in rows[-_MOST_TOLD:]]
    return text.sentences(parts)


def _told(row: Row, outcome: Outcome, column: wording.Column) -> str:
    came = "held" if row["held"] else "did not hold"
    which = f"Suggestion {text.plain(row['suggestion'])}, variant {text.plain(row['variant'])}"
    return f"{which}: predicted {text.expected(row, outcome, column)}, read {_read(row, outcome)}, {came}"


def _panels(track: Track) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows_of(track.table):
        found.setdefault(str(row["outcome"]), []).append(row)
    return found


def _panel(fig: go.Figure, track: Track, name: str, rows: Rows, cell: dict[str, Any], width: canvas.Width) -> None:
    outcome = _outcome(track, name)
    column = _column(outcome, rows)
    means, lows, highs = ([outcome.on_scale(row[end]) for row in rows] for end in ("mean", "low", "high"))
    items = [
        canvas.Interval(place, means[place], lows[place], highs[place], _hover(row, outcome, column))
        for place, row in enumerate(rows)
    ]
    limits = canvas.extent([*means, *(row["read"] for row in rows)], [*lows, *highs])
    canvas.intervals(fig, items, limits, upright=True, name="predicted", size=8, thick=5, filled=False, **cell)
    for is_held, called, hue, symbol in ((True, "read", "ink", "circle"), (False, "read, outside", "mark", "x")):
        places = [place for place, row in enumerate(rows) if bool(row["held"]) == is_held]
        if places:
            mark = {"symbol": symbol, "size": 9, "color": theme.colour(hue)}
            fig.add_scatter(x=[place + 0.16 for place in places], y=[rows[place]["read"] for place in places],
                            mode="markers", name=called, marker=mark, hoverinfo="text",
                            hovertext=[_hover(rows[place], outcome, column) for place in places], **cell)  # fmt: skip
    step = max(1, -(-len(rows) * 34 // (canvas.PIXELS[width] - 90)))
    shown = list(range(0, len(rows), step))
    fig.update_xaxes(range=[-0.6, max(len(rows), 4) - 0.4], tickvals=shown, showgrid=False,
                     ticktext=[text.plain(rows[place]["suggestion"]) for place in shown], **cell)  # fmt: skip
    fig.update_yaxes(range=list(limits), nticks=5, title_text=text.safe(text.cut(outcome.unit, 12)), **cell)
    held = text.small(text.safe(_held(track, name, rows)), theme.colour("soft"))
    head = f"<b>{text.safe(text.cut(text.name(name), 20))}</b> {held}"
    canvas.note(fig, head, xref="x domain", x=0, yref="y domain", y=1, yshift=4, yanchor="bottom", **cell)


def _held(track: Track, outcome: str, rows: Rows) -> str:
    held = f"{sum(bool(row['held']) for row in rows)} of {len(rows)} held"
    factor = track.widen[outcome]
    return f"{held}; future ones {wording.number(factor, 2)} times as wide" if factor >= 1.05 else held


def _outcome(track: Track, name: str) -> Outcome:
    return next((item for item in track.outcomes if item.name == name), Outcome(name))


def _column(outcome: Outcome, rows: Rows) -> wording.Column:
    return outcome.column((row["mean"], row["low"], row["high"]) for row in rows)


def _read(row: Row, outcome: Outcome) -> str:
    return wording.amount(row["read"], outcome.unit)


def _hover(row: Row, outcome: Outcome, column: wording.Column) -> str:
    return text.stacked(
        [
            f"suggestion {text.plain(row['suggestion'])}, variant {text.plain(row['variant'])}",
            f"predicted {text.expected(row, outcome, column)}",
            f"read {_read(row, outcome)}",
        ]
    )
