"""Short connections to a project file: open, one transaction, close, with a patient retry.

DuckDB lets one process at a time hold a file for writing, or several for reading. A connection is therefore held for
milliseconds; our own programs take turns, and whoever finds the file held all the same (by a notebook, say) tries again,
with a random pause, for up to `PATIENCE_SECONDS`.
"""

from __future__ import annotations

import random
import re
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import duckdb

from doe.model.errors import FettleError, StoreError
from doe.store import engines
from doe.store.turnstile import turn

PATIENCE_SECONDS = 30.0
_SHORTEST_PAUSE, _LONGEST_PAUSE = 0.002, 0.1
_HELD = ("could not set lock", "conflicting lock", "being used by another process")


@contextmanager
def reading(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the file for reading only, within one transaction.

    Raises
    ------
    StoreError
        If the file is missing, held for longer than the patience, or no DuckDB file.
    """
    with _held(path, read_only=True) as con:
        con.begin()
        try:
            yield con
        finally:
            con.rollback()


@contextmanager
def writing(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the file for one change; everything inside is stored as a whole, or not at all.

    Raises
    ------
    StoreError
        If the file cannot be opened or written.
    """
    with _held(path, read_only=False) as con, _transaction(con):
        yield con


@contextmanager
def making(draft: Path, path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Write a new file under another name, with an engine that is kept for it under its own.

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    with _held(draft, read_only=False, later=path) as con, _transaction(con):
        yield con


@contextmanager
def _transaction(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    con.begin()
    try:
        yield
    except BaseException:
        con.rollback()
        raise
    con.commit()


@contextmanager
def copying(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Hold the file, so that nobody writes, with leave to attach a second one; no transaction is begun.

    Raises
    ------
    StoreError
        If the file cannot be opened, or the copy not written.
    """
    deadline = time.monotonic() + PATIENCE_SECONDS
    with turn(path, deadline), closing(engines.open_handed()) as con, _translated(path):
        _attach(con, path, deadline, read_only=False)
        yield con


@contextmanager
def _held(path: Path, *, read_only: bool, later: Path | None = None) -> Iterator[duckdb.DuckDBPyConnection]:
    """Wait for the turn, open, and close whatever happens; one patience for both waits. `later` is the file's name to come."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    with turn(path, deadline), _translated(path):
        con = engines.borrow(path) if later is None else engines.started(path, later)
        try:
            _attach(con, path, deadline, read_only=read_only)
            yield con
        finally:
            engines.give_back(con, later or path)


def _attach(con: duckdb.DuckDBPyConnection, path: Path, deadline: float, *, read_only: bool) -> None:
    pause = _SHORTEST_PAUSE
    while True:
        try:
            engines.attach(con, path, read_only=read_only)
            return
        except duckdb.Error as err:
            if not _is_held(err) or time.monotonic() > deadline:
                raise _open_error(path, err, read_only=read_only) from err
        time.sleep(pause * random.uniform(0.5, 1.5))
        pause = min(2 * pause, _LONGEST_PAUSE)


@contextmanager
def _translated(path: Path) -> Iterator[None]:
    try:
        yield
    except FettleError:
        raise
    except duckdb.Error as err:
        if isinstance(err, duckdb.InterruptException):
            raise KeyboardInterrupt from err
        raise StoreError(f"{path} could not be used, and nothing was changed: {_in_words(err)}") from err
    except RuntimeError as err:
        if "interrupted" in str(err):  # how DuckDB tells of Ctrl-C in a query that it runs
            raise KeyboardInterrupt from err
        raise


def _is_held(err: duckdb.Error) -> bool:
    text = str(err).casefold()
    return any(words in text for words in _HELD)


def _open_error(path: Path, err: duckdb.Error, *, read_only: bool) -> StoreError:
    text = str(err)
    if _is_held(err):
        holder = re.search(r"PID (\d+)", text)
        by = f"another program (process {holder[1]})" if holder else "another program"
        return StoreError(f"{path} is held by {by} for more than {PATIENCE_SECONDS:g} s; close it there and try again.")
    if isinstance(err, duckdb.ResourceInUseException):
        return StoreError(f"{path} is open in this program in another way; close that connection and try again.")
    if "version number" in text:
        return StoreError(f"{path} was written by a newer DuckDB than the one installed; update the duckdb package.")
    if "permission denied" in text.casefold() or "read-only file system" in text.casefold():
        what = "read" if read_only else "written"
        return StoreError(f"{path} cannot be {what}: permission denied for the file or its folder.")
    if "not a valid DuckDB" in text or isinstance(err, duckdb.PermissionException):  # it would load a reader for it
        return StoreError(f"{path} is not a Fettle project: it is no DuckDB file.")
    return StoreError(f"{path} cannot be opened: {_in_words(err)}")


_DAMAGED = "it is damaged: part of it is missing or altered. Use the last backup, or another copy that is whole."
_NO_ROOM = "there is no room left to write. Free some space on this disk, then try again."
_SIGNS = {  # what names the cause comes before what names the step that failed
    "corrupt": _DAMAGED,
    "checksum": _DAMAGED,
    "enough bytes": _DAMAGED,
    "serializ": _DAMAGED,
    "no space": _NO_ROOM,
    "disk full": _NO_ROOM,
    "too large": _NO_ROOM,
    "out of memory": "the computer has too little memory left. Close other programs, then try again.",
    "too many open files": "too many files are open. Close other programs, then try again.",
    "input/output error": "the disk does not answer as it should. Copy the file to another disk, and try again there.",
    "could not write": _NO_ROOM,
    "cannot open file": "its folder takes no such file. Choose another folder, or ask who may write to this one.",
}
_QUOTED = re.compile(r'"[^"]*"')


def _in_words(err: duckdb.Error) -> str:
    """Say what an engine's message means and what to do; its own words only where nothing better is known."""
    said = str(err).strip().splitlines()[0].rstrip(".")
    cause = _QUOTED.sub("", said).casefold()  # without the names of files, which may be called anything
    known = next((words for sign, words in _SIGNS.items() if sign in cause), "")
    return known or f"the database engine gave up. Try again, and if it stays so use the last backup. It says: {said}."
