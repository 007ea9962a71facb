"""What the shape of a response says: how far it is from another, which way it tilts, where it resonates."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, signal

from doe.model import wording
from doe.model.errors import DataError
from doe.signals import bands
from doe.signals.response import Response

Array = NDArray[np.float64]

GRID_PER_OCTAVE = 48
_ROUNDING = 1e-12
"""Share of the largest level that rounding may leave of a difference."""
_BASELINE_FRACTION = 1
_HALF_POWER_DB = 10.0 * math.log10(2.0)


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """How a response differs from a reference over a band, after their levels were matched.

    Attributes
    ----------
    frequency : ndarray of shape (n_points,), in Hz
        Evenly spaced on a logarithmic axis.
    level : ndarray of shape (n_points,), in dB
        Response less reference, after matching.
    shift_db : float
        What was taken off the response to match their mean levels.
    rms_db, largest_db : float
        Root mean square and largest magnitude of `level`.
    """

    frequency: Array
    level: Array
    shift_db: float
    rms_db: float
    largest_db: float


@dataclass(frozen=True, slots=True)
class Resonance:
    """A peak of a response.

    Attributes
    ----------
    frequency_hz : float
        Where its top is.
    q : float or None
        Frequency over the width between the points 3 dB down; None where the response does not fall so far on both
        sides, or the analysed stretch of time was too short to resolve that width.
    height_db : float
        How far it stands above the response averaged over the octave around it.
    """

    frequency_hz: float
    q: float | None
    height_db: float


def deviation(
    response: Response, reference: Response, low_hz: float, high_hz: float, *, match: tuple[float, float] | None = None
) -> Difference:
    """Return how a response deviates from a reference, each octave counting alike.

    Parameters
    ----------
    response, reference : Response
        Both must cover the band; smooth them first as wanted.
    low_hz, high_hz : float
        The band.
    match : pair of float, optional
        Band over which the mean levels, in dB, are made equal first; the whole band by default.

    Raises
    ------
    DataError
        If one of them does not cover the band.
    """
    match_low, match_high = match or (low_hz, high_hz)
    for curve in (response, reference):
        bands.check_cover(curve.frequency, min(low_hz, match_low), max(high_hz, match_high), curve.name)
    inner = bands.log_grid(match_low, match_high, GRID_PER_OCTAVE)
    shift = _log_mean(inner, response.at(inner) - reference.at(inner))
    grid = bands.log_grid(low_hz, high_hz, GRID_PER_OCTAVE)
    own, other = response.at(grid), reference.at(grid)
    level = own - other - shift
    level[np.abs(level) <= _ROUNDING * max(np.max(np.abs(own)), np.max(np.abs(other)))] = 0.0
    rms = math.sqrt(_log_mean(grid, level**2))
    return Difference(grid, level, shift, rms, float(np.max(np.abs(level))))


def _log_mean(grid: Array, values: Array) -> float:
    place = np.log(grid)
    return float(integrate.trapezoid(values, place) / (place[-1] - place[0]))


def tilt(response: Response, low_hz: float, high_hz: float) -> float:
    """Return the slope of a response over a band in dB per octave: the least-squares line over log frequency.

    Raises
    ------
    DataError
        If the response does not cover the band, or the band is narrower than half an octave.
    """
    bands.check_cover(response.frequency, low_hz, high_hz, response.name)
    if high_hz < math.sqrt(2.0) * low_hz:
        raise DataError(
            f"band {wording.number(low_hz)} to {wording.number(high_hz)} Hz is too narrow for a tilt; it must span half an "
            "octave or more."
        )
    grid = bands.log_grid(low_hz, high_hz, GRID_PER_OCTAVE)
    return float(np.polyfit(np.log2(grid), response.at(grid), 1)[0])


def find_resonances(response: Response, low_hz: float, high_hz: float, *, least_db: float = 3.0) -> list[Resonance]:
    """Return the peaks of a response within a band, highest first.

    Parameters
    ----------
    response : Response
        Smooth it first if it is rough; smoothing over 1/n octave lowers a Q by 0.26 (Q / n)^2 of itself.
    low_hz, high_hz : float
        Where to look.
    least_db : float
        Peaks must stand out this much on both sides.

    Raises
    ------
    DataError
        If the response does not cover the band.

    Notes
    -----
    Q is frequency over the width between the half-power points (IEC 60050-801-24-13, *from memory*), read from the curve
    by straight lines. For a peak that stands less than 3 dB out of its surroundings there is none.
    """
    bands.check_cover(response.frequency, low_hz, high_hz, response.name)
    peaks = signal.find_peaks(response.level, prominence=least_db)[0]
    baseline = bands.smooth(response.frequency, response.level, _BASELINE_FRACTION, "dB")
    inside = [int(peak) for peak in peaks if low_hz <= response.frequency[peak] <= high_hz]
    resonances = [_resonance(response, peak, baseline) for peak in inside]
    return sorted(resonances, key=lambda resonance: -resonance.height_db)


def _resonance(response: Response, peak: int, baseline: Array) -> Resonance:
    frequency, level = _top(response, peak)
    low = _crossing(response, peak, level - _HALF_POWER_DB, -1)
    high = _crossing(response, peak, level - _HALF_POWER_DB, 1)
    q = None
    if low is not None and high is not None and high - low > response.resolution_hz:
        q = frequency / (high - low)
    return Resonance(frequency, q, level - float(baseline[peak]))


def _top(response: Response, peak: int) -> tuple[float, float]:
    """Return frequency and level of the top of the parabola through three points, on a logarithmic axis."""
    x, y = np.log(response.frequency[peak - 1 : peak + 2]), response.level[peak - 1 : peak + 2]
    (left, right), (before, after) = np.diff(x), np.diff(y) / np.diff(x)
    bend, slope = (after - before) / (left + right), (before * right + after * left) / (left + right)
    step = float(np.clip(-slope / (2 * bend), -left, right)) if bend < 0 else 0.0
    return float(np.exp(x[1] + step)), float(y[1] + slope * step + bend * step**2)


def _crossing(response: Response, peak: int, level: float, direction: int) -> float | None:
    """Return the frequency nearest to a peak, going one way, at which the response falls to a level."""
    place = peak
    while 0 <= place + direction < len(response.level):
        if response.level[place + direction] <= level:
            y0, y1 = response.level[place], response.level[place + direction]
            share = float((y0 - level) / (y0 - y1)) if y0 > y1 else 0.0
            x0, x1 = response.frequency[place], response.frequency[place + direction]
            return float(x0 + share * (x1 - x0))
        place += direction
    return None
