"""Cumulative spectral decay: what is left of a response as its beginning is cut away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from doe.model import wording
from doe.model.errors import DataError, UsageError
from doe.signals import bands
from doe.signals.impulse import Impulse

Array = NDArray[np.float64]

_RISE_S = 0.0005
_PER_OCTAVE = 24


@dataclass(frozen=True, slots=True, eq=False)
class Waterfall:
    """Level over frequency for each of several starting times.

    Attributes
    ----------
    name : str
        File it comes from.
    frequency : ndarray of shape (n_points,), in Hz
        Evenly spaced on a logarithmic axis.
    time_s : ndarray of shape (n_slices,), in seconds
        Where the analysed stretch begins, from the direct sound.
    level : ndarray of shape (n_slices, n_points), in dB
        Relative to the highest level of the first slice.
    window_s : float
        Length of the stretch; detail finer than one over it is not resolved.
    """

    name: str
    frequency: Array
    time_s: Array
    level: Array
    window_s: float


def measure_waterfall(
    impulse: Impulse,
    low_hz: float,
    high_hz: float,
    *,
    slices: int = 40,
    span_s: float = 0.1,
) -> Waterfall:
    """Analyse ever later stretches of an impulse response.

    Parameters
    ----------
    impulse : Impulse
        What was measured.
    low_hz, high_hz : float
        The band.
    slices : int
        2 to 400.
    span_s : float
        Start of the last stretch, from the direct sound. Each stretch is as long, and long enough for one period of `low_hz`.

    Raises
    ------
    UsageError
        If a figure is out of its range.
    DataError
        If the response does not cover the band, or is too short for the span.

    Notes
    -----
    D. E. L. Shorter (1946), BBC Quarterly 1(3), 145-159; with the windows of J. D. Bunton, R. H. Small (1982), J. Audio
    Eng. Soc. 30, 465-476: a short rise and a long fall. *From memory.*
    """
    if not 2 <= slices <= 400:
        raise UsageError(f"slices is {slices}; it must be a whole number from 2 to 400.")
    if not 0.0005 <= span_s <= 10.0:
        raise UsageError(f"span is {wording.number(span_s)} s; it must be from 0.0005 to 10 s.")
    bands.check_cover(np.array([impulse.low_hz, impulse.high_hz]), low_hz, high_hz, impulse.name)
    window = max(span_s, 1.0 / low_hz)
    if impulse.seconds < 0.5 * span_s:
        raise DataError(
            f"{impulse.name} lasts {wording.number(impulse.seconds)} s after the direct sound; a waterfall over "
            f"{wording.number(span_s)} s needs at least half of that."
        )
    frequency = bands.log_grid(low_hz, high_hz, _PER_OCTAVE)
    times = np.linspace(0.0, span_s, slices)
    rows = [_slice(impulse, float(t), window, frequency) for t in times]
    level = 20.0 * np.log10(np.maximum(np.vstack(rows), 1e-15))
    return Waterfall(impulse.name, frequency, times, level - float(level[0].max()), window)


def _slice(impulse: Impulse, start_s: float, window_s: float, frequency: Array) -> Array:
    """Return the magnitude of a stretch that rises just before its start and falls towards its end."""
    rise, fall = max(1, round(_RISE_S * impulse.rate)), max(2, round(window_s * impulse.rate))
    first = impulse.onset + round(start_s * impulse.rate) - rise
    piece = np.zeros(rise + fall)
    inside = impulse.samples[max(0, first) : first + rise + fall]
    piece[max(0, -first) : max(0, -first) + len(inside)] = inside
    piece[:rise] *= np.sin(0.5 * np.pi * (np.arange(rise) + 0.5) / rise) ** 2
    flat = fall // 2
    piece[rise + flat :] *= np.cos(0.5 * np.pi * (np.arange(fall - flat) + 0.5) / (fall - flat)) ** 2
    size = fft.next_fast_len(max(2 * len(piece), round(4 * impulse.rate / frequency[0])), real=True)
    magnitude = np.abs(fft.rfft(piece, size))
    return np.asarray(np.interp(frequency, fft.rfftfreq(size, 1.0 / impulse.rate), magnitude), dtype=np.float64)
