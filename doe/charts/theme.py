"""The look of every chart: one palette for light and dark, system fonts, and a plotly template.

The five series colours were chosen by random search so that each pair stays at least 25 CIE 1976 L*a*b* units apart to
a normal eye and to protan, deutan and tritan eyes (simulated after Machado, Oliveira & Fernandes 2009, IEEE Trans. Vis.
Comput. Graph. 15(6), 1291-1298, doi:10.1109/TVCG.2009.113), at 3:1 or more on the sheet (WCAG 2.2, 1.4.11). Text
colours keep 4.5:1 (WCAG 2.2, 1.4.3). Colour is never the only cue: series also differ by mark, verdicts by words.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import plotly.graph_objects as go

SANS = 'system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", sans-serif'
SERIF = 'Charter, "Bitstream Charter", "Sitka Text", Cambria, "Liberation Serif", serif'

_LIGHT = {
    "paper": "#f3f2ec",  # the page
    "sheet": "#fcfbf7",  # what lies on it: cards, charts
    "line": "#cfcabd",  # rules and frames
    "grid": "#e6e3d9",  # the squares of the paper
    "band": "#e1e8ec",  # +- what matters
    "ink": "#1d2a36",  # text
    "soft": "#535e68",  # text that may be skipped
    "mark": "#a5361b",  # the one accent: the next thing to do
    "good": "#11675a",  # settled: moves it
    "wait": "#7a5500",  # open: can't tell yet, tangled
    "data": "#1c4f8f",  # estimates and their intervals
    "series1": "#1f489a",
    "series2": "#d27519",
    "series3": "#249e83",
    "series4": "#732352",
    "series5": "#67581c",
}
_DARK = {
    "paper": "#171b1f",
    "sheet": "#1f2429",
    "line": "#4a525a",
    "grid": "#2b3138",
    "band": "#2c3942",
    "ink": "#e9e5da",
    "soft": "#a9b0b5",
    "mark": "#f28f6d",
    "good": "#64c8ad",
    "wait": "#e2b65a",
    "data": "#8ab6ee",
    "series1": "#a4c3fa",
    "series2": "#e4723b",
    "series3": "#57d6af",
    "series4": "#b66ca3",
    "series5": "#f1e48a",
}
COLOURS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {"light": MappingProxyType(_LIGHT), "dark": MappingProxyType(_DARK)}
)
"""Colour by ground ("light", "dark") and name; all hex, no two alike on one ground."""

SERIES = ("series1", "series2", "series3", "series4", "series5")
SYMBOLS = ("circle", "square", "diamond", "triangle-up", "x", "triangle-down", "cross", "star")
"""Marks of the series; they run longer than the colours so that a repeated colour still differs."""


_STYLED = re.compile(r"color:(#[0-9a-f]{6})")


def colour(name: str) -> str:
    """Return a colour of the light ground, which is what charts are drawn in before `recolour`."""
    return _LIGHT[name]


def series(place: int) -> tuple[str, str]:
    """Return colour and mark of the series at a place, from 0."""
    return _LIGHT[SERIES[place % len(SERIES)]], SYMBOLS[place % len(SYMBOLS)]


def css_variables(ground: str) -> str:
    """Write the palette as CSS custom properties: ``--ink:#1d2a36;...``."""
    return "".join(f"--{name}:{value};" for name, value in COLOURS[ground].items())


def template(dark: bool = False) -> go.layout.Template:
    """Build the plotly template: squared paper, ink text, no frame, nothing that a thumb can zoom by accident."""
    named = COLOURS["dark" if dark else "light"]
    layout: dict[str, Any] = {
        "font": {"family": SANS, "size": 14, "color": named["ink"]},
        "title": _title_look(named),
        "paper_bgcolor": named["sheet"],
        "plot_bgcolor": named["sheet"],
        "colorway": [named[name] for name in SERIES],
        "xaxis": _axis_look(named),
        "yaxis": _axis_look(named),
        "margin": {"l": 12, "r": 16, "t": 56, "b": 12},
        "showlegend": False,
        "dragmode": False,
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": named["paper"],
            "bordercolor": named["line"],
            "font": {"family": SANS, "size": 13, "color": named["ink"]},
            "align": "left",
        },
        "separators": ". ",
    }
    return go.layout.Template(layout=layout)


def _title_look(named: Mapping[str, str]) -> dict[str, Any]:
    return {
        "font": {"family": SERIF, "size": 18, "color": named["ink"], "weight": 600},
        "x": 0.0,
        "xref": "container",
        "xanchor": "left",
        "y": 1.0,
        "yref": "container",
        "yanchor": "top",
        "pad": {"t": 12, "l": 12},
    }


def _axis_look(named: Mapping[str, str]) -> dict[str, Any]:
    return {
        "showgrid": True,
        "gridcolor": named["grid"],
        "zeroline": False,
        "linecolor": named["line"],
        "tickcolor": named["line"],
        "ticks": "outside",
        "ticklen": 4,
        "fixedrange": True,
        "automargin": True,
        "title": {"font": {"size": 13, "color": named["soft"]}, "standoff": 8},
    }


def config() -> dict[str, Any]:
    """Return the options that go with every chart shown in a browser: calm, and nothing fetched from outside."""
    return {
        "displayModeBar": False,
        "displaylogo": False,
        "responsive": True,
        "scrollZoom": False,
        "doubleClick": False,
        "showTips": False,
    }


def recolour(fig: go.Figure, dark: bool = True) -> go.Figure:
    """Return the same chart on the other ground; every palette colour in it is exchanged by name."""
    start, end = (_LIGHT, _DARK) if dark else (_DARK, _LIGHT)
    exchange = {start[name]: end[name] for name in start}
    return go.Figure(_exchanged(json.loads(fig.to_json()), exchange))


def _exchanged(part: Any, exchange: Mapping[str, str]) -> Any:
    if isinstance(part, dict):
        return {key: _exchanged(value, exchange) for key, value in part.items()}
    if isinstance(part, list):
        return [_exchanged(value, exchange) for value in part]
    if not isinstance(part, str):
        return part
    return exchange.get(part) or _STYLED.sub(lambda found: f"color:{exchange.get(found[1], found[1])}", part)


def untitled(fig: go.Figure) -> go.Figure:
    """Return a copy without its title, for pages that set the title as a heading of their own."""
    bare = go.Figure(fig)
    meta = dict(fig.layout.meta)
    top = int(meta["top"])
    bare.update_layout(title=None, margin={"t": top}, height=fig.layout.height - fig.layout.margin.t + top)
    return bare
