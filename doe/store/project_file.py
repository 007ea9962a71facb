"""`ProjectFile`: the one door to a project's records."""

from __future__ import annotations

from pathlib import Path

import duckdb

from doe.model.setup import Setup
from doe.model.wording import counted
from doe.store import attachments, definitions, journal, transfer
from doe.store.build_records import BuildRecords
from doe.store.keeping import Keeping
from doe.store.listening_records import ListeningRecords
from doe.store.measuring_records import MeasuringRecords
from doe.store.opened import make
from doe.store.place import check_free
from doe.store.plan_records import PlanRecords
from doe.store.reading_records import ReadingRecords
from doe.store.settled_records import SettledRecords
from doe.store.setup_records import SetupRecords


class ProjectFile(
    SetupRecords, BuildRecords, PlanRecords, ReadingRecords, MeasuringRecords, ListeningRecords, SettledRecords, Keeping
):
    """A project on disk: one DuckDB file, and a folder of attachments beside it.

    Every method opens the file, does one transaction and closes it again, so that several programs can work on it at
    once. What a method returned is stored; nothing that was stored is ever overwritten.

    Parameters
    ----------
    path : str or Path
        An existing project; use `create` for a new one.

    Raises
    ------
    StoreError
        If the file is missing, held by another program for long, no project, or from a newer version.
    """

    @classmethod
    def open(cls, path: str | Path) -> ProjectFile:
        """Open a project that exists; an older layout is brought up to date.

        Raises
        ------
        StoreError
            As for the class.
        """
        return cls(path)

    @classmethod
    def create(cls, path: str | Path, setup: Setup | None = None) -> ProjectFile:
        """Make a new project file.

        Raises
        ------
        StoreError
            If the file exists already, or its folder cannot be written.
        UsageError
            If no settings keep the limits, a derived quantity never gives a number, or a goal lies beyond its scale.
        """
        made = Setup() if setup is None else setup
        from doe.model.possible import check_storable  # takes a moment that few commands need

        check_storable(made)

        def fill(con: duckdb.DuckDBPyConnection) -> None:
            entry = journal.begin(con)
            definitions.add_all(con, entry, made)
            what = f"{counted(len(made.factors), 'factor')} and {counted(len(made.outcomes), 'outcome')}"
            journal.close(con, entry, "create", f"made the project '{made.title}' with {what}", subject=made.title)

        make(Path(path), fill)
        return cls(path)

    @classmethod
    def restore(cls, path: str | Path, source: str | Path) -> ProjectFile:
        """Make a new project file from an export (csv or parquet folder, or workbook); the history is told along.

        Raises
        ------
        StoreError
            If the file exists already, or there is no export to read.
        DataError
            If a table of the export was changed so that it no longer fits.
        """
        target, content = Path(path), transfer.read(Path(source))
        check_free(target)
        attachments.check_whole(content.files)
        with attachments.copied(content.files, target.with_suffix(".files")):
            make(target, lambda con: transfer.restore(con, content, Path(source).name))
        return cls(target)
