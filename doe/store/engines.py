"""Database engines that wait for their file: starting one takes ten milliseconds, attaching a file to it one.

An engine may touch its own project file and nothing else, so that a file from elsewhere cannot hold a view that reads another.
DuckDB takes that list of files only once, which is why every file has an engine of its own. A few of them are kept for
the next time; an engine that waits has no file open and holds no lock.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import duckdb

from doe.store.rows import literal, quote

NAME = "project"
"""What the project file is called inside the engine."""

_MOST_WAITING = 4  # each takes some six megabytes
_BESIDE = ("", ".wal", ".wal.checkpoint", ".wal.recovery")  # the file, and what DuckDB may put beside it
_SETTINGS: dict[str, str | bool | int | float | list[str]] = {
    "threads": 1,  # tables are small, and a thread pool costs more than it brings
    "default_block_size": "16384",  # the smallest: a new project takes tens of kilobytes
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
}
_waiting: OrderedDict[str, duckdb.DuckDBPyConnection] = OrderedDict()
_guard = threading.Lock()


def borrow(path: Path) -> duckdb.DuckDBPyConnection:
    """Return an engine that may touch the file at `path` only; it is the caller's alone until given back or closed."""
    with _guard:
        waiting = _waiting.pop(_place(path), None)
    return waiting or started(path)


def started(*paths: Path) -> duckdb.DuckDBPyConnection:
    """Return a new engine that may touch the files at `paths` only; the caller closes it or gives it back for one of them."""
    con = open_handed()
    con.execute("SET allowed_paths = $1", [[f"{_place(path)}{ending}" for path in paths for ending in _BESIDE]])
    con.execute("SET enable_external_access = false")
    con.execute("SET lock_configuration = true")
    return con


def open_handed() -> duckdb.DuckDBPyConnection:
    """Return a new engine that may touch any file; the caller closes it."""
    return duckdb.connect(config=_SETTINGS)


def attach(con: duckdb.DuckDBPyConnection, path: Path, *, read_only: bool) -> None:
    """Open the file and make it the one that statements speak of.

    Raises
    ------
    duckdb.Error
        If the file is missing, held, or no DuckDB file; the engine stays usable.
    """
    con.execute(f"ATTACH {literal(_place(path))} AS {quote(NAME)}" + (" (READ_ONLY)" if read_only else ""))
    con.execute(f"USE {quote(NAME)}")


@contextmanager
def as_before(con: duckdb.DuckDBPyConnection) -> Iterator[duckdb.DuckDBPyConnection]:
    """Look at the file as it is without what the transaction under way has changed."""
    with closing(con.cursor()) as past:
        past.execute(f"USE {quote(NAME)}")
        yield past


def give_back(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Close the file, and keep the engine for the next time unless something is wrong with it."""
    try:
        con.execute("USE memory")
        con.execute(f"DETACH {quote(NAME)}")
    except duckdb.Error:
        con.close()  # on a full disk, say; what was committed is in the log beside the file, and read from there next time
        return
    with _guard:
        _waiting[_place(path)] = con
        oldest = _waiting.popitem(last=False)[1] if len(_waiting) > _MOST_WAITING else None
    if oldest is not None:
        oldest.close()


def _place(path: Path) -> str:
    """Where the file really is: leave is given for what links lead to."""
    return str(path.resolve())
