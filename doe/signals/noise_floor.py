"""Where a decay sinks into noise: the noise, the late rate of decay, and the time at which the two cross."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Array = NDArray[np.float64]

_ROUNDS = 6
_ABOVE_NOISE_DB, _RANGE_DB = 8.0, 20.0
_BLOCKS_PER_10_DB = 5
_SMALLEST_BLOCK = 8
_NEIGHBOURS = 5
_LAST_SHARE, _LEAST_NOISE_SHARE = 0.1, 0.02
_CLEAR_OF_DECAY, _LEAST_CLEAR = 1.5, 0.3
"""How far beyond the crossing the noise is taken, in times of 10 dB of decay: at the first less than 3 % of decay is left
there; the second will do where the recording ends soon after, since what is left is taken off."""

_MOSTLY_NOISE = 0.5
_DB = 10.0 / np.log(10.0)


@dataclass(frozen=True, slots=True)
class Floor:
    """How a decay ends.

    Attributes
    ----------
    noise : float
        Mean square of the noise; 0 where the recording ends before any is reached.
    stop : int
        Samples after which the decay is taken as it would go on without noise.
    rate : float
        Late rate of decay of the squared pressure, per second: ``p^2 ~ exp(-rate t)``.
    level : float
        Squared pressure that the late decay has at `stop`.
    is_reached : bool
        Whether the recording runs on into noise.
    """

    noise: float
    stop: int
    rate: float
    level: float
    is_reached: bool

    @property
    def tail(self) -> float:
        """Energy that the decay would still hold after `stop`, in squared pressure times seconds."""
        return self.level / self.rate if self.rate > 0 else 0.0


def find_floor(power: Array, rate: float, shortest_s: float = 0.0) -> Floor:
    """Find where a decay meets its noise floor.

    Parameters
    ----------
    power : ndarray of shape (n_samples,)
        Squared pressure from the direct sound on.
    rate : float
        Sample rate in Hz.
    shortest_s : float
        Shortest stretch whose mean is meaningful: one over the bandwidth.

    Returns
    -------
    Floor

    Notes
    -----
    The iteration of A. Lundeby, T. E. Vigran, H. Bietz, M. Vorlaender (1995), Acustica 81, 344-355: block the energy,
    fit a line to the 20 dB that end somewhat above the noise, cross it with the noise, take the noise anew from what lies
    well after the crossing, adapt the blocks to the slope, repeat.
    """
    count = len(power)
    noise = float(np.mean(power[-max(1, int(_LAST_SHARE * count)) :]))
    smallest = max(_SMALLEST_BLOCK, round(shortest_s * rate))
    block = max(smallest, min(count // 200, int(0.002 * rate)))
    if noise <= 0:
        return _unreached(power, rate, block)
    slope, height, stop, is_reached = 0.0, 0.0, count, False
    for _ in range(_ROUNDS):
        fit = _late_line(power, rate, block, noise)
        if fit is None:
            break
        slope, height = fit
        stop = _crossing(slope, height, noise, rate, count)
        ten_db = 10.0 / slope * rate
        block = max(smallest, min(int(ten_db / _BLOCKS_PER_10_DB), count // 20))
        needed = int(max(_LEAST_NOISE_SHARE * count, 4 * smallest))
        quiet = min(stop + int(_CLEAR_OF_DECAY * ten_db), count - needed)
        is_reached = quiet >= stop + int(_LEAST_CLEAR * ten_db)
        if is_reached:
            noise = _noise_beyond(power, quiet, slope, height, rate)
    if slope <= 0:
        return Floor(noise, count, 0.0, 0.0, True)
    if not is_reached:
        return _unreached(power, rate, block)
    level = 10.0 ** ((height - slope * stop / rate) / 10.0)
    return Floor(noise, stop, slope / _DB, level, is_reached)


def _noise_beyond(power: Array, start: int, slope: float, height: float, rate: float) -> float:
    """Return the mean square from a sample on, less what the decay still holds there."""
    k, seconds = slope / _DB, (len(power) - start) / rate
    left = 10.0 ** ((height - slope * start / rate) / 10.0) / k * -np.expm1(-k * seconds) / seconds
    mean = float(np.mean(power[start:]))
    return max(mean - float(left), _MOSTLY_NOISE * mean)


def _unreached(power: Array, rate: float, block: int) -> Floor:
    """Describe a decay that ends before any noise: none is taken off, and its last 20 dB set the rate."""
    stop = int(np.flatnonzero(power)[-1]) + 1
    block = min(block, max(_SMALLEST_BLOCK, stop // 20))
    line = _late_line(power[:stop], rate, block, 0.0)
    if line is None:
        return Floor(0.0, stop, 0.0, 0.0, False)
    slope, height = line
    return Floor(0.0, stop, slope / _DB, 10.0 ** ((height - slope * stop / rate) / 10.0), False)


def _late_line(power: Array, rate: float, block: int, noise: float) -> tuple[float, float] | None:
    """Return slope (dB per second, positive when falling) and height (dB) of the late decay.

    It is fitted over the 20 dB that end 8 dB above the noise, or without noise over the last 20 dB.
    """
    if len(power) < 4 * block:
        return None
    energy = np.mean(power[: len(power) // block * block].reshape(-1, block), axis=1) - noise
    # Narrow bands fade in and out: where the range begins and ends is told from the mean of neighbouring blocks.
    steady = ndimage.uniform_filter1d(energy, min(_NEIGHBOURS, len(energy)), mode="nearest")
    over = 10.0 * np.log10(np.maximum(steady, 1e-300))
    lowest = 10.0 * np.log10(noise) + _ABOVE_NOISE_DB if noise > 0 else over[-1]
    peak = int(np.argmax(over))
    below = np.flatnonzero(over[peak:] < lowest)
    end = peak + (int(below[0]) if len(below) else len(over) - peak)
    high = np.flatnonzero(over[peak:end] > min(lowest + _RANGE_DB, over[peak]))
    start = peak + (int(high[-1]) + 1 if len(high) else 0)
    if end - start < 3:
        start = max(0, end - 3)
    if end - start < 3:
        return None
    t = (np.arange(start, end) + 0.5) * block / rate
    level = 10.0 * np.log10(np.maximum(energy[start:end], 1e-300))
    slope, height = np.polyfit(t, level, 1)
    return (-float(slope), float(height)) if slope < 0 else None


def _crossing(slope: float, height: float, noise: float, rate: float, count: int) -> int:
    seconds = (height - 10.0 * np.log10(max(noise, 1e-300))) / slope
    return int(np.clip(seconds * rate, 1, count))
