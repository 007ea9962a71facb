"""Worth of each variant as believed now, and which one to keep."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, text, variants
from doe.charts.rows import Row, rows_of
from doe.model import wording

if TYPE_CHECKING:
    from doe.advise.advice import Advice

_TALL = 280
_SCALE = {"range": [-0.03, 1.03], "tickvals": [0, 0.25, 0.5, 0.75, 1], "title_text": "overall worth"}


def draw_worth(advice: Advice, *, width: canvas.Width = "wide", order: Sequence[str] | None = None) -> go.Figure:
    """Draw the overall worth of each variant, 0 to 1, with its 95 % interval; the one to keep is filled.

    Parameters
    ----------
    advice : Advice
        Result of `doe.recommend`.
    width : {"wide", "narrow"}
        The narrow drawing runs down the page, one row per variant, where they are not too many.
    order : sequence of str, optional
        Variants in build order; best first by default.
    """
    rows = variants.ordered(rows_of(advice.worth), order)
    layout = variants.lay_out(rows, width, _TALL)
    margins = canvas.Margins(left=layout.gutter, right=20, top=14, bottom=62)
    alt = describe_worth(advice, order)
    fig = canvas.empty("worth", best_sentence(advice), alt, width, layout.height, margins)
    kept = text.plain(advice.best.get("variant")) if advice.best else ""
    for is_best in (False, True):
        items = [
            canvas.Interval(place, row["worth"], row["low"], row["high"], _hover(row))
            for place, row in enumerate(rows)
            if (str(row["variant"]) == kept) == is_best
        ]
        style = {"name": "to keep", "colour": "mark"} if is_best else {"name": "variants", "filled": False}
        size = layout.size + (3 if is_best else 0)
        if items:
            canvas.intervals(fig, items, (0.0, 1.0), upright=not layout.down, size=size, thick=layout.thick, **style)
    variants.set_axes(fig, layout, _SCALE, "variant, in build order" if order else "variant, best first")
    return fig


def best_sentence(advice: Advice) -> str:
    """Say which variant to keep if work stopped now."""
    best = advice.best
    if not best or not text.plain(best.get("variant")):
        return "No variant can be said to be the best yet"
    worth = wording.worth_told(best["worth"], best["low"], best["high"])
    return f"Keep variant {text.plain(best['variant'])} for now: overall worth {worth}"


def describe_worth(advice: Advice, order: Sequence[str] | None = None) -> str:
    """Say in words what the chart shows: each variant's worth with its interval."""
    rows = variants.ordered(rows_of(advice.worth), order)
    parts = ["Overall worth by variant, from 0 to 1, with 95 % intervals", best_sentence(advice)]
    return text.sentences([*parts, *(f"{row['variant']}: {_worth(row)}" for row in rows)])


def _worth(row: Row) -> str:
    return wording.worth_told(row["worth"], row["low"], row["high"])


def _hover(row: Row) -> str:
    return text.stacked([f"variant {row['variant']}", f"worth {_worth(row)}"])
