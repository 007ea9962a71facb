"""Waterfall chart: what is left at each frequency as time goes on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import plotly.graph_objects as go

from doe.charts import canvas, text, theme
from doe.charts.frequency_axis import frequency_axis, label, octaves
from doe.model import wording

if TYPE_CHECKING:
    from doe.signals.waterfall import Waterfall

_TALL = {"wide": 340, "narrow": 320}
_DEEPEST_DB, _STEP_DB = -36.0, 6.0


def draw_waterfall(waterfall: Waterfall, *, title: str = "", width: canvas.Width = "wide") -> go.Figure:
    """Draw the cumulative spectral decay as a map: time runs down, the level is told by shade and by lines 6 dB apart.

    Parameters
    ----------
    waterfall : Waterfall
        What `doe.signals.waterfall.measure_waterfall` returned.
    title : str
        The sentence that the chart supports; by default it tells where the sound stays longest.
    width : {"wide", "narrow"}
        Which drawing is made.
    """
    margins = canvas.Margins(left=62 if width == "wide" else 52, right=84 if width == "wide" else 64, bottom=54)
    shown = title or _title(waterfall)
    fig = canvas.empty("waterfall", shown, describe_waterfall(waterfall), width, _TALL[width], margins)
    bar = {"title": {"text": "dB", "side": "top"}, "thickness": 14, "tickvals": [0, -12, -24, -36], "outlinewidth": 0}
    fig.add_trace(
        go.Contour(
            x=waterfall.frequency.tolist(),
            y=(1000.0 * waterfall.time_s).tolist(),
            z=waterfall.level.tolist(),
            name=waterfall.name,
            zmin=_DEEPEST_DB,
            zmax=0.0,
            colorscale=[[0.0, theme.colour("sheet")], [0.5, theme.colour("band")], [1.0, theme.colour("data")]],
            contours={"start": _DEEPEST_DB, "end": 0.0, "size": _STEP_DB},
            line={"color": theme.colour("ink"), "width": 0.5, "smoothing": 0},
            colorbar=bar,
            hovertemplate="%{x:.4~s}Hz after %{y:.1f} ms: %{z:.1f} dB<extra></extra>",
        )
    )
    low, high = float(waterfall.frequency[0]), float(waterfall.frequency[-1])
    room = canvas.PIXELS[width] - margins.left - margins.right
    fig.update_xaxes(frequency_axis(low, high, width, room))
    fig.update_yaxes(range=[1000.0 * float(waterfall.time_s[-1]), 0.0], title_text="Time after the direct sound, ms")
    return fig


def describe_waterfall(waterfall: Waterfall) -> str:
    """Say in words what the chart shows: the level left at the octaves half-way and at the end."""
    parts = [
        f"Waterfall of {text.plain(waterfall.name)}: level left over frequency as time goes on, in dB re the start"
    ]
    for place in dict.fromkeys([len(waterfall.time_s) // 2, len(waterfall.time_s) - 1]):
        told = []
        for hz in octaves(float(waterfall.frequency[0]), float(waterfall.frequency[-1])):
            nearest = int(abs(waterfall.frequency - hz).argmin())
            told.append(f"{wording.number(float(waterfall.level[place, nearest]))} at {label(hz)}")
        parts.append(f"After {wording.number(1000.0 * float(waterfall.time_s[place]))} ms: {', '.join(told)}")
    return text.sentences(parts)


def _title(waterfall: Waterfall) -> str:
    last = waterfall.level[-1]
    place = int(last.argmax())
    return (
        f"Longest to stay is {wording.number(float(waterfall.frequency[place]))} Hz: "
        f"{wording.number(float(last[place]))} dB after {wording.number(1000.0 * float(waterfall.time_s[-1]))} ms"
    )
