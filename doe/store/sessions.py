"""Sessions: sittings in which readings are taken under the same conditions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import duckdb

from doe.model.errors import DataError
from doe.model.names import spelled_alike
from doe.model.records import Reading, Session
from doe.store.kept import FreeNames, names_to_ids
from doe.store.rows import bench_time, fetch, insert, next_id


def load(con: duckdb.DuckDBPyConnection) -> list[Session]:
    """Read the sessions that count, in the order in which they came."""
    rows = fetch(con, 'SELECT name, "when", note FROM live_session ORDER BY id')
    return [Session(**row) for row in rows]


def with_known(readings: Sequence[Reading], known: Iterable[str]) -> list[Reading]:
    """Return the readings with sessions as they were spelled at first; capitals alone make no other session."""
    names = list(known)
    spelled: dict[str | None, str | None] = {None: None}
    found = []
    for reading in readings:
        if reading.session not in spelled:
            own = spelled[reading.session] = spelled_in(reading.session, names)
            names += [own] if own else []
        own = spelled[reading.session]
        found.append(reading if own == reading.session else replace(reading, session=own))
    return found


def spelled_in(name: str | None, names: Iterable[str]) -> str | None:
    """Return a session's name as it is spelled among others; as it is where it is not among them."""
    wanted = (name or "").strip()
    return next(iter(spelled_alike(wanted, names)), wanted) or None


def unknown(sessions: Iterable[Session], known: Iterable[str]) -> list[Session]:
    """Return the sessions that are not there yet, one for each name; capitals alone make no other session."""
    names, found = list(known), []
    for session in sessions:
        if not spelled_alike(session.name, names):
            names.append(session.name)
            found.append(session)
    return found


def known_or_made(
    con: duckdb.DuckDBPyConnection, entry: int, names: Iterable[str | None]
) -> tuple[dict[str, int], list[str]]:
    """Store what sessions are named for the first time; return all session ids by name, and the names that are new."""
    there = names_to_ids(con, "live_session")
    unknown = list(dict.fromkeys(name for name in names if name and name not in there))
    return add(con, entry, [Session(name) for name in unknown], there), unknown


def add(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    sessions: Sequence[Session],
    ids: Mapping[str, int],
    *,
    exact: bool = False,
) -> dict[str, int]:
    """Store new sessions and return all session ids by name.

    With `exact`, names may differ in capitals only, as in older projects, and be those of prepared sessions.

    Raises
    ------
    DataError
        If a name is taken, also in other capitals or by a prepared session, or given twice.
    """
    all_ids = dict(ids)
    rows = []
    free = free_names(all_ids, exact=exact)
    for identity, session in enumerate(sessions, start=next_id(con, "session")):
        free.take(session.name)
        if not exact:
            _refuse_blind(con, session.name)
        all_ids[session.name] = identity
        record = {"name": session.name, "when": bench_time(session.when), "note": session.note}
        rows.append({"id": identity, "entry": entry, "replaces": None, "withdrawn": False, **record})
    insert(con, "session", rows)
    return all_ids


def free_names(names: Iterable[str], *, exact: bool = False) -> FreeNames:
    """Return what tells whether a new session's name is free."""
    return FreeNames("Session", "in the project already", names, exact=exact)


def _refuse_blind(con: duckdb.DuckDBPyConnection, name: str) -> None:
    """Keep a prepared session's name for the readings that it will hold once it is closed."""
    prepared = [row[0] for row in con.execute("SELECT name FROM live_prepared WHERE NOT closed").fetchall()]
    for other in spelled_alike(name, prepared):
        raise DataError(
            f"Session '{other}' is prepared and still blind; what is judged in it becomes its readings when it is closed. "
            "Name another session."
        )
