"""Settled versions: rows in and out."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import duckdb

from doe.model.errors import DataError
from doe.model.plain import plain
from doe.model.settled import SettledVersion
from doe.store.kept import known
from doe.store.rows import fetch, insert, next_id, statement

_FROZEN = ("settings", "lineage", "came_from", "evidence", "readings_sha256", "files", "note")
GONE = ""
"""Stands for a variant that was taken out since."""


def add(con: duckdb.DuckDBPyConnection, entry: int, version: SettledVersion, variants: Mapping[str, int]) -> None:
    """Store a version.

    Raises
    ------
    DataError
        If its variant is unknown.
    """
    row = {
        "id": next_id(con, "settled"),
        "entry": entry,
        "replaces": None,
        "withdrawn": False,
        "number": version.number,
        "name": version.name,
        "variant": known(variants, version.variant, "Variant"),
        "made_at": version.at,
        "body": body_of(version),
    }
    insert(con, "settled", [row])


def body_of(version: SettledVersion) -> str:
    """Return what a version froze, as JSON."""
    frozen = {name: plain(getattr(version, name)) for name in _FROZEN}
    return json.dumps(frozen, ensure_ascii=False, allow_nan=False)


def load(con: duckdb.DuckDBPyConnection) -> list[SettledVersion]:
    """Read the versions that count, oldest first."""
    names = {identity: name for name, identity in con.execute("SELECT name, id FROM live_variant").fetchall()}
    rows = fetch(con, "SELECT * FROM live_settled ORDER BY number, id")
    return [_version(row, names.get(row["variant"], GONE)) for row in rows]


def _version(row: Mapping[str, Any], variant: str) -> SettledVersion:
    return SettledVersion(row["number"], row["name"], variant, at=row["made_at"], **json.loads(row["body"]))


def refuse_withdrawal(con: duckdb.DuckDBPyConnection, variant: int, name: str) -> None:
    """Stop a variant from being withdrawn while a settled version stands on it.

    Raises
    ------
    DataError
        Naming the version, and how to take it back where that can be done.
    """
    rows = fetch(con, statement("settled_on"), [variant])
    if not rows:
        return
    row = rows[0]
    why = f"Variant '{name}' cannot be withdrawn, since version {row['number']}, {row['name']}, is settled on it"
    if row["began"]:
        raise DataError(f"{why}; that version came with the export that this project was made from, so both stay.")
    raise DataError(
        f"{why}; take entry {row['entry']} of the history back first, which settled it.",
        command=f"'fettle undo {row['entry']}' does that",
    )


def export_rows(versions: Sequence[SettledVersion]) -> list[dict[str, Any]]:
    """Return what an export holds: one row per version."""
    return [
        {"number": item.number, "name": item.name, "variant": item.variant, "at": item.at, "body": body_of(item)}
        for item in versions
    ]


def restore(
    con: duckdb.DuckDBPyConnection, entry: int, rows: Sequence[Mapping[str, Any]], variants: Mapping[str, int]
) -> None:
    """Store what an export holds; a version whose variant was taken out since stays one, for the check to tell."""
    with_gone = {**variants, GONE: 0}
    for row in rows:
        add(con, entry, _version({**row, "made_at": row["at"]}, row["variant"] or GONE), with_gone)
