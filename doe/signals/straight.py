"""The one exponential that a straight decay follows, fitted to all of it: for what has sunk into the noise."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from doe.signals.noise_floor import Floor

Array = NDArray[np.float64]

_BLOCKS = 48
_SMALLEST_BLOCK, _FEWEST_BLOCKS = 4, 8
_ROUNDS = 5
_NOISIEST = 0.3
_CLEAN = 0.01
_LEAST_VARIANCE = 1e-7
_FASTEST_PER_BLOCK = 50.0


@dataclass(frozen=True, slots=True)
class Straight:
    """One exponential decay ``p^2 = exp(height - rate t)``.

    Attributes
    ----------
    rate : float
        Per second.
    height : float
        Natural logarithm of the squared pressure at the direct sound.
    centre_s : float
        Time around which the fit turns.
    height_sd, rate_sd : float
        Standard errors of the level at `centre_s` and of the rate.
    sample_s : float
        One over the sample rate.
    """

    rate: float
    height: float
    centre_s: float
    height_sd: float
    rate_sd: float
    sample_s: float

    def left_at(self, t: float) -> float:
        """Return the energy from a time on, in squared pressure times seconds, summed as samples are."""
        step = self.sample_s / -math.expm1(-self.rate * self.sample_s)
        return math.exp(self.height - self.rate * t) * step

    def sd_db(self, t: float) -> float:
        """Return the standard error of `left_at` in dB."""
        turn = t - self.centre_s + 1.0 / self.rate
        return 10.0 / math.log(10.0) * math.hypot(self.height_sd, turn * self.rate_sd)


def fit_straight(power: Array, floor: Floor, rate: float) -> Straight | None:
    """Fit one exponential to a decay, from the direct sound into its noise.

    Parameters
    ----------
    power : ndarray of shape (n_samples,)
        Squared pressure from the direct sound on.
    floor : Floor
        Its noise, and first values for the fit.
    rate : float
        Sample rate in Hz.

    Returns
    -------
    Straight or None
        None if too few blocks stand out of the noise.

    Notes
    -----
    Weighted least squares on the logarithm of block means. A block of m samples with noise-to-signal ratio r has the
    variance ``v + (4 r + 2 r^2) / m``: the second part is that of noise added to a known signal, the first, how much the
    decay itself scatters, is taken from the blocks that stand well out of the noise.
    """
    block = max(_SMALLEST_BLOCK, floor.stop // _BLOCKS)
    count = floor.stop // block
    if count < _FEWEST_BLOCKS:
        return None
    S = power[: count * block].reshape(count, block).mean(axis=1) - floor.noise
    t = ((np.arange(count) + 0.5) * block - 0.5) / rate
    k, height, own = floor.rate, math.log(floor.level) + floor.rate * floor.stop / rate, _LEAST_VARIANCE
    for _ in range(_ROUNDS):
        if not 0 < k * block / rate < _FASTEST_PER_BLOCK:
            return None
        # The mean of an exponential over a block lies a little above its value in the middle.
        over = math.log(math.sinh(0.5 * k * block / rate) / (0.5 * k * block / rate))
        r = floor.noise / np.exp(np.clip(height - k * t + over, -600.0, 600.0))
        use = (S > 0) & (r < _NOISIEST)
        if np.count_nonzero(use) < _FEWEST_BLOCKS:
            return None
        added = (4.0 * r + 2.0 * r**2) / block
        variance = own + added[use]
        y = np.log(S[use]) + 0.5 * variance - over
        w, x = 1.0 / variance, t[use]
        centre, middle = float(np.sum(w * x) / np.sum(w)), float(np.sum(w * y) / np.sum(w))
        spread = float(np.sum(w * (x - centre) ** 2))
        k = -float(np.sum(w * (x - centre) * (y - middle))) / spread
        height = middle + k * centre
        clean = (r[use] < _CLEAN) & (np.abs(y - height + k * x) < 10)
        if np.count_nonzero(clean) >= _FEWEST_BLOCKS:
            misses = (y - height + k * x)[clean] ** 2 - added[use][clean]
            own = max(_LEAST_VARIANCE, float(np.mean(misses)))
    if k <= 0:
        return None
    return Straight(k, height, centre, 1.0 / math.sqrt(float(np.sum(w))), 1.0 / math.sqrt(spread), 1.0 / rate)
