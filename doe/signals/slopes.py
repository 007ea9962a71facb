"""One slope or two: whether a decay falls first fast and then slowly, as two coupled volumes do."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

Array = NDArray[np.float64]

_POINTS = 200
_TOP_DB, _ABOVE_END_DB = -1.0, 6.0
_LEAST_RANGE_DB = 20.0
_LEAST_RATIO, _LEAST_GAIN, _LEAST_MISFIT_DB = 1.5, 3.0, 0.4
_KNEE_ROOM_DB = 5.0


@dataclass(frozen=True, slots=True)
class TwoSlopes:
    """A decay of two parts.

    Attributes
    ----------
    early_s, late_s : float
        Decay times for 60 dB of the fast and of the slow part, in seconds.
    late_db : float
        Level of the slow part at the start, in dB re the whole backward-integrated curve.
    knee_s, knee_db : float
        Where the slow part takes over: time, and level of the curve there.
    """

    early_s: float
    late_s: float
    late_db: float
    knee_s: float
    knee_db: float


def find_two_slopes(t: Array, level: Array, range_db: float) -> TwoSlopes | None:
    """Tell a two-slope decay from a single one.

    Parameters
    ----------
    t : ndarray of shape (n_samples,), in seconds
        From the direct sound.
    level : ndarray of shape (n_samples,), in dB
        Backward-integrated curve, 0 dB at the start.
    range_db : float
        How far it can be followed down to the noise.

    Returns
    -------
    TwoSlopes or None
        None for a single slope, and where there is too little range to tell.

    Notes
    -----
    The sum of two exponentials (N. Xiang, P. M. Goggans 2001, J. Acoust. Soc. Am. 110, 1415-1424, eq. 1, without its
    noise term, which is off the curve already) is fitted in dB beside a single one. Two slopes are claimed only if the
    single one misses by 0.4 dB or more (root mean square), the pair misses by a third of that at most, its times differ
    by half or more, and the knee lies 5 dB or more inside the range. The four figures are our own choice, *common
    practice, no source*; tests state how often a single slope is taken for two.
    """
    if range_db < _LEAST_RANGE_DB:
        return None
    end_db = -range_db + _ABOVE_END_DB
    first, last = int(np.argmax(level <= _TOP_DB)), int(np.argmax(level <= end_db)) or len(level)
    if last - first < 20:
        return None
    keep = np.unique(np.linspace(first, last - 1, min(last - first, _POINTS)).astype(int))
    time, curve = t[keep], level[keep]
    line = np.polyfit(time, curve, 1)
    single = _rms(curve - np.polyval(line, time))
    if single < _LEAST_MISFIT_DB:
        return None
    pair, misfit = _fit_pair(time, curve)
    if misfit > single / _LEAST_GAIN:
        return None
    return _accepted(pair, end_db)


def _fit_pair(t: Array, level: Array) -> tuple[Array, float]:
    """Fit two exponentials in dB; return early rate, late rate, level of each (nat), and the misfit in dB."""
    third = max(3, len(t) // 3)
    nat = level * math.log(10.0) / 10.0
    early, late = np.polyfit(t[:third], nat[:third], 1), np.polyfit(t[-third:], nat[-third:], 1)
    start = np.array([math.log(max(-early[0], 1e-6)), math.log(max(-late[0], 1e-6)), early[1], late[1]])

    def miss(p: Array) -> Array:
        both = np.logaddexp(p[2] - np.exp(p[0]) * t, p[3] - np.exp(p[1]) * t)
        return np.asarray(10.0 / math.log(10.0) * both - level, dtype=np.float64)

    room = np.array([3.0, 3.0, 12.0, 12.0])
    found = optimize.least_squares(miss, start, bounds=(start - room, start + room), max_nfev=200)
    rates = np.exp(found.x[:2])
    order = [0, 1] if rates[0] >= rates[1] else [1, 0]
    return np.concatenate([rates[order], found.x[2:][order]]), _rms(found.fun)


def _accepted(pair: Array, end_db: float) -> TwoSlopes | None:
    fast, slow, fast_level, slow_level = (float(value) for value in pair)
    if fast < _LEAST_RATIO * slow or slow_level >= fast_level:
        return None
    knee = (fast_level - slow_level) / (fast - slow)
    to_db = 10.0 / math.log(10.0)
    knee_db = to_db * (slow_level - slow * knee + math.log(2.0))
    if knee_db < end_db + _KNEE_ROOM_DB or knee_db > -_KNEE_ROOM_DB:
        return None
    whole = to_db * float(np.logaddexp(fast_level, slow_level))
    sixty = 6.0 * math.log(10.0)
    return TwoSlopes(sixty / fast, sixty / slow, to_db * slow_level - whole, knee, knee_db)


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))
