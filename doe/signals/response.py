"""A frequency response as numbers: level over frequency."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from doe.model import wording
from doe.model.errors import DataError
from doe.signals import bands

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """A frequency response.

    Attributes
    ----------
    name : str
        What it is called on a chart: a file, a variant.
    frequency : ndarray of shape (n_points,), in Hz
        Rising, above 0.
    level : ndarray of shape (n_points,), in dB
        What the dB are relative to depends on where it comes from; `is_absolute` tells.
    is_absolute : bool
        Whether the level is a sound level (dB re 20 uPa) rather than one up to a constant.
    resolution_hz : float
        Detail finer than this is interpolated, since the analysed stretch of time was so short; 0 where unknown.
    """

    name: str
    frequency: Array
    level: Array
    is_absolute: bool = False
    resolution_hz: float = 0.0

    def smoothed(self, fraction: int, average: bands.Average = "power") -> Response:
        """Return the response smoothed over 1/`fraction` octave (see `doe.signals.bands.smooth`)."""
        return replace(self, level=bands.smooth(self.frequency, self.level, fraction, average))

    def at(self, frequency: ArrayLike) -> Array:
        """Return the level at other frequencies, straight over the logarithm of frequency; the ends are held."""
        return np.asarray(np.interp(np.log(frequency), np.log(self.frequency), self.level), dtype=np.float64)

    def within(self, low_hz: float, high_hz: float) -> Response:
        """Return the part of the response within a band.

        Raises
        ------
        DataError
            If fewer than two points lie in it.
        """
        keep = (self.frequency >= low_hz) & (self.frequency <= high_hz)
        if np.count_nonzero(keep) < 2:
            raise DataError(
                f"{self.name} has fewer than two points from {wording.number(low_hz)} to {wording.number(high_hz)} Hz."
            )
        return replace(self, frequency=self.frequency[keep], level=self.level[keep])

    def corrected(self, microphone: Response) -> Response:
        """Return the response with a microphone's own response taken off; outside its range nothing is taken off."""
        own = microphone.at(self.frequency)
        known = (self.frequency >= microphone.frequency[0]) & (self.frequency <= microphone.frequency[-1])
        return replace(self, level=self.level - np.where(known, own, 0.0))

    def raised(self, by_db: float) -> Response:
        """Return the response shifted by a calibration, as a sound level."""
        return replace(self, level=self.level + by_db, is_absolute=True)
