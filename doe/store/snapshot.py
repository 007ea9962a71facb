"""What a bench command needs to know, read in one go instead of one connection each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import duckdb

from doe.model.records import Session, Unit, Variant
from doe.model.setup import Setup
from doe.store import connect, definitions, sessions, units, variants


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A project's definitions and builds at one moment.

    Attributes
    ----------
    setup : Setup
        The definitions as they count now.
    units, variants, sessions : tuple
        In the order in which they came; variants as they were built, then what is planned.
    next_name : str
        The number that the next variant would get.
    """

    setup: Setup
    units: tuple[Unit, ...]
    variants: tuple[Variant, ...]
    sessions: tuple[Session, ...]
    next_name: str


def take_snapshot(path: Path) -> Snapshot:
    """Read a project that was found sound when it was opened.

    Raises
    ------
    StoreError
        If the file is missing, or held by another program for long.
    """
    with connect.reading(path) as con:
        return read_snapshot(con)


def read_snapshot(con: duckdb.DuckDBPyConnection) -> Snapshot:
    """Read a project within a transaction; what is then stored in it stands on just this."""
    defined = definitions.load(con)
    kept = variants.load(con, defined)
    return Snapshot(
        setup=defined.setup(),
        units=tuple(item.record for item in units.load(con, defined, kept)),
        variants=tuple(item.record for item in kept),
        sessions=tuple(sessions.load(con)),
        next_name=variants.next_name(con),
    )
