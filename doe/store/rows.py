"""Rows in and out: statements by name, names quoted, values bound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import duckdb

from doe.model.errors import DataError, shown
from doe.model.numbers import read_moment

_FOLDER = Path(__file__).parent / "queries"


def quote(name: str) -> str:
    """Return an identifier in quotes, whatever it holds.

    Examples
    --------
    >>> quote('say "aah"')
    '"say ""aah""'
    """
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """Return a text as SQL writes it, for the few statements that take no bound values.

    Examples
    --------
    >>> literal("maker's")
    "'maker''s'"
    """
    return "'" + text.replace("'", "''") + "'"


@cache
def statement(name: str) -> str:
    """Return the SQL kept under that name in ``queries/``."""
    return (_FOLDER / f"{name}.sql").read_text(encoding="utf-8")


def fetch(con: duckdb.DuckDBPyConnection, sql: str, values: Sequence[object] = ()) -> list[dict[str, Any]]:
    """Run a query and return its rows as dicts."""
    cursor = con.execute(sql, list(values)) if values else con.execute(sql)
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def insert(con: duckdb.DuckDBPyConnection, table: str, rows: Sequence[Mapping[str, object]]) -> None:
    """Append rows that all have the same keys, in one statement with one bound list for each column."""
    if not rows:
        return
    names = list(rows[0])
    columns = ", ".join(quote(name) for name in names)
    lists = ", ".join(f"unnest(${place + 1})" for place in range(len(names)))
    con.execute(
        f"INSERT INTO {quote(table)} ({columns}) SELECT {lists}", [[row[name] for row in rows] for name in names]
    )


def next_id(con: duckdb.DuckDBPyConnection, table: str) -> int:
    """Return the id after the highest one ever used; the file is ours alone during a transaction."""
    row = con.execute(f"SELECT coalesce(max(id), 0) + 1 FROM {quote(table)}").fetchone()
    return int(row[0]) if row else 1


def bench_time(when: object) -> datetime | None:
    """Return a time as the bench's own clock shows it: a zone is dropped, not converted.

    Raises
    ------
    DataError
        If it is no time, nor text that says one.
    """
    if when is None:
        return None
    if isinstance(when, datetime):
        return when.replace(tzinfo=None)
    try:
        return read_moment(str(when))
    except ValueError:
        raise DataError(f"when is '{shown(when)}'; write it as 2026-03-03 or '2026-03-03 19:30'.") from None
