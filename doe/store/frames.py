"""Records as data frames; the only part of the store that imports pandas, and only when asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from doe.model.factor import Factor
from doe.model.names import versus_column
from doe.model.records import Unit, Variant
from doe.store.readings import COLUMNS

if TYPE_CHECKING:
    import pandas as pd

_TEXT = ("variant", "outcome", "versus", "session", "rater", "unit", "parent", "status", "note")
_NUMBERS = ("value", "minutes", "price")
_VARIANT_COLUMNS = ("variant", "unit", "parent", "status", "minutes", "price", "when", "note")


def of_readings(
    readings: Sequence[Mapping[str, Any]], variants: Sequence[Variant], factors: Sequence[Factor]
) -> pd.DataFrame:
    """One row per reading, with the settings of its variant beside it.

    Returns
    -------
    DataFrame
        Columns id, variant, outcome, value, versus, session, rater, order, unit, when, note, then one per factor. `unit`
        falls back on the variant's. Factor cells of a reference object are missing. Where variants were compared, the
        settings of the second follow in columns such as ``versus wool``: it may stand first nowhere.
    """
    built = {variant.name: variant for variant in variants}
    rows, are_compared = [], False
    for reading in readings:
        variant = built[reading["variant"]]
        unit = reading["unit"] if reading["unit"] is not None else variant.unit
        other = built[reading["versus"]].settings if reading["versus"] is not None else {}
        are_compared |= bool(other)
        second = {versus_column(name): value for name, value in other.items()}
        rows.append({**reading, "unit": unit, **variant.settings, **second})
    return _frame(rows, COLUMNS, factors, with_second=are_compared)


def of_variants(variants: Sequence[Variant], factors: Sequence[Factor]) -> pd.DataFrame:
    """One row per variant: variant, unit, parent, status, minutes, price, when, note, then one column per factor."""
    rows = [
        {**{name: getattr(variant, name, None) for name in _VARIANT_COLUMNS}, "variant": variant.name}
        | dict(variant.settings)
        for variant in variants
    ]
    return _frame(rows, _VARIANT_COLUMNS, factors)


def of_units(units: Sequence[Unit], factors: Sequence[Factor]) -> pd.DataFrame:
    """One row per unit: unit, variant, retired, note, then its present setting of each factor."""
    rows = [
        {"unit": unit.name, "variant": unit.variant, "retired": unit.retired, "note": unit.note, **unit.settings}
        for unit in units
    ]
    return _frame(rows, ("unit", "variant", "retired", "note"), factors)


def _frame(
    rows: Sequence[Mapping[str, Any]], columns: Sequence[str], factors: Sequence[Factor], *, with_second: bool = False
) -> pd.DataFrame:
    import pandas as pd

    settings = {factor.name: factor for factor in factors}
    settings |= {versus_column(factor.name): factor for factor in factors} if with_second else {}
    numeric = {name for name, factor in settings.items() if factor.is_numeric} | set(_NUMBERS)
    level = {name for name, factor in settings.items() if not factor.is_numeric} | set(_TEXT)
    counts = {name for name, factor in settings.items() if factor.kind == "count"}
    data = {}
    for name in (*columns, *settings):
        cells = [row.get(name) for row in rows]
        if name in level:
            data[name] = pd.Series(cells, dtype="str")
        elif name in numeric:
            data[name] = _numbers(pd.Series(cells, dtype="float64"), is_count=name in counts)
        else:
            data[name] = pd.Series(
                cells, dtype={"order": "Int64", "id": "int64", "retired": "bool"}.get(name, "datetime64[us]")
            )
    return pd.DataFrame(data)


def _numbers(cells: pd.Series[float], *, is_count: bool) -> pd.Series[Any]:
    """Make counts whole numbers, unless a reference object leaves a gap."""
    return cells.astype("int64") if is_count and not cells.isna().any() else cells
