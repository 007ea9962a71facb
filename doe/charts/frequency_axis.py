"""The logarithmic frequency axis: a tick at each octave, called by its nominal frequency (IEC 61260-1:2014, annex E)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from doe.charts.canvas import Width

_OCTAVES = (16, 31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000)
_ROOM_PX = {"wide": 44.0, "narrow": 38.0}


def label(hz: float) -> str:
    """Write a nominal frequency as on an instrument: ``"31.5"``, ``"1k"``; any other one to four digits."""
    return f"{hz / 1000:.4g}k" if hz >= 1000 else f"{hz:.4g}"


def octaves(low_hz: float, high_hz: float) -> list[float]:
    """Return the octaves of a band, where its axis has ticks and its curves marks; its ends where no octave lies in it."""
    return [hz for hz in _OCTAVES if low_hz <= hz <= high_hz] or [low_hz, high_hz]


def frequency_axis(low_hz: float, high_hz: float, width: Width, pixels: float) -> dict[str, Any]:
    """Return the layout of a logarithmic frequency axis.

    Parameters
    ----------
    low_hz, high_hz : float
        Its ends.
    width : {"wide", "narrow"}
        Which drawing it is for.
    pixels : float
        Length of the axis; where octaves would crowd, every second or third is labelled, and 1k always.
    """
    inside = octaves(low_hz, high_hz)
    fits = max(1, int(pixels / _ROOM_PX[width]))
    step = max(1, math.ceil(len(inside) / fits))
    anchor = _OCTAVES.index(1000)
    shown = [hz for hz in inside if hz not in _OCTAVES or (_OCTAVES.index(hz) - anchor) % step == 0]
    return {
        "type": "log",
        "range": [math.log10(low_hz), math.log10(high_hz)],
        "tickvals": inside,
        "ticktext": [label(hz) if hz in shown else "" for hz in inside],
        "tickangle": 0,
        "title": {"text": "Frequency, Hz"},
    }


def span_of(frequencies: Sequence[NDArray[np.float64]], band: tuple[float, float] | None) -> tuple[float, float]:
    """Return the band to show: the one asked for, else what is audible of all curves."""
    if band is not None:
        return band
    lows, highs = [float(curve[0]) for curve in frequencies], [float(curve[-1]) for curve in frequencies]
    low, high = max(10.0, min(lows)), min(24_000.0, max(highs))
    return (low, high) if low < high else (min(lows), max(highs))
