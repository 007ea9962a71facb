"""The journal: one entry for each acknowledged change, and which entries count."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

import duckdb

from doe.model.errors import DataError
from doe.store.rows import fetch, insert, next_id, statement

VERSIONED = (
    "definition", "unit", "variant", "session", "reading", "suggestion", "attachment", "prepared", "judgement", "plan",
    "settled",
)  # fmt: skip
"""Tables whose records have versions: (id, entry, replaces, withdrawn, ...)."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One acknowledged change of a project.

    Attributes
    ----------
    id : int
        Its number, from 1.
    at : datetime
        When, by the bench's own clock (no zone).
    kind : str
        What was done: create, setup, unit, variant, plan, session, readings, measurement, judgement, correction, withdrawal,
        settled, import, suggestion, attachment, take back, restore.
    summary : str
        One line for people.
    subject : str
        Name of the record it is about, such as the variant's; empty where there is no single one.
    takes_back : int or None
        The entry that this one takes back.
    taken_back_by : int or None
        The entry that took this one back, where it does not count now.
    """

    id: int
    at: datetime
    kind: str
    summary: str
    subject: str = ""
    takes_back: int | None = None
    taken_back_by: int | None = None


def begin(con: duckdb.DuckDBPyConnection) -> int:
    """Return the number of the entry that is being written."""
    return next_id(con, "entry")


def close(
    con: duckdb.DuckDBPyConnection,
    number: int,
    kind: str,
    summary: str,
    *,
    subject: str = "",
    takes_back: int | None = None,
    digest: str | None = None,
) -> Entry:
    """Write the entry's own line, once its rows are in."""
    at = datetime.now()
    row = {"id": number, "done_at": at, "kind": kind, "summary": summary, "subject": subject}
    insert(con, "entry", [{**row, "takes_back": takes_back, "digest": digest, "inherited": False}])
    return Entry(number, at, kind, summary, subject, takes_back)


def history(con: duckdb.DuckDBPyConnection) -> list[Entry]:
    """Return every entry, oldest first, those taken back included."""
    return [Entry(**row) for row in fetch(con, statement("history"))]


def take_back(con: duckdb.DuckDBPyConnection, target: int) -> Entry:
    """Stop an entry from counting; taking back a take-back lets it count again.

    Raises
    ------
    DataError
        If there is no such entry, or it is taken back already, or it began the project.
    """
    entries = {entry.id: entry for entry in history(con)}
    entry = entries.get(target)
    if entry is None:
        raise DataError(
            f"There is no entry {target} to take back; the history lists those there are.",
            command="'fettle history' shows it",
        )
    if entry.taken_back_by is not None:
        raise DataError(f"Entry {target} was taken back already, by entry {entry.taken_back_by}.")
    if entry.kind in ("create", "restore"):
        raise DataError(f"Entry {target} began this project ({entry.summary}) and cannot be taken back.")
    if _is_inherited(con, target):
        raise DataError(f"Entry {target} came with the export ({entry.summary}) and cannot be taken back here.")
    number = begin(con)
    before = {old.id for old in entries.values() if old.taken_back_by is not None}
    after = _not_counting({**{old.id: old.takes_back for old in entries.values()}, number: target})
    turned = [{"entry": number, "target": old, "live": old in before} for old in sorted(before ^ after)]
    insert(con, "toggle", turned)
    summary = f"took back entry {target}: {entry.summary}"
    return close(con, number, "take back", summary, subject=entry.subject, takes_back=target)


def silence(con: duckdb.DuckDBPyConnection, targets: Iterable[int], by: int) -> None:
    """Stop entries from counting, as far as the transaction goes."""
    insert(con, "toggle", [{"entry": by, "target": target, "live": False} for target in targets])


def _not_counting(takes_back: Mapping[int, int | None]) -> set[int]:
    """Return the entries that an entry which counts takes back, from what each takes back."""
    found: set[int] = set()
    for entry in sorted(takes_back, reverse=True):  # whoever takes an entry back came after it
        target = takes_back[entry]
        if entry not in found and target is not None:
            found.add(target)
    return found


def refuse_second_import(con: duckdb.DuckDBPyConnection, source: str, digest: str | None) -> None:
    """Stop the same file from being taken in twice.

    Raises
    ------
    DataError
        Naming the entry that holds it.
    """
    rows = con.execute(
        "SELECT id FROM entry WHERE digest = $1 AND id NOT IN (SELECT id FROM dead_entry)", [digest]
    ).fetchall()
    if rows:
        raise DataError(
            f"{source} was imported already, as entry {rows[0][0]}; take that back to import it again.",
            command=f"'fettle undo {rows[0][0]}' does that",
        )


def _is_inherited(con: duckdb.DuckDBPyConnection, number: int) -> bool:
    row = con.execute("SELECT inherited FROM entry WHERE id = $1", [number]).fetchone()
    return bool(row and row[0])


def broken_chains(con: duckdb.DuckDBPyConnection) -> list[tuple[int, int | None]]:
    """Return (entry, entry it replaces) wherever a version that counts does not follow the one it replaces."""
    versions = (f"SELECT '{table}' AS record, id, entry, replaces FROM {table}" for table in VERSIONED)
    return con.execute(statement("broken_chains").replace("every_version", " UNION ALL ".join(versions))).fetchall()
