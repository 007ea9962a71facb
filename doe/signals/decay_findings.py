"""What stands against trusting the figures of a decay, in sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from doe.model import wording
from doe.signals.backward_energy import Energy
from doe.signals.straight import Straight

if TYPE_CHECKING:
    from doe.signals.decay import Decay

RANGES_DB = {"edt": (0.0, -10.0), "t20": (-5.0, -25.0), "t30": (-5.0, -35.0)}
"""Between which levels each decay time is read (ISO 3382-1:2009, 3.3 and 5.3.3)."""

LIMITS_MS = (50, 80)
"""Where early ends and late begins: for speech and for music (ISO 3382-1:2009, A.2.3)."""

FLOOR_BELOW_DB = 10.0
"""The noise must lie this much below the lower end of the range (ISO 3382-1:2009, 5.3.3)."""

STEADY_BANDWIDTH_TIME = 16.0
"""Below it a decay time hangs on the filter and on chance. The figure is that of filters run forward (ISO 3382-1:2009,
annex A, *from memory*); the scatter that is told follows ISO 3382-2:2008, 7.1 (*from memory*)."""

_LARGEST_BEND = 10.0
_LEAST_TOLD_DB = 0.05


@dataclass(frozen=True, slots=True)
class Finding:
    """What stands against trusting a figure.

    Attributes
    ----------
    about : str
        The figure, as ``"t20"`` or ``"c50"``; ``"shape"`` for decay times as a whole, ``"all"`` for everything.
    text : str
        A sentence.
    """

    about: str
    text: str


def bandwidth_time(band: tuple[float, float] | None, t20: float | None) -> float:
    """Return bandwidth times decay time; infinite for all frequencies, or where there is no decay time."""
    return math.inf if band is None or t20 is None else (band[1] - band[0]) * t20


def _where(decay: Decay) -> str:
    return f"{decay.name}, {decay.label}"


def range_findings(decay: Decay) -> list[Finding]:
    """Say which decay times the noise leaves no or too little range for."""
    found = []
    for name, (_, low) in RANGES_DB.items():
        needed, is_missing = FLOOR_BELOW_DB - low, getattr(decay, f"{name}_s") is None
        held, wanted = wording.number(decay.range_db), wording.number(needed)
        told = f"the decay stands {held} dB out of the noise, and {wanted} dB are needed"
        if decay.range_db < needed:
            fate = "cannot be read" if is_missing else "leans on noise compensation"
            found.append(Finding(name, f"{_where(decay)}: {name.upper()} {fate}; {told}."))
        elif is_missing:
            text = f"{_where(decay)}: {name.upper()} cannot be read; the sound is gone within a few samples."
            found.append(Finding(name, text))
    return found


def late_findings(decay: Decay, energy: Energy, straight: Straight | None) -> list[Finding]:
    """Say which early-to-late ratios rest on how the decay would go on below the noise, and how far they may be off."""
    found = []
    for ms in LIMITS_MS:
        limit, about = round(ms * energy.rate / 1000.0), f"c{ms}"
        if getattr(decay, f"{about}_db") is None:
            text = f"{_where(decay)}: C{ms} cannot be read; nothing that can be measured is left after {ms} ms."
            found.append(Finding(about, text))
        elif energy.is_near_noise(limit):
            off = math.inf if straight is None else 2.0 * straight.sd_db(limit / energy.rate)
            if off < _LEAST_TOLD_DB:
                continue
            how = f"{wording.number(off, 1)} dB" if math.isfinite(off) else "several dB"
            text = (
                f"{_where(decay)}: after {ms} ms the decay is near the noise or below it; C{ms} rests on how it would go "
                f"on, and may be off by {how}."
            )
            found.append(Finding(about, text))
    return found


def shape_findings(decay: Decay) -> list[Finding]:
    """Say where one decay time does not describe the decay, or a narrow band makes it a matter of chance."""
    found = []
    if decay.slopes is not None:
        found.append(
            f"{_where(decay)}: the decay has two slopes, {wording.number(decay.slopes.early_s)} s and then "
            f"{wording.number(decay.slopes.late_s)} s; one decay time does not describe it."
        )
    elif decay.bend_percent is not None and decay.bend_percent > _LARGEST_BEND:
        found.append(
            f"{_where(decay)}: the decay is not straight; T30 is {wording.number(decay.bend_percent)} % longer than T20."
        )
    product = bandwidth_time(decay.band, decay.t20_s)
    if product < STEADY_BANDWIDTH_TIME:
        share = 100.0 * 0.88 * math.sqrt((1.0 + 1.9 / 10.0) / product)
        found.append(
            f"{_where(decay)}: bandwidth times decay time is only {wording.number(product)}; one take scatters by about "
            f"{wording.number(share, 2)} %, so take several, or a wider band."
        )
    return [Finding("shape", text) for text in found]


def truncation_findings(decay: Decay, energy: Energy) -> list[Finding]:
    """Say where the recording ends before the decay does."""
    if energy.floor.is_reached:
        return []
    text = f"{_where(decay)}: the decay is truncated, the recording ends before it reaches the noise; record longer."
    return [Finding("all", text)]
