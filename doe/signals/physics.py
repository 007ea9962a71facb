"""Rough physics for choosing factors and checking sense: resonators, cavities, gaps. Each figure with its formula."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from scipy import special

from doe.model import wording
from doe.model.errors import UsageError
from doe.model.numbers import finite

if TYPE_CHECKING:
    import pandas as pd

End = Literal["flanged", "free", "none"]

END_CORRECTION = {"flanged": 8.0 / (3.0 * math.pi), "free": 0.6133, "none": 0.0}
"""Length that an open end adds to a neck, in radii: in a wall (Rayleigh 1945, The Theory of Sound, sec. 312 and app. A, *from
memory*; L. E. Kinsler et al., Fundamentals of Acoustics, 4th ed., sec. 10.8, print 0.85) or in the open (H. Levine,
J. Schwinger 1948, Phys. Rev. 73, 383-406)."""

TEMPERATURE_C = 20.0
_PRESSURE_PA, _GAS_CONSTANT, _HEAT_RATIO, _KELVIN = 101_325.0, 287.05, 1.4, 273.15
_VISCOSITY = 1.82e-5
"""Viscosity of air at 20 degrees C in Pa s (CRC Handbook, *from memory*)."""

_KINSLER = "Kinsler, Frey, Coppens & Sanders, Fundamentals of Acoustics, 4th ed., sec. 10.8"


@dataclass(frozen=True, slots=True)
class Estimate:
    """One estimated quantity.

    Attributes
    ----------
    name : str
        What it is.
    value : float
        The number.
    unit : str
        Its unit; empty for a plain ratio.
    formula : str
        How it was computed, as text.
    source : str
        Where the formula is from.
    trust : str
        How far to trust it, and when not to.
    inputs : mapping of str to float or str
        What it was computed from.
    more : tuple of Estimate
        Further figures of the same computation.
    """

    name: str
    value: float
    unit: str
    formula: str
    source: str
    trust: str
    inputs: Mapping[str, float | str] = field(default_factory=dict)
    more: tuple[Estimate, ...] = ()

    def summary(self) -> str:
        """Return number, formula, source and how far to trust it, as text."""
        lines = [_line(self), *(f"  {_line(other)}" for other in self.more)]
        formulas = dict.fromkeys([self.formula, *(other.formula for other in self.more)])
        lines += [f"Formula: {formula}" for formula in formulas]
        return "\n".join([*lines, f"Source: {self.source}.", f"Trust: {self.trust}"])

    def to_tables(self) -> dict[str, Any]:
        """Return all of it as plain data; `more` holds the further figures likewise."""
        own = {name: getattr(self, name) for name in ("name", "value", "unit", "formula", "source", "trust")}
        return {**own, "inputs": dict(self.inputs), "more": [other.to_tables() for other in self.more]}

    def to_frame(self) -> pd.DataFrame:
        """Return one row per figure: name, value, unit, formula, source."""
        import pandas as pd

        columns = ("name", "value", "unit", "formula", "source")
        return pd.DataFrame([{column: getattr(row, column) for column in columns} for row in (self, *self.more)])


def _line(estimate: Estimate) -> str:
    unit = wording.unit_behind(estimate.unit)
    return f"{estimate.name}: {wording.number(estimate.value)}{unit}"


def positive(field_name: str, value: float) -> float:
    """Return a quantity that must be above zero.

    Raises
    ------
    UsageError
        If it is not.
    """
    found = finite(field_name, value)
    if found <= 0:
        raise UsageError(f"{field_name} is {wording.number(found)}; it must be above 0.")
    return found


def speed_of_sound(temperature_c: float = TEMPERATURE_C) -> float:
    """Return the speed of sound in dry air, in m/s: ``sqrt(gamma R T)``.

    Raises
    ------
    UsageError
        If the temperature is not from -60 to 100 degrees C.
    """
    if not -60.0 <= finite("temperature_c", temperature_c) <= 100.0:
        raise UsageError(f"temperature_c is {wording.number(temperature_c)}; it must be from -60 to 100.")
    return math.sqrt(_HEAT_RATIO * _GAS_CONSTANT * (temperature_c + _KELVIN))


def air_density(temperature_c: float = TEMPERATURE_C) -> float:
    """Return the density of dry air at sea level, in kg/m3: ``p / (R T)``."""
    return _PRESSURE_PA / (_GAS_CONSTANT * (temperature_c + _KELVIN))


def helmholtz_frequency(volume_m3: float, area_m2: float, effective_length_m: float, speed_m_s: float) -> float:
    """Return the resonance of a cavity with a neck, in Hz: ``c / (2 pi) sqrt(S / (V L'))`` (Kinsler, sec. 10.8)."""
    return speed_m_s / (2.0 * math.pi) * math.sqrt(area_m2 / (volume_m3 * effective_length_m))


def helmholtz(
    volume_cm3: float,
    radius_mm: float,
    length_mm: float,
    *,
    vents: int = 1,
    inner_end: End = "flanged",
    outer_end: End = "flanged",
    temperature_c: float = TEMPERATURE_C,
) -> Estimate:
    """Estimate the Helmholtz resonance of a body with round vents.

    Parameters
    ----------
    volume_cm3 : float
        Air in the body.
    radius_mm : float
        Radius of a vent; of another shape, the radius of the circle with the same area.
    length_mm : float
        Length of the vent: the thickness of the wall, if it is a plain hole.
    vents : int
        Number of vents, all alike and apart from each other.
    inner_end : {"flanged", "free", "none"}
        Whether the vent ends flush in a wall (flanged) or sticks out (free) inside; none adds no length for it.
    outer_end : {"flanged", "free", "none"}
        The same outside.
    temperature_c : float
        Air temperature.

    Raises
    ------
    UsageError
        If a figure is not above zero, or an end is unknown.
    """
    volume, a = positive("volume_cm3", volume_cm3) * 1e-6, positive("radius_mm", radius_mm) * 1e-3
    L = finite("length_mm", length_mm) * 1e-3
    ends = _end_length(inner_end, "inner_end") + _end_length(outer_end, "outer_end")
    if L < 0 or L + ends * a <= 0:
        raise UsageError(f"length_mm is {wording.number(length_mm)}; with its end corrections it must be above 0.")
    count = int(positive("vents", vents))
    c, area = speed_of_sound(temperature_c), count * math.pi * a**2
    f = helmholtz_frequency(volume, area, L + ends * a, c)
    trust = "Within about 5 % for a stiff, tight body; thin walls, wool and leaks lower and blur it."
    if volume ** (1 / 3) > c / f / 6.0:
        trust += " The body is large against the wavelength, so the true resonance is lower."
    if not 0.001 <= a <= 0.25 * volume ** (1 / 3):
        trust += " The vent is very small or very large for the body: friction, or the shape of the body, matters then."
    inputs: dict[str, float | str] = {
        "volume_cm3": volume_cm3, "radius_mm": radius_mm, "length_mm": length_mm, "vents": count,
        "inner_end": inner_end, "outer_end": outer_end, "temperature_c": temperature_c,
    }  # fmt: skip
    return Estimate("Helmholtz resonance", f, "Hz", "f = c / (2 pi) sqrt(n S / (V L')), L' = L + end corrections",
                    f"{_KINSLER}; free end: Levine & Schwinger 1948", trust, inputs)  # fmt: skip


def _end_length(end: str, field_name: str) -> float:
    if end not in END_CORRECTION:
        raise UsageError(f"{field_name} is '{end}'; it must be flanged, free or none.")
    return END_CORRECTION[end]


def ring_cavity(
    rings: int,
    thickness_mm: float,
    *,
    diameter_mm: float | None = None,
    width_mm: float | None = None,
    height_mm: float | None = None,
    solids_cm3: float = 0.0,
) -> Estimate:
    """Estimate the air in a body built from stacked rings.

    Parameters
    ----------
    rings : int
        Number of rings.
    thickness_mm : float
        Thickness of one.
    diameter_mm : float, optional
        Inner diameter of a round ring.
    width_mm : float, optional
        Inner width of a rectangular one.
    height_mm : float, optional
        Inner height of it.
    solids_cm3 : float
        What sits inside: driver, braces, electronics.

    Raises
    ------
    UsageError
        If neither a diameter nor width and height are given, or nothing is left of the air.
    """
    count, depth = positive("rings", rings), positive("thickness_mm", thickness_mm)
    area, _ = opening(diameter_mm, width_mm, height_mm)
    solids = finite("solids_cm3", solids_cm3)
    gross = count * depth * area / 1000.0
    if solids < 0 or solids >= gross:
        raise UsageError(f"solids_cm3 is {wording.number(solids)}; it must be from 0 to below {wording.number(gross)}.")
    given = {"rings": rings, "thickness_mm": thickness_mm, "diameter_mm": diameter_mm, "width_mm": width_mm,
             "height_mm": height_mm, "solids_cm3": solids_cm3}  # fmt: skip
    inputs: dict[str, float | str] = {name: value for name, value in given.items() if value is not None}
    per_ring = Estimate("One ring more", depth * area / 1000.0, "cm3", "V = n t A - solids", "geometry", "", inputs)
    return Estimate("Air volume", gross - solids, "cm3", "V = n t A - solids", "geometry",
                    "Exact for the inner sizes given; measure a glued stack, since glue lines add up. Fibre filling "
                    "makes the air act like up to 1.4 times as much (isothermal limit, Small 1972).",
                    inputs, (per_ring,))  # fmt: skip


def opening(diameter: float | None, width: float | None, height: float | None) -> tuple[float, float]:
    """Return the area in mm2 and the way around in mm of a round or a rectangular opening, from its sizes in mm.

    Raises
    ------
    UsageError
        If neither a diameter alone nor width and height are given, or one is not above zero.
    """
    if diameter is not None and width is None and height is None:
        d = positive("diameter_mm", diameter)
        return math.pi / 4.0 * d**2, math.pi * d
    if diameter is None and width is not None and height is not None:
        w, h = positive("width_mm", width), positive("height_mm", height)
        return w * h, 2.0 * (w + h)
    raise UsageError("Give diameter_mm of a round opening, or width_mm and height_mm of a rectangular one.")


def cavity_modes(
    depth_mm: float,
    *,
    diameter_mm: float | None = None,
    width_mm: float | None = None,
    height_mm: float | None = None,
    temperature_c: float = TEMPERATURE_C,
    count: int = 5,
) -> Estimate:
    """Estimate the first standing waves in a closed cavity.

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
    temperature_c : float
        Air temperature.
    count : int
        How many, 1 to 20.

    Raises
    ------
    UsageError
        If a size is missing or not above zero.
    """
    if not 1 <= count <= 20:
        raise UsageError(f"count is {count}; it must be from 1 to 20.")
    opening(diameter_mm, width_mm, height_mm)
    depth, c = positive("depth_mm", depth_mm) * 1e-3, speed_of_sound(temperature_c)
    if diameter_mm is not None:
        modes = _round_modes(c, diameter_mm * 0.5e-3, depth, count)
        formula = "f = c / 2 sqrt((j'(m,n) / (pi a))^2 + (p / d)^2)"
    else:
        modes = _rectangular_modes(c, (width_mm or 0.0) * 1e-3, (height_mm or 0.0) * 1e-3, depth, count)
        formula = "f = c / 2 sqrt((l / w)^2 + (m / h)^2 + (n / d)^2)"
    source = "Kinsler, Frey, Coppens & Sanders, Fundamentals of Acoustics, 4th ed., sec. 9.2 and 9.3 (from memory)"
    trust = "Within 1 to 2 % for a bare, stiff cavity; whatever sits inside lowers it, wool damps it."
    given = {"depth_mm": depth_mm, "diameter_mm": diameter_mm, "width_mm": width_mm, "height_mm": height_mm,
             "temperature_c": temperature_c}  # fmt: skip
    inputs: dict[str, float | str] = {name: value for name, value in given.items() if value is not None}
    rows = [
        Estimate(f"Cavity mode {label}", f, "Hz", formula, source, trust, inputs) for f, label in sorted(modes)[:count]
    ]
    first = rows[0]
    return Estimate(first.name, first.value, "Hz", formula, source, trust, inputs, tuple(rows[1:]))


def _rectangular_modes(c: float, width: float, height: float, depth: float, count: int) -> list[tuple[float, str]]:
    orders = range(count + 1)  # a mode of order n has n - 1 of lower order below it, so the first ones need no more
    return [
        (c / 2.0 * math.sqrt((i / width) ** 2 + (j / height) ** 2 + (k / depth) ** 2), f"({i},{j},{k})")
        for i in orders for j in orders for k in orders if i + j + k
    ]  # fmt: skip


def _round_modes(c: float, radius: float, depth: float, count: int) -> list[tuple[float, str]]:
    modes = []
    for m in range(count + 1):
        # scipy leaves out the zero at 0 of the derivative of J0, which is the plane wave.
        zeros = [*([0.0] if m == 0 else []), *special.jnp_zeros(m, count)]
        for n, zero in enumerate(zeros, start=0 if m == 0 else 1):
            for p in range(count + 1):
                if zero or p:
                    f = c / 2.0 * math.sqrt((float(zero) / (math.pi * radius)) ** 2 + (p / depth) ** 2)
                    modes.append((f, f"({m},{n},{p})"))
    return modes


def leak(
    gap_mm: float, length_mm: float, depth_mm: float, volume_cm3: float, *, temperature_c: float = TEMPERATURE_C
) -> Estimate:
    """Estimate what a gap does to a closed body: the frequency below which it leaks.

    Parameters
    ----------
    gap_mm : float
        Height of the gap.
    length_mm : float
        Along the seam.
    depth_mm : float
        Through the seam, from inside to outside.
    volume_cm3 : float
        Air in the body.
    temperature_c : float
        Air temperature.

    Raises
    ------
    UsageError
        If a figure is not above zero.
    """
    h, w = positive("gap_mm", gap_mm) * 1e-3, positive("length_mm", length_mm) * 1e-3
    d, volume = positive("depth_mm", depth_mm) * 1e-3, positive("volume_cm3", volume_cm3) * 1e-6
    rho, c = air_density(temperature_c), speed_of_sound(temperature_c)
    R = 12.0 * _VISCOSITY * d / (w * h**3)
    C = volume / (rho * c**2)
    f = 1.0 / (2.0 * math.pi * R * C)
    inertia = 10.0 * _VISCOSITY / (2.0 * math.pi * rho * h**2)
    trust = "Within a factor of two: the height counts with its third power, and real seams vary along their length."
    if f > inertia:
        trust += f" Above {wording.number(inertia)} Hz the air's mass in the gap matters more than friction: it acts as a vent."
    source = "L. L. Beranek, Acoustics (1954), sec. 5.4: resistance and mass of a narrow slit (from memory)"
    inputs: dict[str, float | str] = {"gap_mm": gap_mm, "length_mm": length_mm, "depth_mm": depth_mm,
                                      "volume_cm3": volume_cm3, "temperature_c": temperature_c}  # fmt: skip
    resistance = Estimate("Resistance of the gap", R, "Pa s/m3", "R = 12 eta d / (w h^3)", source, trust, inputs)
    return Estimate(
        "Leak corner", f, "Hz", "f = 1 / (2 pi R C), C = V / (rho c^2)", source, trust, inputs, (resistance,)
    )
