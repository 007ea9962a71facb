"""Loudspeaker boxes from driver data: closed and vented, after Small."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from doe.model import wording
from doe.model.errors import UsageError
from doe.signals.physics import (
    END_CORRECTION,
    TEMPERATURE_C,
    Estimate,
    positive,
    speed_of_sound,
)

Array = NDArray[np.float64]

_CLOSED = "R. H. Small (1972), Closed-box loudspeaker systems, part I, J. Audio Eng. Soc. 20, 798-808"
_VENTED = "R. H. Small (1973), Vented-box loudspeaker systems, part I, J. Audio Eng. Soc. 21, 363-372"
_BUTTERWORTH = math.sqrt(0.5)


def closed_box(fs_hz: float, qts: float, vas_l: float, volume_l: float) -> Estimate:
    """Estimate how a closed box tunes a driver.

    Parameters
    ----------
    fs_hz : float
        Resonance of the driver in free air.
    qts : float
        Total Q of the driver there.
    vas_l : float
        Volume of air that is as springy as the driver's suspension.
    volume_l : float
        Air in the box.

    Returns
    -------
    Estimate
        System Q; further figures: resonance, half-power frequency, peak.

    Raises
    ------
    UsageError
        If a figure is not above zero.
    """
    fs, q = positive("fs_hz", fs_hz), positive("qts", qts)
    rise = math.sqrt(1.0 + positive("vas_l", vas_l) / positive("volume_l", volume_l))
    qtc, fc = q * rise, fs * rise
    spread = 1.0 / qtc**2 - 2.0
    f3 = fc * math.sqrt((spread + math.sqrt(spread**2 + 4.0)) / 2.0)
    peak = 20.0 * math.log10(qtc**2 / math.sqrt(qtc**2 - 0.25)) if qtc > _BUTTERWORTH else 0.0
    trust = "Within 10 % for a tight, stiff box; driver data of one sample differ from the data sheet by as much."
    if qtc > 1.0:
        trust += " Above Q = 1 the bass is boomy; a larger box or more wool lowers it."
    inputs: dict[str, float | str] = {"fs_hz": fs_hz, "qts": qts, "vas_l": vas_l, "volume_l": volume_l}
    more = (
        Estimate("Resonance in the box", fc, "Hz", "fc = fs sqrt(1 + Vas / Vb)", _CLOSED, trust, inputs),
        Estimate("Half power at", f3, "Hz", "f3 = fc sqrt((x + sqrt(x^2 + 4)) / 2), x = 1 / Qtc^2 - 2", _CLOSED, trust),
        Estimate("Peak", peak, "dB", "20 log10(Qtc^2 / sqrt(Qtc^2 - 1/4)) where Qtc > 0.707", _CLOSED, trust),
    )
    return Estimate("System Q", qtc, "", "Qtc = Qts sqrt(1 + Vas / Vb)", _CLOSED, trust, inputs, more)


def vented_response_db(
    frequency_hz: Array, fs_hz: float, qts: float, alpha: float, tuning: float, box_q: float
) -> Array:
    """Return the response of a driver in a vented box, in dB re high frequencies.

    Parameters
    ----------
    frequency_hz : ndarray of shape (n_points,)
        Above 0.
    fs_hz, qts : float
        Driver.
    alpha : float
        ``Vas / Vb``.
    tuning : float
        ``h = fb / fs``.
    box_q : float
        Q of the leaks; infinite for none.

    Notes
    -----
    Small (1973), equations (20) to (24): fourth-order high-pass ``s^4 / (s^4 + a1 s^3 + a2 s^2 + a3 s + 1)`` with
    ``s = j f / sqrt(fs fb)``.
    """
    h, root, loss = tuning, math.sqrt(tuning), 1.0 / box_q
    a1 = (1.0 / qts + h * loss) / root
    a2 = (h + 1.0 / h) + alpha / h + loss / qts
    a3 = (h / qts + loss) / root
    s = 1j * np.asarray(frequency_hz) / (fs_hz * root)
    gain = np.abs(s**4 / (s**4 + a1 * s**3 + a2 * s**2 + a3 * s + 1.0))
    return np.asarray(20.0 * np.log10(np.maximum(gain, 1e-20)), dtype=np.float64)


def vented_box(
    fs_hz: float,
    qts: float,
    vas_l: float,
    volume_l: float,
    tuning_hz: float,
    *,
    box_q: float = 7.0,
    vent_radius_mm: float | None = None,
    temperature_c: float = TEMPERATURE_C,
) -> Estimate:
    """Estimate how a vented box tunes a driver.

    Parameters
    ----------
    fs_hz : float
        Resonance of the driver in free air.
    qts : float
        Total Q of the driver there.
    vas_l : float
        Volume of air that is as springy as the driver's suspension.
    volume_l : float
        Air in the box.
    tuning_hz : float
        Helmholtz resonance of box and vent.
    box_q : float
        Q of the leaks; Small takes 7 as typical.
    vent_radius_mm : float, optional
        Radius of a round vent, to get the length that it needs.
    temperature_c : float
        Air temperature.

    Returns
    -------
    Estimate
        Half-power frequency; further figures: highest peak, and the vent length where a radius is given.

    Raises
    ------
    UsageError
        If a figure is not above zero, or the vent is so narrow that it would need no length at all.
    """
    fs, q, fb = positive("fs_hz", fs_hz), positive("qts", qts), positive("tuning_hz", tuning_hz)
    alpha = positive("vas_l", vas_l) / positive("volume_l", volume_l)
    grid = np.geomspace(0.05 * min(fs, fb), 50.0 * max(fs, fb), 20_000)
    response = vented_response_db(grid, fs, q, alpha, fb / fs, positive("box_q", box_q))
    below = np.flatnonzero(response < -10.0 * math.log10(2.0))
    f3 = float(np.interp(-10.0 * math.log10(2.0), response[below[-1] : below[-1] + 2], grid[below[-1] : below[-1] + 2]))
    trust = "Within 15 % of the true half-power frequency; driver data, leaks and wool decide the peak."
    inputs: dict[str, float | str] = {"fs_hz": fs_hz, "qts": qts, "vas_l": vas_l, "volume_l": volume_l,
                                      "tuning_hz": tuning_hz, "box_q": box_q}  # fmt: skip
    more = [
        Estimate("Peak", max(0.0, float(response.max())), "dB", "largest value of the response", _VENTED, trust, inputs)
    ]
    if vent_radius_mm is not None:
        more.append(_vent_length(volume_l, fb, vent_radius_mm, temperature_c))
    formula = "|G| = 1 / sqrt(2), G = s^4 / (s^4 + a1 s^3 + a2 s^2 + a3 s + 1), s = j f / sqrt(fs fb)"
    return Estimate("Half power at", f3, "Hz", formula, _VENTED, trust, inputs, tuple(more))


def _vent_length(volume_l: float, tuning_hz: float, radius_mm: float, temperature_c: float) -> Estimate:
    a, c = positive("vent_radius_mm", radius_mm) * 1e-3, speed_of_sound(temperature_c)
    effective = c**2 * math.pi * a**2 / ((2.0 * math.pi * tuning_hz) ** 2 * volume_l * 1e-3)
    length = effective - (END_CORRECTION["flanged"] + END_CORRECTION["free"]) * a
    if length < 0:
        raise UsageError(
            f"vent_radius_mm is {wording.number(radius_mm)}; a vent so narrow tunes lower than {wording.number(tuning_hz)} Hz "
            "even without length: make it wider."
        )
    return Estimate(
        "Vent length",
        1000.0 * length,
        "mm",
        "L = c^2 S / ((2 pi fb)^2 V) - end corrections",
        "Kinsler et al., sec. 10.8; Levine & Schwinger 1948",
        "Within 10 %; start longer, then shorten.",
    )
