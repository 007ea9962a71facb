"""The backward-integrated energy of a decay, freed of noise, and what of it comes early or late."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from doe.model.errors import DataError
from doe.signals.noise_floor import Floor, find_floor
from doe.signals.straight import Straight

Array = NDArray[np.float64]

SAFE_ABOVE_NOISE_DB = 20.0
"""Where a decay stands less than this above the noise, the energy left in it hangs on how it would go on."""

_LEAST_RANGE_DB, _LARGEST_RANGE_DB = 6.0, 150.0


@dataclass(frozen=True, slots=True, eq=False)
class Energy:
    """A squared response without its noise, integrated backward.

    Attributes
    ----------
    after : ndarray of shape (n_samples,)
        What is left from each sample on, the first being the direct sound; in squared pressure times seconds.
    total : float
        All of it, with what a band filter moved to before the direct sound.
    floor : Floor
        Where it meets the noise.
    rate : float
        Sample rate in Hz.
    """

    after: Array
    total: float
    floor: Floor
    rate: float

    @property
    def level(self) -> Array:
        """The backward-integrated curve in dB re all energy."""
        return np.asarray(10.0 * np.log10(np.maximum(self.after / self.total, 1e-30)), dtype=np.float64)

    @property
    def range_db(self) -> float:
        """How far the curve can be followed down to the noise, in dB."""
        return min(_LARGEST_RANGE_DB, -10.0 * math.log10(max(self.floor.tail / self.total, 1e-30)))

    def left_at(self, sample: int) -> float:
        """Return the energy from a sample on; beyond the crossing with the noise as the decay would go on."""
        if sample < len(self.after):
            return float(self.after[sample])
        return self.floor.tail * math.exp(-self.floor.rate * (sample - len(self.after)) / self.rate)

    def is_near_noise(self, sample: int) -> bool:
        """Whether the decay has come near the noise by a sample, or sunk into it."""
        return bool(self.left_at(sample) < self.floor.tail * 10.0 ** (SAFE_ABOVE_NOISE_DB / 10.0))


def backward_filtered(samples: Array, sos: Array | None) -> Array:
    """Return samples filtered from the last to the first; as they are without a filter."""
    if sos is None:
        return samples
    return np.asarray(signal.sosfilt(sos, samples[::-1])[::-1], dtype=np.float64)


def integrate(power: Array, room: int, rate: float, shortest_s: float, name: str) -> Energy:
    """Integrate backward from where decay and noise cross to the direct sound.

    Parameters
    ----------
    power : ndarray of shape (n_samples,)
        Squared pressure.
    room : int
        Samples before the direct sound.
    rate : float
        Sample rate in Hz.
    shortest_s : float
        Shortest stretch whose mean is meaningful.
    name : str
        File, for messages.

    Raises
    ------
    DataError
        If nothing stands out of the noise.
    """
    floor = find_floor(power[room:], rate, shortest_s)
    kept = power[room : room + floor.stop] - floor.noise
    after = np.cumsum(kept[::-1])[::-1] / rate + floor.tail
    before = max(0.0, float(np.sum(power[:room] - floor.noise)) / rate)
    if floor.rate <= 0 or floor.tail > 10.0 ** (-_LEAST_RANGE_DB / 10.0) * after[0]:
        raise DataError(f"{name} holds no decay that stands out of its noise; measure louder or nearer.")
    return Energy(after, float(after[0]) + before, floor, rate)


def early_and_late(
    samples: Array, sos: Array | None, room: int, limit: int, energy: Energy, straight: Straight | None
) -> tuple[float, float]:
    """Return the energy before and after a limit.

    Parameters
    ----------
    samples : ndarray of shape (n_samples,)
        Unfiltered response.
    sos : ndarray or None
        Band filter.
    room : int
        Samples before the direct sound.
    limit : int
        Samples from the direct sound.
    energy : Energy
        Of the same response in the same band.
    straight : Straight or None
        The exponential that it follows, if it is straight: what is left near the noise is taken from it.
    """
    floor = energy.floor
    if straight is not None and energy.is_near_noise(limit):
        late = straight.left_at(limit / energy.rate)
        return energy.total - late, late
    if sos is None or limit >= floor.stop:
        late = energy.left_at(limit)
        return energy.total - late, late
    first, second = np.array(samples), np.array(samples)
    first[room + limit :], second[: room + limit] = 0.0, 0.0
    early = float(np.sum(backward_filtered(first, sos) ** 2)) - floor.noise * (room + limit)
    late = float(np.sum(backward_filtered(second, sos)[: room + floor.stop] ** 2)) - floor.noise * (floor.stop - limit)
    return early / energy.rate, late / energy.rate + floor.tail


def centre_time(energy: Energy) -> float:
    """Return the centre of gravity of the squared response (ISO 3382-1:2009, A.2.4), its extrapolated tail included."""
    floor, t = energy.floor, np.arange(len(energy.after)) / energy.rate
    kept = -np.diff(energy.after, append=floor.tail)
    tail = floor.tail * (floor.stop / energy.rate + 1.0 / floor.rate)
    return (float(np.sum(t * kept)) + tail) / energy.total


def ratio_db(early: float, late: float) -> float | None:
    """Return an energy ratio in dB; None where nothing measurable is on one side."""
    if early <= 0 or late <= 10.0 ** (-_LARGEST_RANGE_DB / 10.0) * early:
        return None
    return 10.0 * math.log10(early / late)
