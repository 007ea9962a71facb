"""How long sound lingers in a closed cavity, roughly: what shrinking or stuffing it does to its echo."""

from __future__ import annotations

import math

from doe.model.errors import UsageError
from doe.model.numbers import finite
from doe.signals.physics import TEMPERATURE_C, Estimate, opening, positive, speed_of_sound

_EYRING = "C. F. Eyring (1930), Reverberation time in dead rooms, J. Acoust. Soc. Am. 1, 217-241"
BARE, WOOL = 0.10, 0.80
"""Absorption of bare wood and of a thick layer of wool at speech frequencies; usual values, *from memory*."""


def cavity_decay(
    depth_mm: float,
    *,
    diameter_mm: float | None = None,
    width_mm: float | None = None,
    height_mm: float | None = None,
    stuffed_percent: float = 0.0,
    absorption: float = BARE,
    temperature_c: float = TEMPERATURE_C,
) -> Estimate:
    """Estimate the decay time in a closed cavity, to compare one depth or filling with another.

    Parameters
    ----------
    depth_mm : float
        Inner depth.
    diameter_mm : float, optional
        Inner diameter of a round cavity.
    width_mm : float, optional
        Inner width of a rectangular one.
    height_mm : float, optional
        Inner height of it.
    stuffed_percent : float
        Share of the depth that is stuffed with wool from the back, 0 to 95.
    absorption : float
        Of the bare walls, between 0 and 1.
    temperature_c : float
        Air temperature.

    Raises
    ------
    UsageError
        If a size is missing, one too many or not above zero, or a share out of its range.
    """
    stuffed, bare = finite("stuffed_percent", stuffed_percent), finite("absorption", absorption)
    if not 0 <= stuffed <= 95:
        raise UsageError(f"stuffed_percent is {stuffed_percent}; it must be from 0 to 95.")
    if not 0 < bare < 1:
        raise UsageError(f"absorption is {absorption}; it must be above 0 and below 1.")
    area_mm2, around_mm = opening(diameter_mm, width_mm, height_mm)
    area, around = area_mm2 * 1e-6, around_mm * 1e-3
    depth = positive("depth_mm", depth_mm) * 1e-3 * (1 - stuffed / 100)
    surface = 2 * area + around * depth
    mean = (bare * (surface - area) + (WOOL if stuffed else bare) * area) / surface
    seconds = 24 * math.log(10) * area * depth / (speed_of_sound(temperature_c) * -surface * math.log(1 - mean))
    given = {"depth_mm": depth_mm, "diameter_mm": diameter_mm, "width_mm": width_mm, "height_mm": height_mm,
             "stuffed_percent": stuffed_percent, "absorption": absorption, "temperature_c": temperature_c}  # fmt: skip
    inputs: dict[str, float | str] = {name: value for name, value in given.items() if value is not None}
    trust = (
        "To compare one depth or filling with another, not as a figure of its own: it takes sound to come evenly from all "
        "sides, which a small cavity has only well above its first modes, and the absorption is a guess."
    )
    formula = "T = 24 ln 10 V / (-c S ln(1 - mean absorption)), the stuffed part taken off the depth"
    return Estimate("Decay time", 1000 * seconds, "ms", formula, _EYRING, trust, inputs)
