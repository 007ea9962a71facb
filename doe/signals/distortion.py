"""Harmonic distortion by order, from one exponential sweep."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from doe.model import wording
from doe.model.errors import DataError, UsageError
from doe.signals import bands
from doe.signals.impulse import Impulse
from doe.signals.sweep import Sweep

Array = NDArray[np.float64]

HIGHEST_ORDER = 5
_GAP_USED, _EDGE = 0.8, 0.1
_LONGEST_S = 0.5
_FROM_START = 1.5
"""Lowest played frequency, in times of the sweep's first: below it the harmonics fade in with the sweep."""

_POINTS_PER_OCTAVE = 24


@dataclass(frozen=True, slots=True, eq=False)
class Distortion:
    """Harmonic distortion over frequency.

    Attributes
    ----------
    name : str
        File it comes from.
    frequency : ndarray of shape (n_points,), in Hz
        Frequency of the tone that is played.
    orders : tuple of int
        2 for the second harmonic, and so on.
    level : ndarray of shape (n_orders, n_points), in dB
        Harmonic re fundamental, at the same played frequency; NaN where the harmonic lies above the swept band.
    floor : ndarray of shape (n_points,), in dB
        What noise alone would give, re fundamental, for the order nearest to the direct sound.
    """

    name: str
    frequency: Array
    orders: tuple[int, ...]
    level: Array
    floor: Array

    @property
    def total_percent(self) -> Array:
        """Root of the sum of squares of the harmonics over the fundamental, in percent."""
        power = np.nansum(bands.to_power(self.level), axis=0)
        return np.asarray(100.0 * np.sqrt(power), dtype=np.float64)

    def of_order(self, order: int) -> Array:
        """Return the level of one harmonic in dB re fundamental.

        Raises
        ------
        UsageError
            If that order was not measured.
        """
        if order not in self.orders:
            raise UsageError(f"order is {order}; it must be from 2 to {self.orders[-1]}.")
        return np.asarray(self.level[self.orders.index(order)], dtype=np.float64)


def measure_distortion(impulse: Impulse, highest_order: int = HIGHEST_ORDER) -> Distortion:
    """Separate the harmonics of a sweep recording.

    Parameters
    ----------
    impulse : Impulse
        Taken from a sweep; the level at which it was played is the one that the distortion belongs to.
    highest_order : int
        2 to 10.

    Raises
    ------
    UsageError
        If the order is out of range.
    DataError
        If the impulse response does not come from a sweep, or the sweep was too short to set harmonics apart.

    Notes
    -----
    The response to the harmonic of order n stands ``L ln(n)`` before the linear one (Farina 2000, eq. 12), and its spectrum
    at ``n f`` belongs to the played frequency ``f``. A stretch around each, as long as the room to its neighbours allows,
    is transformed by itself.
    """
    if not 2 <= highest_order <= 10:
        raise UsageError(f"highest order is {highest_order}; it must be from 2 to 10.")
    sweep = impulse.sweep
    if sweep is None:
        raise DataError(f"{impulse.name} is no sweep recording; distortion by order needs one.")
    if _room(sweep, highest_order) * sweep.start_hz < 1.0:
        least = sweep.seconds / (_room(sweep, highest_order) * sweep.start_hz)
        raise DataError(
            f"{impulse.name}: the sweep is too short to set {highest_order} harmonics apart; it must last "
            f"{wording.number(least, 2)} s or more."
        )
    grid = bands.log_grid(_FROM_START * sweep.start_hz, 0.5 * impulse.high_hz, _POINTS_PER_OCTAVE)
    first = _amplitude(impulse, 0.0, _room(sweep, 1), grid)
    orders = tuple(range(2, highest_order + 1))
    level = np.full((len(orders), len(grid)), np.nan)
    for row, order in enumerate(orders):
        reach = order * grid <= impulse.high_hz
        found = _amplitude(impulse, sweep.advance(order), _room(sweep, order), order * grid[reach])
        level[row, reach] = 20.0 * np.log10(np.maximum(found / first[reach], 1e-15))
    quiet = _amplitude(impulse, 0.5 * sweep.advance(2), _room(sweep, 2), 2.0 * grid)
    return Distortion(impulse.name, grid, orders, level, 20.0 * np.log10(np.maximum(quiet / first, 1e-15)))


def _room(sweep: Sweep, order: int) -> float:
    """Return how many seconds around the response to a harmonic are its own."""
    return min(_LONGEST_S, _GAP_USED * sweep.L * math.log((order + 1) / order))


def _amplitude(impulse: Impulse, advance_s: float, length_s: float, frequency: Array) -> Array:
    """Return the magnitude spectrum of a stretch that begins a little before a response, at given frequencies."""
    size = round(length_s * impulse.rate)
    start = impulse.onset - round(advance_s * impulse.rate) - size // 4
    piece = np.zeros(size)
    inside = impulse.samples[max(0, start) : max(0, start + size)]
    piece[max(0, -start) : max(0, -start) + len(inside)] = inside
    edge = max(1, int(_EDGE * size))
    rise = np.sin(0.5 * np.pi * (np.arange(edge) + 0.5) / edge) ** 2
    piece[:edge] *= rise
    piece[-edge:] *= rise[::-1]
    padded = fft.next_fast_len(4 * size, real=True)
    power = np.abs(fft.rfft(piece, padded)) ** 2
    # Each figure is the mean over the step of the grid; a single line would pass the noise on.
    running, line = np.concatenate([[0.0], np.cumsum(power)]), frequency * padded / impulse.rate
    half = np.maximum(1.0, line * (2.0 ** (0.5 / _POINTS_PER_OCTAVE) - 1.0))
    low, high = (np.clip(line + 0.5 + side * half, 0.0, len(power)) for side in (-1.0, 1.0))
    places = np.arange(len(running))
    mean = (np.interp(high, places, running) - np.interp(low, places, running)) / (high - low)
    return np.asarray(np.sqrt(mean), dtype=np.float64)
