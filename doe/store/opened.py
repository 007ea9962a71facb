"""A project file that was found sound, and the two ways to open it for a moment."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from pathlib import Path

import duckdb

from doe.model.errors import StoreError
from doe.store import connect, migrate
from doe.store.place import check_free, is_there, put_in_place


class Opened:
    """What every part of a project file stands on: its path, reading and writing.

    Parameters
    ----------
    path : str or Path
        An existing project.

    Raises
    ------
    StoreError
        If the file is missing, held by another program for long, no project, or from a newer version.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        if not is_there(self.path):
            raise StoreError(f"{self.path} does not exist.", command="'fettle init' makes a new project")
        if not self.path.is_file():
            raise StoreError(f"{self.path} is not a Fettle project: it is a folder.")
        with connect.reading(self.path) as con:
            number = migrate.check_version(con, self.path)
        if number < migrate.newest():
            with connect.writing(self.path) as con:
                migrate.migrate(con, datetime.now())

    @property
    def files_folder(self) -> Path:
        """The folder of attachments; it appears with the first one."""
        return self.path.with_suffix(".files")

    def __repr__(self) -> str:
        return f"{type(self).__name__}('{self.path}')"

    def _reading(self) -> AbstractContextManager[duckdb.DuckDBPyConnection]:
        return connect.reading(self.path)

    @contextmanager
    def _writing(self) -> Iterator[duckdb.DuckDBPyConnection]:
        if not self.path.is_file():  # DuckDB would make an empty one
            raise StoreError(f"{self.path} is no longer there.")
        with connect.writing(self.path) as con:
            migrate.check_version(con, self.path)
            yield con


def make(path: Path, fill: Callable[[duckdb.DuckDBPyConnection], object]) -> None:
    """Make a project file whole or not at all: under another name first, so that a crash leaves nothing half done.

    Raises
    ------
    StoreError
        If the file exists already, or cannot be written.
    """
    check_free(path)
    draft = path.with_name(f".{path.name}.{os.urandom(8).hex()}.part")
    try:
        with connect.making(draft, path) as con:
            migrate.migrate(con, datetime.now())
            fill(con)
        put_in_place(draft, path)
    except StoreError as err:
        raise StoreError(str(err).replace(str(draft), str(path))) from err
    finally:
        draft.unlink(missing_ok=True)
