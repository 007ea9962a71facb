"""How readings were computed from files: recipe, version, settings, and the hash of what they were computed from."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import duckdb

from doe.model.errors import DataError, shown
from doe.model.records import Computation
from doe.store import attachments
from doe.store.definitions import Definitions
from doe.store.rows import fetch, insert, statement


def add(con: duckdb.DuckDBPyConnection, entry: int, made: Iterable[tuple[int, Computation]]) -> None:
    """Store how readings, by their ids, were computed; the readings' own rows belong to the same entry."""
    rows = [
        {
            "reading": reading,
            "entry": entry,
            "recipe": how.recipe,
            "version": how.version,
            "settings": _text(how.settings),
            "uses": _text(how.uses),
            "sha256": how.sha256,
        }
        for reading, how in made
    ]
    insert(con, "measurement", rows)


def load(con: duckdb.DuckDBPyConnection, definitions: Definitions, folder: Path) -> list[dict[str, Any]]:
    """Read the computed readings that count: id, variant, outcome, value, filename, path, computation.

    One whose file has no name that files are kept under is left out, which `unsound` tells.
    """
    names = {identity: outcome.name for identity, outcome in definitions.outcomes().items()}
    return [
        {
            "id": row["reading"],
            "variant": row["variant"],
            "outcome": names[row["outcome"]],
            "value": row["value"],
            "filename": row["filename"] if attachments.is_name(row["filename"]) else None,
            "path": folder / row["sha256"],
            "computation": read_row(row),
        }
        for row in fetch(con, statement("measurements"))
        if attachments.is_hash(row["sha256"])
    ]


def unsound(con: duckdb.DuckDBPyConnection) -> list[tuple[int, str]]:
    """Return the entry of each computation that points elsewhere than to a file of the project, and what is wrong."""
    rows = con.execute("SELECT reading, entry, sha256 FROM live_measurement ORDER BY reading").fetchall()
    return [(entry, _no_hash(reading, text)) for reading, entry, text in rows if not attachments.is_hash(text)]


def check_row(row: Mapping[str, Any]) -> None:
    """Check that a row of an export points nowhere but into the folder of attachments.

    Raises
    ------
    DataError
        If the hash of its file is none.
    """
    if not attachments.is_hash(row["sha256"]):
        raise DataError(_no_hash(row["id"], row["sha256"]))


def _no_hash(reading: object, text: object) -> str:
    return f"Reading {reading}: sha256 of its file is '{shown(text)}'; it must be 64 digits, 0 to 9 or a to f."


def read_row(row: Mapping[str, Any]) -> Computation:
    """Return a computation from a row of a table."""
    settings, uses = json.loads(row["settings"]), json.loads(row["uses"])
    return Computation(row["recipe"], int(row["version"]), settings, row["sha256"], uses)


def table_rows(loaded: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return what an export holds of them: the reading's number, and how it was computed, as text."""
    return [
        {
            "id": row["id"],
            "recipe": row["computation"].recipe,
            "version": row["computation"].version,
            "settings": _text(row["computation"].settings),
            "uses": _text(row["computation"].uses),
            "sha256": row["computation"].sha256,
        }
        for row in loaded
    ]


def is_computed(con: duckdb.DuckDBPyConnection, reading: int, entry: int) -> bool:
    """Tell whether this version of a reading was computed from a file."""
    sql = "SELECT count(*) FROM measurement WHERE reading = $1 AND entry = $2"
    found = con.execute(sql, [reading, entry]).fetchone()
    return bool(found and found[0])


def carry_over(con: duckdb.DuckDBPyConnection, reading: int, old: int, new: int) -> None:
    """Let a further version of a reading, whose value stays, be told as computed like the one before."""
    con.execute(
        "INSERT INTO measurement SELECT reading, $3, recipe, version, settings, uses, sha256"
        " FROM measurement WHERE reading = $1 AND entry = $2",
        [reading, old, new],
    )


def _text(value: Mapping[str, Any]) -> str:
    return json.dumps(dict(value), ensure_ascii=False, allow_nan=False, sort_keys=True)
