"""Sessions: sittings in which readings are taken under the same conditions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import duckdb

from doe.model.errors import DataError
from doe.model.records import Session
from doe.store.kept import names_to_ids
from doe.store.rows import bench_time, fetch, insert, next_id


def load(con: duckdb.DuckDBPyConnection) -> list[Session]:
    """Read the sessions that count, in the order in which they came."""
    rows = fetch(con, 'SELECT name, "when", note FROM live_session ORDER BY id')
    return [Session(**row) for row in rows]


def known_or_made(
    con: duckdb.DuckDBPyConnection, entry: int, names: Iterable[str | None]
) -> tuple[dict[str, int], list[str]]:
    """Store what sessions are named for the first time; return all session ids by name, and the names that are new."""
    there = names_to_ids(con, "live_session")
    unknown = list(dict.fromkeys(name for name in names if name and name not in there))
    return add(con, entry, [Session(name) for name in unknown], there), unknown


def add(
    con: duckdb.DuckDBPyConnection, entry: int, sessions: Sequence[Session], ids: Mapping[str, int]
) -> dict[str, int]:
    """Store new sessions and return all session ids by name.

    Raises
    ------
    DataError
        If a name is taken or given twice.
    """
    all_ids = dict(ids)
    rows = []
    for identity, session in enumerate(sessions, start=next_id(con, "session")):
        if session.name in all_ids:
            raise DataError(f"Session '{session.name}' is in the project already; give it a name of its own.")
        all_ids[session.name] = identity
        record = {"name": session.name, "when": bench_time(session.when), "note": session.note}
        rows.append({"id": identity, "entry": entry, "replaces": None, "withdrawn": False, **record})
    insert(con, "session", rows)
    return all_ids
