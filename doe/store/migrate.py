"""Numbered forward migrations, each applied in one transaction together with its own record."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import duckdb

from doe.model.errors import StoreError

_FOLDER = Path(__file__).parent / "migrations"
_RECORD = """CREATE TABLE IF NOT EXISTS fettle_migration (
    number INTEGER NOT NULL, name VARCHAR NOT NULL, done_at TIMESTAMP NOT NULL)"""


def known() -> dict[int, Path]:
    """Return the migrations that this version brings, by number."""
    return {int(path.name[:4]): path for path in sorted(_FOLDER.glob("[0-9][0-9][0-9][0-9]_*.sql"))}


def newest() -> int:
    """Return the number of the newest migration that this version brings."""
    return max(known())


def applied(con: duckdb.DuckDBPyConnection) -> int:
    """Return the number of the last migration applied to the file, 0 for a file that is no project."""
    try:
        row = con.execute("SELECT max(number) FROM fettle_migration").fetchone()
    except duckdb.CatalogException:
        return 0
    return int(row[0]) if row and row[0] is not None else 0


def check_version(con: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Return how far the file is migrated.

    Raises
    ------
    StoreError
        If the file is no project, or written by a newer Fettle; either way it stays untouched.
    """
    number = applied(con)
    if number == 0:
        raise StoreError(f"{path} is not a Fettle project: it is a DuckDB file made by something else.")
    if number > newest():
        raise StoreError(
            f"{path} was written by a newer Fettle (layout {number}, this one knows {newest()}); it was left"
            " untouched: update Fettle to open it."
        )
    return number


def migrate(con: duckdb.DuckDBPyConnection, at: datetime) -> list[int]:
    """Apply what is pending, inside the transaction of the caller, and return the numbers applied."""
    con.execute(_RECORD)
    done = applied(con)
    pending = {number: path for number, path in known().items() if number > done}
    for number, path in pending.items():
        con.execute(path.read_text(encoding="utf-8"))
        con.execute("INSERT INTO fettle_migration VALUES ($1, $2, $3)", [number, path.stem[5:], at])
    return list(pending)
