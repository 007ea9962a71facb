"""What the frames say: which variants there are, what the units carry, how a round of readings looks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from doe.model.choices import Settings
from doe.model.errors import DataError, UsageError, did_you_mean, there_are
from doe.model.factor import Factor
from doe.model.given import check_each, check_frame
from doe.model.names import AT_HAND
from doe.model.records import Unit
from doe.model.stated import as_labels, distinct, is_empty, label_text, stated_settings, stated_units

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Log:
    """A tuning log as advice needs it.

    Attributes
    ----------
    variants : mapping of str to dict
        Variant that was read -> its settings, in order of first reading; reference objects left out.
    units : tuple of Unit
        Units that exist, with their present state and, where known, the variant they carry.
    raters : mapping of str to int
        Outcome name -> readings that one round gives (one per rater).
    homes : mapping of str to str
        Variant name -> unit that it was read on, where the readings say so.
    outcomes : frozenset of str
        Outcomes that some of the variants was read in; what was read of reference objects alone tells nothing of settings.
    """

    variants: Mapping[str, Settings]
    units: tuple[Unit, ...]
    raters: Mapping[str, int]
    homes: Mapping[str, str]
    outcomes: frozenset[str] = frozenset()

    def carried(self, unit: Unit) -> str | None:
        """Return the variant with readings that a unit carries unchanged, if any; by its settings where it names none."""
        if unit.variant is not None:
            return unit.variant if self.variants.get(unit.variant) == dict(unit.settings) else None
        same = [
            name
            for name, settings in self.variants.items()
            if settings == dict(unit.settings) and self.homes.get(name, unit.name) == unit.name
        ]
        return same[-1] if same else None


def read_log(
    readings: pd.DataFrame | None,
    factors: Sequence[Factor],
    units: pd.DataFrame | Sequence[Unit] | None,
) -> Log:
    """Read variants and units out of frames.

    Parameters
    ----------
    readings : DataFrame or None
        One row per reading: ``variant, outcome, value``, optional ``session, rater, unit`` and one column per factor.
    factors : sequence of Factor
        All factors.
    units : DataFrame, sequence of Unit, or None
        Physical units with their present state. None takes the last variant read on each unit; where the readings name
        no unit, one unit that carries the variant read last.

    Raises
    ------
    DataError
        If a needed column is missing, a setting is not allowed, or a variant has two different settings.
    """
    if readings is not None:
        check_frame("readings", readings)
    if readings is None or not len(readings):
        return Log({}, _read_units(units, factors) if units is not None else (), {}, {})
    for column in ("variant", "outcome", "value", *(factor.name for factor in factors)):
        if column not in readings.columns:
            raise DataError(
                f"The readings have no column '{column}'.{did_you_mean(column, map(str, readings.columns))}"
            )
    stated = _read_variants(readings, factors)
    known = _read_units(units, factors) if units is not None else _units_from_readings(readings, stated)
    readings = readings[readings["value"].notna()]
    first, second = as_labels(readings["variant"]), readings.get("versus", readings["variant"]).map(label_text)
    read = {*first, *second}
    variants = {name: settings for name, settings in stated.items() if name in read}
    outcomes = readings["outcome"][first.isin(variants) | second.isin(variants)].map(str)
    return Log(variants, known, _raters(readings), _homes(readings, variants), frozenset(outcomes))


def _read_variants(readings: pd.DataFrame, factors: Sequence[Factor]) -> dict[str, Settings]:
    names = [factor.name for factor in factors]
    variants: dict[str, Settings] = {}
    for label, *values in stated_settings(readings, names):
        name = label_text(label)
        if all(is_empty(value) for value in values):
            continue
        settings = {factor.name: factor.read(value) for factor, value in zip(factors, values, strict=True)}
        if variants.setdefault(name, settings) != settings:
            different = next(key for key in names if variants[name][key] != settings[key])
            raise DataError(
                f"Variant {name} has two settings of {different}: {variants[name][different]} and "
                f"{settings[different]}; each variant has one set of settings."
            )
    return variants


def _read_units(units: pd.DataFrame | Sequence[Unit], factors: Sequence[Factor]) -> tuple[Unit, ...]:
    if not hasattr(units, "columns"):
        check_each("units", units, Unit)
        return tuple(units)
    table: Any = units
    return tuple(stated_units(table, factors))


def _units_from_readings(readings: pd.DataFrame, variants: Mapping[str, Settings]) -> tuple[Unit, ...]:
    built = readings[as_labels(readings["variant"]).isin(list(variants))]
    if not len(built):
        return ()
    if "unit" not in built.columns or built["unit"].isna().all():
        last = label_text(built["variant"].iloc[-1])
        return (Unit(AT_HAND, variants[last], last),)
    carried = {
        label_text(unit): label_text(variant)
        for unit, variant in zip(built["unit"], built["variant"], strict=True)
        if not is_empty(unit)
    }
    return tuple(Unit(unit, variants[variant], variant) for unit, variant in carried.items())


def _homes(readings: pd.DataFrame, variants: Mapping[str, Settings]) -> dict[str, str]:
    if "unit" not in readings.columns:
        return {}
    pairs = (pair for pair in distinct(readings, ["variant", "unit"]) if not any(map(is_empty, pair)))
    homes = {label_text(name): label_text(unit) for name, unit in pairs}
    return {name: unit for name, unit in homes.items() if name in variants}


def _raters(readings: pd.DataFrame) -> dict[str, int]:
    """Count the readings per round: the usual number of raters of one variant in one session."""
    if "rater" not in readings.columns or not len(readings):
        return {}
    import pandas as pd

    from doe.fit.evidence import label_codes, numbered

    outcome, names = pd.factorize(readings["outcome"].astype(str))
    group = numbered(outcome, label_codes(readings, "variant"), label_codes(readings, "session"))
    rater = label_codes(readings, "rater")
    firsts = np.unique(group, return_index=True)[1]
    pairs = np.unique(np.stack([group, rater])[:, rater >= 0], axis=1)
    sizes = np.bincount(pairs[0], minlength=len(firsts))
    usual = (np.median(sizes[outcome[firsts] == place]) for place in range(len(names)))
    return {str(name): max(1, round(float(count))) for name, count in zip(names, usual, strict=True)}


def check_unit(unit: str | None, units: Sequence[Unit]) -> None:
    """Check that a unit asked for exists.

    Raises
    ------
    UsageError
        If it does not, or is retired.
    """
    if unit is None or unit == "new":
        return
    known = {item.name: item for item in units}
    if unit not in known:
        raise UsageError(
            f"There is no unit '{unit}'; {there_are(known, 'none is on record yet')}.{did_you_mean(unit, known)}"
        )
    if known[unit].retired:
        raise UsageError(f"Unit '{unit}' is retired, so nothing can be built on it; choose another, or 'new'.")
