"""A and C frequency weighting (IEC 61672-1:2013): the formula of Annex E, and a digital filter that follows it."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Array = NDArray[np.float64]
Weighting = Literal["A", "C", "Z"]

_FIT_POINTS = 512
_FIT_UP_TO = 0.46
_ZEROS = 4


def _poles() -> tuple[float, float, float, float]:
    """Return the pole frequencies f1 to f4 in Hz (IEC 61672-1:2013, Annex E, formulas (E.2) to (E.6))."""
    f_r, f_l, f_h, f_a = 1000.0, 10.0**1.5, 10.0**3.9, 10.0**2.45
    D = math.sqrt(0.5)
    b = (f_r**2 + f_l**2 * f_h**2 / f_r**2 - D * (f_l**2 + f_h**2)) / (1.0 - D)
    c = f_l**2 * f_h**2
    root = math.sqrt(b**2 - 4.0 * c)
    return (
        math.sqrt((-b - root) / 2.0),
        (3.0 - math.sqrt(5.0)) / 2.0 * f_a,
        (3.0 + math.sqrt(5.0)) / 2.0 * f_a,
        math.sqrt((-b + root) / 2.0),
    )


POLES_HZ = _poles()


def weighting_db(frequency: Array, weighting: Weighting) -> Array:
    """Return the weighting at any frequency, by the analogue formula.

    Parameters
    ----------
    frequency : ndarray of shape (n_points,), in Hz
        At 0 Hz the A and C weightings are minus infinity, returned as -400 dB.
    weighting : {"A", "C", "Z"}
        Z does not weight.

    Returns
    -------
    ndarray of shape (n_points,), in dB
        0 at 1000 Hz.

    Notes
    -----
    IEC 61672-1:2013, Annex E, formulas (E.1) and (E.7).
    """
    f = np.atleast_1d(np.asarray(frequency, dtype=np.float64))
    if weighting == "Z":
        return np.zeros_like(f)
    return _formula_db(f, weighting) - float(_formula_db(np.array([1000.0]), weighting)[0])


def _formula_db(f: Array, weighting: Weighting) -> Array:
    f1, f2, f3, f4 = POLES_HZ
    squared = f**2
    gain = f4**2 * squared / ((squared + f1**2) * (squared + f4**2))
    if weighting == "A":
        gain = gain * squared / np.sqrt((squared + f2**2) * (squared + f3**2))
    return np.asarray(20.0 * np.log10(np.maximum(gain, 1e-20)), dtype=np.float64)


def weighting_filter(rate: float, weighting: Weighting) -> Array:
    """Design a digital filter that follows the weighting up to nearly half the sample rate.

    Parameters
    ----------
    rate : float
        Sample rate in Hz.
    weighting : {"A", "C", "Z"}
        Which.

    Returns
    -------
    ndarray of shape (n_sections, 6)
        Second-order sections for `scipy.signal.sosfilt`.

    Notes
    -----
    The low poles go through the bilinear transform, each with its own frequency kept. That transform would bend the
    double pole at 12.2 kHz too much at 48 kHz; its poles are matched instead (z = exp(s / rate)), and the zeros are those
    whose squared magnitude best gives what the formula asks for beyond the low poles: a linear problem in the cosines
    of frequency.
    """
    if weighting == "Z":
        return np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
    f1, f2, f3, f4 = POLES_HZ
    low = [_two_high_passes(f1, f1, rate)]
    if weighting == "A":
        low.append(_two_high_passes(f2, f3, rate))
    return np.vstack([*low, _top_section(np.vstack(low), math.exp(-2.0 * math.pi * f4 / rate), rate, weighting)])


def _two_high_passes(first_hz: float, second_hz: float, rate: float) -> Array:
    poles = [_bilinear_pole(hz, rate) for hz in (first_hz, second_hz)]
    return np.concatenate([[1.0, -2.0, 1.0], np.poly(poles)])[np.newaxis]


def _bilinear_pole(hz: float, rate: float) -> float:
    bent = math.tan(math.pi * hz / rate)
    return (1.0 - bent) / (1.0 + bent)


def _top_section(low: Array, pole: float, rate: float, weighting: Weighting) -> Array:
    frequency = np.linspace(0.0, _FIT_UP_TO * rate, _FIT_POINTS + 1)[1:]
    _, response = signal.sosfreqz(low, worN=frequency, fs=rate)
    w = 2.0 * np.pi * frequency / rate
    left = 10.0 ** (weighting_db(frequency, weighting) / 10.0) / np.abs(response) ** 2
    wanted = left * (1.0 - 2.0 * pole * np.cos(w) + pole**2) ** 2
    cosines = np.cos(np.outer(w, np.arange(_ZEROS + 1)))
    fit = np.linalg.lstsq(cosines / wanted[:, np.newaxis], np.ones_like(w), rcond=None)[0]
    zeros = _minimum_phase_zeros(fit)
    gain = math.sqrt(float(np.sum(fit))) / abs(complex(np.prod(1.0 - zeros)))
    poles = np.array([pole, pole, *[0.0] * (len(zeros) - 2)], dtype=np.complex128)
    # The stubs know real zeros only.
    return np.asarray(signal.zpk2sos(zeros, poles, gain), dtype=np.float64)  # type: ignore[arg-type]


def _minimum_phase_zeros(cosine_terms: Array) -> NDArray[np.complex128]:
    """Return the zeros inside the unit circle of a squared magnitude that is given as a sum of cosines."""
    halves = 0.5 * cosine_terms[1:]
    both = np.roots(np.concatenate([halves[::-1], [cosine_terms[0]], halves]))
    return np.asarray(both[np.argsort(np.abs(both))][: len(halves)], dtype=np.complex128)
