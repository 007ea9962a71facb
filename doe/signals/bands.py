"""Fractional-octave bands: exact mid and edge frequencies, band filters, and levels averaged over a band.

Bands are base ten, as IEC 61260-1:2014 has them: the octave ratio is ``G = 10 ** (3 / 10)``, not 2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, signal

from doe.model import wording
from doe.model.errors import DataError, UsageError

Array = NDArray[np.float64]
Average = Literal["power", "dB"]
"""Whether levels are averaged as power (energy counts) or as decibels (each part of the curve counts alike)."""

OCTAVE_RATIO = 10.0**0.3
"""G of IEC 61260-1:2014, formula (1)."""

REFERENCE_HZ = 1000.0
_PREFERRED = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
_FILTER_ORDER = 3
_SMALLEST_POWER = 1e-40


@dataclass(frozen=True, slots=True, eq=False)
class Bands:
    """A run of neighbouring bands.

    Attributes
    ----------
    fraction : int
        1 for octaves, 3 for third octaves, and so on.
    mid, low, high : ndarray of shape (n_bands,)
        Exact mid and edge frequencies, in Hz.
    nominal : tuple of float
        The rounded frequencies by which the bands are called, in Hz.
    """

    fraction: int
    mid: Array
    low: Array
    high: Array
    nominal: tuple[float, ...]


def mid_frequency(index: int, fraction: int) -> float:
    """Return the exact mid-band frequency in Hz.

    Parameters
    ----------
    index : int
        0 for the band at (or, with an even `fraction`, just above) 1000 Hz; negative below.
    fraction : int
        Bands per octave.

    Notes
    -----
    IEC 61260-1:2014, formulas (2) and (3).
    """
    steps = index if fraction % 2 else index + 0.5
    return float(REFERENCE_HZ * OCTAVE_RATIO ** (steps / fraction))


def edges(mid: float, fraction: int) -> tuple[float, float]:
    """Return the lower and upper edge of a band in Hz (IEC 61260-1:2014, formulas (4) and (5))."""
    half = OCTAVE_RATIO ** (0.5 / fraction)
    return mid / half, mid * half


def nominal_frequency(mid: float, fraction: int) -> float:
    """Return the frequency by which a band is called, in Hz.

    Octaves and third octaves are called by the R10 preferred numbers (IEC 61260-1:2014, Annex E); other fractions are
    rounded to three significant digits, or to two where the first digit is 5 or more (Annex E.3, *from memory*).
    """
    if fraction in (1, 3):
        place = round(10 * math.log10(mid))
        return _PREFERRED[place % 10] * 10.0 ** (place // 10)
    decade = math.floor(math.log10(mid))
    digits = 2 if mid / 10.0**decade < 5 else 1
    return round(mid, digits - decade)


def bands_between(low_hz: float, high_hz: float, fraction: int = 3) -> Bands:
    """Return all bands whose mid frequency lies in a range.

    Raises
    ------
    UsageError
        If the range is empty or the fraction is no whole number from 1 to 48.
    """
    check_fraction(fraction)
    if not 0 < low_hz < high_hz:
        raise UsageError(
            f"band is {wording.number(low_hz)} to {wording.number(high_hz)} Hz; it must rise from above 0."
        )
    shift = 0.0 if fraction % 2 else 0.5
    first = math.ceil(fraction * math.log(low_hz / REFERENCE_HZ, OCTAVE_RATIO) - shift - 1e-9)
    last = math.floor(fraction * math.log(high_hz / REFERENCE_HZ, OCTAVE_RATIO) - shift + 1e-9)
    mid = np.array([mid_frequency(index, fraction) for index in range(first, last + 1)])
    half = OCTAVE_RATIO ** (0.5 / fraction)
    names = tuple(nominal_frequency(float(value), fraction) for value in mid)
    return Bands(fraction, mid, mid / half, mid * half, names)


def check_fraction(fraction: int) -> None:
    """Check a number of bands per octave.

    Raises
    ------
    UsageError
        If it is no whole number from 1 to 48.
    """
    if isinstance(fraction, bool) or not isinstance(fraction, int) or not 1 <= fraction <= 48:
        raise UsageError(f"fraction is '{fraction}'; it must be a whole number from 1 (octave) to 48.")


def band_filter(low_hz: float, high_hz: float, rate: float) -> Array:
    """Design a band-pass filter that is 3 dB down at the band edges (Butterworth, sixth order).

    Returns
    -------
    ndarray of shape (3, 6)
        Second-order sections for `scipy.signal.sosfilt`.

    Raises
    ------
    DataError
        If the sample rate is too low for the band.
    """
    if high_hz >= 0.5 * rate:
        raise DataError(
            f"the band up to {wording.number(high_hz)} Hz needs a sample rate above {wording.number(2 * high_hz, 5)} Hz; "
            f"the recording has {wording.number(rate, 6)} Hz."
        )
    design = signal.butter(_FILTER_ORDER, [low_hz, high_hz], "bandpass", fs=rate, output="sos")
    return np.asarray(design, dtype=np.float64)


def to_power(level: Array) -> Array:
    """Return power from a level in dB."""
    return np.asarray(10.0 ** (np.asarray(level) / 10.0), dtype=np.float64)


def to_level(power: Array) -> Array:
    """Return a level in dB from power; nothing at all becomes -400 dB, not minus infinity."""
    return np.asarray(10.0 * np.log10(np.maximum(power, _SMALLEST_POWER)), dtype=np.float64)


def check_cover(frequency: Array, low_hz: float, high_hz: float, what: str = "the response") -> None:
    """Check that a band lies within the frequencies at hand.

    Raises
    ------
    DataError
        If part of the band was not measured.
    """
    first, last = float(frequency[0]), float(frequency[-1])
    if low_hz < first * (1 - 1e-9) or high_hz > last * (1 + 1e-9):
        raise DataError(
            f"band {wording.number(low_hz)} to {wording.number(high_hz)} Hz is not covered: {what} runs from "
            f"{wording.number(first)} to {wording.number(last)} Hz."
        )


def band_mean(frequency: Array, level: Array, low_hz: float, high_hz: float, average: Average = "power") -> float:
    """Average a response curve over a band, each octave counting alike.

    Parameters
    ----------
    frequency : ndarray of shape (n_points,), in Hz
        Rising.
    level : ndarray of shape (n_points,), in dB
        Taken as running straight over the logarithm of frequency between points.
    low_hz, high_hz : float
        The band.
    average : {"power", "dB"}
        What is averaged.

    Raises
    ------
    DataError
        If the curve does not cover the band.
    """
    check_cover(frequency, low_hz, high_hz)
    inside = (frequency > low_hz) & (frequency < high_hz)
    place = np.log(np.concatenate([[low_hz], frequency[inside], [high_hz]]))
    drawn = np.interp(place, np.log(frequency), level)
    values = to_power(drawn) if average == "power" else drawn
    mean = float(integrate.trapezoid(values, place) / (place[-1] - place[0]))
    return float(to_level(np.array(mean))) if average == "power" else mean


def smooth(frequency: Array, level: Array, fraction: int, average: Average = "power") -> Array:
    """Smooth a response curve over a sliding fractional octave.

    Parameters
    ----------
    frequency : ndarray of shape (n_points,), in Hz
        Rising, above 0.
    level : ndarray of shape (n_points,), in dB
        The curve; what is averaged runs straight over the logarithm of frequency between its points.
    fraction : int
        The sliding band is one octave divided by this; at the ends of the curve only its inner part is used.
    average : {"power", "dB"}
        What is averaged.

    Returns
    -------
    ndarray of shape (n_points,), in dB

    Raises
    ------
    UsageError
        If the fraction is no whole number from 1 to 48.
    """
    check_fraction(fraction)
    place = np.log(frequency)
    values = to_power(level) if average == "power" else np.asarray(level, dtype=np.float64)
    steps = 0.5 * (values[1:] + values[:-1]) * np.diff(place)
    running = np.concatenate([[0.0], np.cumsum(steps)])
    half = 0.5 * math.log(OCTAVE_RATIO) / fraction
    low, high = np.maximum(place - half, place[0]), np.minimum(place + half, place[-1])
    first, last = (_integral(end, place, values, running) for end in (low, high))
    mean = (last - first) / (high - low)
    return to_level(mean) if average == "power" else np.asarray(mean, dtype=np.float64)


def _integral(end: Array, place: Array, values: Array, running: Array) -> Array:
    """Return the integral of a curve that is straight between its points, from the first of them to each end."""
    before = np.clip(np.searchsorted(place, end, side="right") - 1, 0, len(place) - 2)
    step = end - place[before]
    rise = (values[before + 1] - values[before]) / (place[before + 1] - place[before])
    return np.asarray(running[before] + step * (values[before] + 0.5 * rise * step), dtype=np.float64)


def log_grid(low_hz: float, high_hz: float, per_octave: int = 48) -> Array:
    """Return frequencies evenly spaced on a logarithmic axis, both ends included, in Hz."""
    count = max(2, 1 + math.ceil(per_octave * math.log2(high_hz / low_hz)))
    grid = np.geomspace(low_hz, high_hz, count)
    return np.asarray(grid, dtype=np.float64)
