"""A consistent copy of a project, made while others may be waiting to write."""

from __future__ import annotations

import os
from pathlib import Path

import duckdb

from doe.model.errors import StoreError
from doe.store import attachments, engines
from doe.store.connect import copying
from doe.store.place import check_free, put_in_place
from doe.store.rows import literal, quote


def copy(source: Path, target: Path, files_folder: Path) -> None:
    """Copy the project file through the database, and the attachments that count.

    The file is never opened by anything but DuckDB: closing it from the same process would drop the lock that keeps
    other processes out (POSIX record locks belong to the process, not to the open file).

    Raises
    ------
    StoreError
        If the target exists, or cannot be written.
    """
    check_free(target)
    draft = target.with_name(f".{target.name}.{os.urandom(8).hex()}.part")
    try:
        with copying(source) as con:
            _copy_database(con, draft)
            rows = attachments.load(con, files_folder)
        with attachments.copied(rows, target.with_suffix(".files")):
            put_in_place(draft, target)
    except OSError as err:
        if isinstance(err, StoreError):
            raise
        raise StoreError(f"{target} cannot be written: {err.strerror or err}.") from err
    finally:
        draft.unlink(missing_ok=True)


def _copy_database(con: duckdb.DuckDBPyConnection, target: Path) -> None:
    con.execute(f"ATTACH {literal(str(target))} AS fettle_backup")
    con.execute(f"COPY FROM DATABASE {quote(engines.NAME)} TO fettle_backup")
    con.execute("DETACH fettle_backup")
