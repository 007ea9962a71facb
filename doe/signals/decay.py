"""How a sound dies away: decay times, early and late energy, from the backward-integrated impulse response."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from doe.model import wording
from doe.signals.backward_energy import Energy, backward_filtered, centre_time, early_and_late, integrate, ratio_db
from doe.signals.bands import Bands, band_filter
from doe.signals.decay_findings import (
    LIMITS_MS,
    RANGES_DB,
    STEADY_BANDWIDTH_TIME,
    Finding,
    bandwidth_time,
    late_findings,
    range_findings,
    shape_findings,
    truncation_findings,
)
from doe.signals.impulse import Impulse
from doe.signals.slopes import TwoSlopes, find_two_slopes
from doe.signals.straight import Straight, fit_straight

Array = NDArray[np.float64]

_FILTER_ROOM_S = 0.25
_CURVE_POINTS = 1000
_STRAIGHT_WITHIN = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Decay:
    """The decay of an impulse response, over all frequencies or in one band.

    Attributes
    ----------
    name : str
        File it comes from.
    band : pair of float or None
        Band edges in Hz; None for all frequencies.
    nominal_hz : float or None
        By what the band is called.
    edt_s, t20_s, t30_s : float or None
        Decay times for 60 dB, in seconds, read from the first 10 dB, from -5 to -25 dB and from -5 to -35 dB; None where
        the noise leaves no such range.
    c50_db, c80_db : float or None
        Early-to-late energy in dB, with the limit at 50 and 80 ms.
    d50 : float
        Share of the energy that arrives in the first 50 ms.
    centre_s : float
        Centre time Ts, in seconds.
    range_db : float
        How far the decay can be followed down to the noise, in dB.
    bend_percent : float or None
        Curvature ``100 (T30 / T20 - 1)`` (ISO 3382-2:2008, annex B.3); above 10 the decay is far from straight.
    slopes : TwoSlopes or None
        Where the decay falls first fast, then slowly.
    time_s, level_db : ndarray of shape (n_points,)
        The backward-integrated curve, thinned for drawing; 0 dB at the start.
    findings : tuple of Finding
        What stands against trusting a figure.
    """

    name: str
    band: tuple[float, float] | None
    nominal_hz: float | None
    edt_s: float | None
    t20_s: float | None
    t30_s: float | None
    c50_db: float | None
    c80_db: float | None
    d50: float
    centre_s: float
    range_db: float
    bend_percent: float | None
    slopes: TwoSlopes | None
    time_s: Array
    level_db: Array
    findings: tuple[Finding, ...] = ()

    def said_about(self, *figures: str) -> tuple[str, ...]:
        """Return what is to be said about some figures (``"t20"``, ``"c50"``, ``"shape"``), and about all."""
        return tuple(finding.text for finding in self.findings if finding.about in (*figures, "all"))

    @property
    def label(self) -> str:
        """How the band is called: ``"500 Hz"``, or ``"all frequencies"``."""
        if self.band is None:
            return "all frequencies"
        if self.nominal_hz is None:
            return f"{wording.number(self.band[0])} to {wording.number(self.band[1])} Hz"
        return f"{wording.number(self.nominal_hz, 4)} Hz"


def measure_decay(impulse: Impulse, band: tuple[float, float] | None = None, nominal_hz: float | None = None) -> Decay:
    """Measure how an impulse response dies away.

    Parameters
    ----------
    impulse : Impulse
        What was measured.
    band : pair of float, optional
        Band edges in Hz; without it all frequencies count.
    nominal_hz : float, optional
        By what the band is called.

    Raises
    ------
    DataError
        If nothing of the response stands out of the noise, or the sample rate cannot hold the band.

    Notes
    -----
    Backward integration (M. R. Schroeder 1965, J. Acoust. Soc. Am. 37, 409-412) of the squared response less the mean
    square of the noise (W. T. Chu 1978, J. Acoust. Soc. Am. 63, 1444-1450), up to where decay and noise cross (see
    `doe.signals.noise_floor`), plus the energy that the late decay would still hold there (ISO 3382-1:2009, 5.3.3,
    constant C). Bands are filtered backward in time, which lets shorter decays through unharmed (F. Jacobsen,
    J. H. Rindel 1987, J. Sound Vib. 115, 163-170): what the filter moves to before the direct sound counts as arriving
    with it. Early and late energy in a band are parted before filtering, so that nothing is carried across the limit.
    Where a decay is straight - EDT, T20 and T30 agree - what is left near the noise comes from one exponential fitted to
    all of it (`doe.signals.straight`).
    """
    room = 0 if band is None else min(impulse.onset, round(_FILTER_ROOM_S * impulse.rate))
    samples = impulse.samples[impulse.onset - room :]
    sos = None if band is None else band_filter(band[0], band[1], impulse.rate)
    power = backward_filtered(samples, sos) ** 2
    energy = integrate(power, room, impulse.rate, 0.0 if band is None else 1.0 / (band[1] - band[0]), impulse.name)
    decay = _read(impulse.name, band, nominal_hz, energy)
    straight = fit_straight(power[room:], energy.floor, impulse.rate) if _is_straight(decay) else None
    parts = [
        early_and_late(samples, sos, room, round(ms * impulse.rate / 1000.0), energy, straight) for ms in LIMITS_MS
    ]
    return _completed(decay, energy, parts, straight)


def measure_decays(impulse: Impulse, bands: Bands) -> list[Decay]:
    """Measure the decay in each of several bands (see `measure_decay`)."""
    rows = zip(bands.low, bands.high, bands.nominal, strict=True)
    return [measure_decay(impulse, (float(low), float(high)), name) for low, high, name in rows]


def _read(name: str, band: tuple[float, float] | None, nominal_hz: float | None, energy: Energy) -> Decay:
    """Read from the backward-integrated curve what it alone tells."""
    level = energy.level
    t = np.arange(len(level)) / energy.rate
    times = {name: _decay_time(t, level, top, low, energy.range_db) for name, (top, low) in RANGES_DB.items()}
    t20, t30 = times["t20"], times["t30"]
    keep = np.unique(np.linspace(0, len(level) - 1, min(len(level), _CURVE_POINTS)).astype(int))
    is_steady = bandwidth_time(band, t20) >= STEADY_BANDWIDTH_TIME
    return Decay(
        name=name,
        band=band,
        nominal_hz=nominal_hz,
        edt_s=times["edt"],
        t20_s=t20,
        t30_s=t30,
        c50_db=None,
        c80_db=None,
        d50=1.0,
        centre_s=centre_time(energy),
        range_db=energy.range_db,
        bend_percent=100.0 * (t30 / t20 - 1.0) if t20 and t30 else None,
        slopes=find_two_slopes(t, level, energy.range_db) if is_steady else None,
        time_s=t[keep],
        level_db=level[keep],
    )


def _is_straight(decay: Decay) -> bool:
    times = [time for time in (decay.edt_s, decay.t20_s, decay.t30_s) if time is not None]
    return len(times) > 1 and decay.slopes is None and max(times) <= (1.0 + _STRAIGHT_WITHIN) * min(times)


def _completed(decay: Decay, energy: Energy, parts: list[tuple[float, float]], straight: Straight | None) -> Decay:
    """Add early and late energy, and what is to be said."""
    early, late = parts[0]
    whole = replace(
        decay,
        c50_db=ratio_db(early, late),
        c80_db=ratio_db(*parts[1]),
        d50=float(np.clip(early / (early + late), 0.0, 1.0)),
    )
    found = [
        *range_findings(whole),
        *late_findings(whole, energy, straight),
        *shape_findings(whole),
        *truncation_findings(whole, energy),
    ]
    return replace(whole, findings=tuple(found))


def _decay_time(t: Array, level: Array, top: float, low: float, range_db: float) -> float | None:
    """Return the time for 60 dB from the least-squares line between two levels (ISO 3382-1:2009, 5.3.3)."""
    if range_db < -low + 1.0:
        return None
    first = int(np.argmax(level <= top))
    last = int(np.argmax(level <= low)) if level[-1] <= low else len(level)
    if last - first < 3:
        return None
    slope = float(np.polyfit(t[first:last], level[first:last], 1)[0])
    return -60.0 / slope if slope < 0 else None
