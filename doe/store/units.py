"""Units: the physical objects that carry variants one after another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import duckdb

from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.names import MEANS_NEW, NEW_UNIT
from doe.model.records import Unit, Variant, check_ways, read_settings
from doe.store.definitions import Definitions
from doe.store.kept import FreeNames, Kept, find, setting_rows, settings_by_holder
from doe.store.rows import fetch, insert, next_id


def load(
    con: duckdb.DuckDBPyConnection, definitions: Definitions, variants: Sequence[Kept[Variant]]
) -> list[Kept[Unit]]:
    """Read the units that count, each with the variant it carries now: the last one built on it."""
    records = [kept.record for kept in variants]
    carried = {variant.unit: variant for variant in records if variant.status == "built" and variant.unit}
    units = load_initial(con, definitions)
    return [replace(kept, record=_carrying(kept.record, carried.get(kept.record.name))) for kept in units]


def load_initial(con: duckdb.DuckDBPyConnection, definitions: Definitions) -> list[Kept[Unit]]:
    """Read the units that count with the settings they came in with."""
    stored = settings_by_holder(con, "unit")
    return [
        Kept(
            row["id"],
            row["entry"],
            Unit(
                row["name"],
                definitions.settings(stored[row["id"]]) if row["id"] in stored else {},
                retired=row["retired"],
                note=row["note"],
            ),
        )
        for row in fetch(con, "SELECT * FROM live_unit ORDER BY id")
    ]


def _carrying(unit: Unit, variant: Variant | None) -> Unit:
    return unit if variant is None else replace(unit, settings=variant.settings, variant=variant.name)


def check_change(variant: Variant, unit: Unit, factors: Sequence[Factor]) -> None:
    """Check that the variant can be made out of what the unit is now.

    Raises
    ------
    DataError
        If the unit is retired, or a factor cannot go that way on a unit that exists.
    """
    if unit.retired:
        raise DataError(f"Unit '{unit.name}' is retired; choose another unit or a new one.")
    if variant.status == "built" and variant.settings:
        check_ways(unit.settings, variant.settings, factors, unit.name)


def add(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    units: Sequence[Unit],
    definitions: Definitions,
    ids: Mapping[str, int],
    *,
    exact: bool = False,
) -> dict[str, int]:
    """Store new units and return all unit ids by name; with `exact`, names may differ in capitals only.

    Raises
    ------
    DataError
        If a name is taken, also in other capitals, or given twice, or means a unit yet to be made, or a setting is not
        allowed.
    """
    all_ids = dict(ids)
    factors = definitions.setup().factors
    free = FreeNames("Unit", "in the project already", ids, exact=exact)
    rows, settings = [], []
    for identity, unit in enumerate(units, start=next_id(con, "unit")):
        free.take(unit.name)
        if unit.name.casefold() == NEW_UNIT and not exact:
            raise DataError(f"Unit '{unit.name}' {MEANS_NEW}.")
        all_ids[unit.name] = identity
        rows.append(_row(identity, entry, unit))
        if unit.settings:
            state = read_settings(unit.settings, factors)
            settings += setting_rows(entry, "unit", identity, state, definitions)
    insert(con, "unit", rows)
    insert(con, "setting", settings)
    return all_ids


def _row(identity: int, entry: int, unit: Unit, replaces: int | None = None) -> dict[str, object]:
    """Return the row of one version of a unit."""
    return {
        "id": identity,
        "entry": entry,
        "replaces": replaces,
        "withdrawn": False,
        "name": unit.name,
        "retired": unit.retired,
        "note": unit.note,
    }


def retire(con: duckdb.DuckDBPyConnection, entry: int, name: str, definitions: Definitions) -> None:
    """Mark a unit as one that can no longer be worked on.

    Raises
    ------
    DataError
        If the unit is unknown, or retired already.
    """
    kept = find(load_initial(con, definitions), name, "Unit")
    if kept.record.retired:
        raise DataError(f"Unit '{name}' is retired already.")
    insert(con, "unit", [_row(kept.id, entry, replace(kept.record, retired=True), kept.entry)])
