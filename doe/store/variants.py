"""Variants: what was built, from which settings, out of which other variant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import duckdb

from doe.model.choices import Settings, Value
from doe.model.errors import DataError, UsageError, did_you_mean, listed
from doe.model.limit import broken_limits
from doe.model.numbers import not_negative
from doe.model.records import Variant, read_settings
from doe.model.setup import Setup
from doe.store.definitions import Definitions
from doe.store.kept import (
    UNCHANGED,
    FreeNames,
    Kept,
    find,
    known,
    names_to_ids,
    setting_rows,
    settings_by_holder,
    shown,
)
from doe.store.rows import bench_time, fetch, insert, next_id, statement

STATUSES = ("built", "planned")
_TAKEN = "logged already"
FIELDS = tuple(item.name for item in fields(Variant))


def load(con: duckdb.DuckDBPyConnection, definitions: Definitions) -> list[Kept[Variant]]:
    """Read the variants that count, in the order in which they were built, then what is planned."""
    stored = settings_by_holder(con, "variant")
    by_id = {row["id"]: row for row in fetch(con, "SELECT * FROM live_variant")}
    rows = [by_id[identity] for (identity,) in con.execute(statement("build_order")).fetchall()]
    names = {row["id"]: row["name"] for row in rows}
    units = dict(con.execute("SELECT id, name FROM live_unit").fetchall())
    return [
        Kept(
            row["id"],
            row["entry"],
            Variant(
                name=row["name"],
                settings={} if row["reference"] else definitions.settings(stored.get(row["id"], {})),
                unit=units.get(row["unit"]),
                parent=names.get(row["parent"]),
                minutes=row["minutes"],
                price=row["price"],
                when=row["when"],
                status=row["status"],
                note=row["note"],
            ),
        )
        for row in rows
    ]


def next_name(con: duckdb.DuckDBPyConnection) -> str:
    """Return the whole number after the highest one that any variant ever had."""
    row = con.execute(
        "SELECT max(CAST(name AS BIGINT)) FROM variant WHERE regexp_full_match(name, '[0-9]{1,15}')"
    ).fetchone()
    return str(int(row[0]) + 1) if row and row[0] is not None else "1"


def checked(variant: Variant, setup: Setup, before: Mapping[str, Value] | None = None) -> Variant:
    """Return the variant with its settings, times and effort in their own types.

    Limits that it broke `before` it was corrected came later than its log, so it need not keep them.

    Raises
    ------
    DataError
        If a setting is unknown, missing or not allowed, a limit is broken, or the status is unknown.
    """
    settings: Settings = read_settings(variant.settings, setup.factors) if variant.settings else {}
    if settings:
        old = broken_limits(before, setup.limits, setup.derived) if before else ()
        for limit in (item for item in broken_limits(settings, setup.limits, setup.derived) if item not in old):
            raise DataError(f"Variant {variant.name} breaks the limit '{limit.rule}'{_why(limit.note)}.")
    if variant.status not in STATUSES:
        raise DataError(f"status is '{variant.status}'; it must be {listed(STATUSES)}.")
    return replace(
        variant,
        settings=settings,
        when=bench_time(variant.when),
        minutes=effort(variant.name, "minutes", variant.minutes),
        price=effort(variant.name, "price", variant.price),
    )


def effort(variant: str, name: str, value: object) -> float | None:
    """Return minutes or money as a number, None where nothing is said.

    Raises
    ------
    UsageError
        If it is negative or no finite number.
    """
    return None if value is None else not_negative(f"Variant {variant}: {name}", value)


def _why(note: str) -> str:
    return f" ({note})" if note else ""


def add(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    variants: Sequence[Variant],
    definitions: Definitions,
    ids: Mapping[str, int],
    units: Mapping[str, int],
    *,
    exact: bool = False,
) -> dict[str, int]:
    """Store checked variants and return all variant ids by name.

    Parameters
    ----------
    con, entry, definitions
        Where and under which entry.
    variants : sequence of Variant
        New ones; a parent may stand anywhere in them.
    ids, units : mapping of str to int
        Names that are in the project already.
    exact : bool
        Whether names may differ in capitals only, as in older projects.

    Raises
    ------
    DataError
        If a name is taken, also in other capitals, or given twice, or a parent or unit is unknown.
    """
    all_ids = dict(ids)
    free = FreeNames("Variant", _TAKEN, ids, exact=exact)
    for place, variant in enumerate(variants, start=next_id(con, "variant")):
        free.take(variant.name)
        all_ids[variant.name] = place
    factors = definitions.of("factor")
    rows, settings = [], []
    for variant in variants:
        identity = all_ids[variant.name]
        rows.append(_row(identity, entry, variant, all_ids, units, is_reference=bool(factors) and variant.is_reference))
        settings += setting_rows(entry, "variant", identity, variant.settings, definitions)
    insert(con, "variant", rows)
    insert(con, "setting", settings)
    return all_ids


def _row(
    identity: int,
    entry: int,
    variant: Variant,
    ids: Mapping[str, int],
    units: Mapping[str, int],
    *,
    is_reference: bool,
    replaces: int | None = None,
) -> dict[str, object]:
    return {
        "id": identity,
        "entry": entry,
        "replaces": replaces,
        "withdrawn": False,
        "name": variant.name,
        "unit": known(units, variant.unit, "Unit"),
        "parent": known(ids, variant.parent, "Parent"),
        "minutes": variant.minutes,
        "price": variant.price,
        "when": variant.when,
        "status": variant.status,
        "note": variant.note,
        "reference": is_reference,
    }


def correct(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    variants: Sequence[Kept[Variant]],
    name: str,
    changes: Mapping[str, Any],
    definitions: Definitions,
) -> tuple[str, str]:
    """Store a corrected version of a variant; return its name and a line for the journal.

    Raises
    ------
    UsageError
        If a field is unknown.
    DataError
        If the variant is unknown, its new name taken, a value not allowed, or nothing changed.
    """
    for field in changes:
        if field not in FIELDS:
            hint = did_you_mean(field, FIELDS)
            raise UsageError(f"A variant has no '{field}'; it has {listed(FIELDS, 'and')}.{hint}")
    kept = find(variants, name, "Variant")
    old: Variant = kept.record
    settings = changes.get("settings")
    merged = {**changes, "settings": {**old.settings, **settings}} if settings is not None else dict(changes)
    new = checked(replace(old, **merged), definitions.setup(), old.settings) if merged else old
    if new == old:
        raise DataError(UNCHANGED)
    ids = {item.record.name: item.id for item in variants}
    if new.name != old.name:
        FreeNames("Variant", _TAKEN, ids.keys() - {old.name}).take(new.name)
    _check_parent(variants, old.name, new.parent)
    units = names_to_ids(con, "live_unit")
    is_reference = bool(definitions.of("factor")) and new.is_reference
    row = _row(kept.id, entry, new, ids, units, is_reference=is_reference, replaces=kept.entry)
    insert(con, "variant", [row])
    changed = {key: value for key, value in new.settings.items() if old.settings.get(key) != value}
    insert(con, "setting", setting_rows(entry, "variant", kept.id, changed, definitions))
    return new.name, f"corrected variant {old.name}: {differences(old, new)}"


def _check_parent(variants: Sequence[Kept[Variant]], name: str, parent: str | None) -> None:
    """Refuse a lineage that leads back to the variant itself."""
    parents = {item.record.name: item.record.parent for item in variants}
    step = parent
    while step is not None:
        if step == name:
            raise DataError(f"Variant '{name}' cannot come from '{parent}', which comes from it.")
        step = parents.get(step)


def withdraw(
    con: duckdb.DuckDBPyConnection, entry: int, variants: Sequence[Kept[Variant]], name: str, definitions: Definitions
) -> None:
    """Withdraw a variant; what was changed from it is then changed from its parent."""
    kept = find(variants, name, "Variant")
    ids = {item.record.name: item.id for item in variants}
    units = names_to_ids(con, "live_unit")
    rows = []
    for item in variants:
        if item.id != kept.id and item.record.parent != name:
            continue
        record = replace(item.record, parent=kept.record.parent)
        is_reference = bool(definitions.of("factor")) and record.is_reference
        row = _row(item.id, entry, record, ids, units, is_reference=is_reference, replaces=item.entry)
        rows.append({**row, "withdrawn": item.id == kept.id})
    insert(con, "variant", rows)


def differences(old: Variant, new: Variant) -> str:
    """Tell what changed between two versions of a variant."""
    told = [
        f"{key} {shown(old.settings.get(key))} -> {shown(value)}"
        for key, value in new.settings.items()
        if old.settings.get(key) != value
    ]
    for item in fields(Variant):
        before, after = getattr(old, item.name), getattr(new, item.name)
        if item.name != "settings" and before != after:
            told.append(f"{item.name} {shown(before)} -> {shown(after)}")
    return ", ".join(told)


def told(variant: Variant, parent: Variant | None) -> str:
    """Tell a new variant in one line: what changed from its parent, or all its settings."""
    before = parent.settings if parent is not None else {}
    changed = {key: value for key, value in variant.settings.items() if before.get(key) != value}
    parts = [
        f"{key} {shown(before[key])} -> {shown(value)}" if key in before else f"{key} {shown(value)}"
        for key, value in changed.items()
    ]
    where = f" on {variant.unit}" if variant.unit else ""
    origin = f" from {parent.name}" if parent is not None else ""
    what = ", ".join(parts) or ("a reference object" if variant.is_reference else "nothing changed")
    return f"{'planned' if variant.status == 'planned' else 'logged'} variant {variant.name}{origin}{where}: {what}"
