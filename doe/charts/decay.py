"""Decay chart: how the level falls after the sound stops, one curve per band."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from doe.charts import canvas, key, text, theme
from doe.model import wording
from doe.model.errors import UsageError
from doe.signals.decay import Decay

_TALL = {"wide": 320, "narrow": 280}
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash")
_LOWEST_DB = -65.0
_READ_DB = (-5.0, -25.0, -35.0)
_MARKS = 8


def draw_decays(decays: Decay | Sequence[Decay], *, title: str = "", width: canvas.Width = "wide") -> go.Figure:
    """Draw backward-integrated decay curves.

    The thin lines stand at -5, -25 and -35 dB, between which T20 and T30 are read.

    Parameters
    ----------
    decays : Decay or sequence of Decay
        One per band, or one per variant in the same band.
    title : str
        The sentence that the chart supports; by default it tells the decay times.
    width : {"wide", "narrow"}
        Which drawing is made.

    Raises
    ------
    UsageError
        If there is no decay to draw.
    """
    decays = [decays] if isinstance(decays, Decay) else decays
    if not decays:
        raise UsageError("There is no decay to draw; measure a variant first.")
    names = _names(decays)
    margins = canvas.Margins(left=62 if width == "wide" else 52, top=48, bottom=54)
    shown = title or _title(decays, names)
    fig = canvas.empty("decay", shown, describe_decays(decays), width, _TALL[width], margins)
    for level in _READ_DB:
        fig.add_hline(y=level, line={"color": theme.colour("line"), "width": 1, "dash": "4px,4px"})
    entries = [_curve(fig, decay, names[place], place) for place, decay in enumerate(decays)]
    end = max(_end(decay) for decay in decays)
    fig.update_xaxes(range=[0, end], title_text="Time from the direct sound, s", nticks=6)
    fig.update_yaxes(range=[_LOWEST_DB, 2], title_text="Energy still to come, dB", tickvals=list(range(-60, 1, 10)))
    key.draw(fig, entries, width)
    return fig


def describe_decays(decays: Sequence[Decay]) -> str:
    """Say in words what the chart shows: each curve's decay times, and whether it has two slopes."""
    parts = ["Decay of level over time after the direct sound"]
    for name, decay in zip(_names(decays), decays, strict=True):
        times = {"EDT": decay.edt_s, "T20": decay.t20_s, "T30": decay.t30_s}
        told = ", ".join(f"{what} {wording.number(value)} s" for what, value in times.items() if value is not None)
        slopes = ", two slopes" if decay.slopes is not None else ""
        parts.append(f"{text.plain(name)}: {told or 'no decay time can be read'}{slopes}{_crossings(decay)}")
    return text.sentences(parts)


def _crossings(decay: Decay) -> str:
    """Say when the curve first lies at or below each of the thin lines."""
    told = []
    for line in _READ_DB:
        below = decay.time_s[decay.level_db <= line]
        if len(below):
            told.append(f"{wording.number(line)} dB after {wording.number(float(below[0]))} s")
    return f"; {', '.join(told)}" if told else ""


def _names(decays: Sequence[Decay]) -> list[str]:
    """Call each curve by what tells it apart: its band, its file, or both."""
    files, labels = {decay.name for decay in decays}, {decay.label for decay in decays}
    if len(files) == 1:
        return [decay.label for decay in decays]
    return [decay.name if len(labels) == 1 else f"{decay.name}, {decay.label}" for decay in decays]


def _title(decays: Sequence[Decay], names: Sequence[str]) -> str:
    timed = [(decay.t20_s, name) for decay, name in zip(decays, names, strict=True) if decay.t20_s is not None]
    if not timed:
        return "No decay time can be read: too little stands out of the noise"
    short, long = min(timed), max(timed)
    least, most = wording.number(short[0]), wording.number(long[0])
    if least == most:
        return f"Decay time T20 is {least} s ({', '.join(name for _, name in timed)})"
    return f"Decay time T20 runs from {least} s ({short[1]}) to {most} s ({long[1]})"


def _curve(fig: go.Figure, decay: Decay, name: str, place: int) -> key.Entry:
    colour, symbol = theme.series(place)
    x, y = decay.time_s.tolist(), decay.level_db.tolist()
    hover = "%{x:.3f} s, %{y:.1f} dB<extra>" + text.safe(name) + "</extra>"
    fig.add_trace(go.Scatter(x=x, y=y, name=name, mode="lines", hovertemplate=hover,
                             line={"color": colour, "width": 2, "dash": _DASHES[place // 5 % 5]}))  # fmt: skip
    step = max(1, sum(level >= _LOWEST_DB for level in y) // _MARKS)
    fig.add_trace(go.Scatter(x=x[step // 2 :: step], y=y[step // 2 :: step], name=f"{name} marks", mode="markers",
                             hoverinfo="skip", marker={"color": colour, "symbol": symbol, "size": 8}))  # fmt: skip
    return key.Entry(name, colour, symbol)


def _end(decay: Decay) -> float:
    below = [time for time, level in zip(decay.time_s, decay.level_db, strict=True) if level <= _LOWEST_DB]
    return float(below[0] if below else decay.time_s[-1]) or 0.001
