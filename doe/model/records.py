"""What a project records: units, variants, sessions and readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from numbers import Real
from pathlib import Path
from typing import Any

from doe.model.choices import Settings, Value
from doe.model.errors import DataError, did_you_mean, shown, there_are
from doe.model.factor import Factor
from doe.model.names import check_label, same_name
from doe.model.wording import setting


@dataclass(frozen=True, slots=True)
class Unit:
    """A physical object that carries variants one after another.

    Attributes
    ----------
    name : str
        Label, such as ``"body A"``.
    settings : mapping of str to setting
        Its present state; empty while it carries no variant.
    variant : str or None
        The variant it carries now.
    retired : bool
        Whether it can no longer be worked on.
    note : str
        Free text.
    """

    name: str
    settings: Mapping[str, Value] = field(default_factory=dict, hash=False)
    variant: str | None = None
    retired: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", check_label("Unit", self.name, 80))


@dataclass(frozen=True, slots=True)
class Variant:
    """One set of factor settings, as built.

    Attributes
    ----------
    name : str
        Label, such as ``"12"``; unique in a project.
    settings : mapping of str to setting
        One entry per factor; empty for a reference object that has no settings.
    unit : str or None
        The unit it lives on.
    parent : str or None
        The variant it was changed from.
    minutes, price : float or None
        Effort actually spent.
    when : datetime or None
        When it was built.
    status : {"built", "planned"}
        Whether it exists yet.
    note : str
        Free text.
    """

    name: str
    settings: Mapping[str, Value] = field(default_factory=dict, hash=False)
    unit: str | None = None
    parent: str | None = None
    minutes: float | None = None
    price: float | None = None
    when: datetime | None = None
    status: str = "built"
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", check_label("Variant", self.name, 80))

    @property
    def is_reference(self) -> bool:
        """Whether it is a reference object: heard and measured, but not built from factors."""
        return not self.settings


@dataclass(frozen=True, slots=True)
class Session:
    """One sitting in which readings are taken under the same conditions.

    Attributes
    ----------
    name : str
        Label, such as ``"Tuesday evening"``.
    when : datetime or None
        When it took place.
    note : str
        Free text: room, level, who was there.
    """

    name: str
    when: datetime | None = None
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", check_label("Session", self.name, 80))


@dataclass(frozen=True, slots=True)
class Reading:
    """One observed value of one outcome.

    Attributes
    ----------
    variant, outcome : str
        What was read, and which outcome.
    value : float
        In the outcome's unit, on its scale; for a comparison 1 (first better), 0.5 (tie) or 0 (second better).
    versus : str or None
        Comparisons: the second variant.
    session, rater, unit : str or None
        Under which conditions, by whom or what, on which physical unit.
    order : int or None
        Place in the session's order, from 1.
    when : datetime or None
        When it was taken.
    note : str
        Free text.
    """

    variant: str
    outcome: str
    value: float
    versus: str | None = None
    session: str | None = None
    rater: str | None = None
    unit: str | None = None
    order: int | None = None
    when: datetime | None = None
    note: str = ""

    def __post_init__(self) -> None:
        is_number = isinstance(self.value, Real) and not isinstance(self.value, bool)
        if not is_number or not math.isfinite(self.value):
            raise DataError(
                f"{self.outcome} of variant {self.variant} is '{shown(self.value)}'; it must be a finite number."
            )
        object.__setattr__(self, "value", float(self.value))
        if self.order is None:
            return
        if not isinstance(self.order, Real) or isinstance(self.order, bool) or not self.order >= 1 or self.order % 1:
            raise DataError(f"order is '{shown(self.order)}'; it must be a whole number from 1.")
        object.__setattr__(self, "order", int(self.order))


@dataclass(frozen=True, slots=True)
class Computation:
    """How a reading was computed from a file, so that it can be told and done again.

    Attributes
    ----------
    recipe : str
        Name of the recipe.
    version : int
        Its version.
    settings : mapping
        Every key of the recipe, those left out included, as plain data.
    sha256 : str
        Of the file.
    uses : mapping of str to str
        Other files that went into it (a microphone's curve, takes of a reference): name -> sha256.
    """

    recipe: str
    version: int
    settings: Mapping[str, Any]
    sha256: str
    uses: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file whose bytes are kept beside the project.

    Attributes
    ----------
    path : Path
        Where it is now.
    sha256 : str
        Of its content when it was looked at.
    variant : str or None
        Whose it is; None for the project's own.
    note : str
        Free text.
    """

    path: Path
    sha256: str
    variant: str | None = None
    note: str = ""


def read_settings(
    typed: Mapping[str, object], factors: Sequence[Factor], base: Mapping[str, Value] | None = None
) -> Settings:
    """Turn typed settings into one entry per factor.

    Parameters
    ----------
    typed : mapping of str to object
        Factor name -> what was typed.
    factors : sequence of Factor
        All factors of the project.
    base : mapping, optional
        Settings to start from (those of the parent); only what changed is typed then.

    Raises
    ------
    DataError
        If a name is no factor, a value is not allowed, or a factor is left without a value.
    """
    known = {factor.name: factor for factor in factors}
    given = {same_name(name): value for name, value in typed.items()}
    for name in given:
        if name not in known:
            there = there_are(known)
            raise DataError(f"'{shown(name)}' is no factor of this project; {there}.{did_you_mean(name, known)}")
    settings: Settings = {}
    for factor in factors:
        if factor.name in given:
            settings[factor.name] = factor.read(given[factor.name])
        elif base and factor.name in base:
            settings[factor.name] = base[factor.name]
        else:
            raise DataError(f"{factor.name} has no value; it {factor.allowed()}.")
    return settings


def check_ways(old: Mapping[str, Value], new: Mapping[str, Value], factors: Sequence[Factor], unit: str) -> None:
    """Check that a unit can be changed from one set of settings to another.

    Raises
    ------
    DataError
        Naming every factor that cannot go that way on a unit that exists.
    """
    stuck = [
        f"{factor.name} cannot go from {setting(old[factor.name])} to {setting(new[factor.name])} on unit {unit}: "
        + ("it needs a new unit" if factor.way == "rebuild" else f"it only goes {factor.way}")
        for factor in factors
        if factor.name in old and factor.name in new and not factor.can_go(old[factor.name], new[factor.name])
    ]
    if stuck:
        raise DataError("; ".join(stuck) + ".")


def changed_since(variant: Variant, units: Iterable[Unit]) -> Unit | None:
    """Return the unit of a variant, if that stands at other settings by now."""
    return next((unit for unit in units if unit.name == variant.unit and unit.settings != variant.settings), None)


def against_ways(variants: Iterable[Variant], factors: Sequence[Factor]) -> dict[str, str]:
    """Find changes on a unit that its factors do not allow; what is planned, or has no settings, is passed over.

    Parameters
    ----------
    variants : iterable of Variant
        In the order in which they were built.
    factors : sequence of Factor

    Returns
    -------
    dict of str to str
        Variant -> what cannot have been, in a sentence.
    """
    found: dict[str, str] = {}
    carried: dict[str, Mapping[str, Value]] = {}
    for variant in variants:
        if variant.unit is None or variant.status == "planned" or variant.is_reference:
            continue
        try:
            check_ways(carried.get(variant.unit, {}), variant.settings, factors, variant.unit)
        except DataError as err:
            found[variant.name] = str(err)
        carried[variant.unit] = variant.settings
    return found


def newly_against_ways(before: Iterable[Variant], after: Iterable[Variant], factors: Sequence[Factor]) -> list[str]:
    """Tell which changes on a unit a correction has made such that its factors do not allow them; see `against_ways`."""
    known = list(against_ways(before, factors).values())
    found = []
    for name, told in against_ways(after, factors).items():
        if told in known:
            known.remove(told)
        else:
            found.append(f"variant {name}: {told}")
    return found
