"""The part of a project file that keeps recordings and curves, with the readings computed from them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import duckdb

from doe.model.errors import DataError, listed
from doe.model.records import Computation, KeptFile, Reading
from doe.model.wording import counted
from doe.store import attachments, definitions, journal, measurements, readings, sessions
from doe.store.journal import Entry
from doe.store.kept import known, names_to_ids
from doe.store.opened import Opened
from doe.store.rows import fetch, next_id, statement


class MeasuringRecords(Opened):
    """Takes in measured readings with their files, and recomputed ones."""

    def add_measured(
        self, made: Sequence[tuple[Reading, Computation]], files: Sequence[KeptFile], subject: str
    ) -> tuple[Entry, list[int]]:
        """Store readings with the files that they were computed from, as one change.

        Parameters
        ----------
        made : sequence of (Reading, Computation)
            May be empty where files are kept as a reference only.
        files : sequence of KeptFile
            A file that its variant has already is not kept twice.
        subject : str
            The variant, for the journal.

        Returns
        -------
        entry : Entry
            Of the journal.
        numbers : list of int
            Ids of the readings, in order.

        Raises
        ------
        DataError
            If there is nothing to store, a record is not allowed, or a file was changed since it was measured.
        StoreError
            If the folder of attachments cannot be written.
        """
        if not made and not files:
            raise DataError("There is no reading and no file to store.")
        with self._writing() as con:
            entry = journal.begin(con)
            own = sessions.with_known([reading for reading, _ in made], names_to_ids(con, "live_session"))
            _, new_sessions = sessions.known_or_made(con, entry, [reading.session for reading in own])
            first = next_id(con, "reading")
            numbers = list(range(first, first + len(made)))
            self._add_readings(con, entry, own, numbers)
            measurements.add(con, entry, zip(numbers, [how for _, how in made], strict=True))
            _add_files(con, entry, files)
            for file in files:  # last, so that a refused reading leaves no file behind
                attachments.save_file(self.files_folder, file.path, file.sha256)
            told = _told(made, files, subject, new_sessions)
            return journal.close(con, entry, "measurement", told, subject=subject), numbers

    def recompute(self, changes: Sequence[tuple[int, float, Computation]], summary: str, subject: str = "") -> Entry:
        """Store further versions of computed readings; those before stay in the history.

        Parameters
        ----------
        changes : sequence of (int, float, Computation)
            Number of a reading, its new value, and how that was computed.
        summary, subject : str
            For the journal.

        Raises
        ------
        DataError
            If a reading does not exist, or its new value is not allowed.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            defined = definitions.load(con)
            for number, value, _ in changes:
                readings.new_version(con, entry, number, {"value": value}, defined, is_computed=True)
            measurements.add(con, entry, [(number, how) for number, _, how in changes])
            return journal.close(con, entry, "correction", summary, subject=subject)

    def computations(self) -> list[dict[str, Any]]:
        """Return the computed readings that count: id, variant, outcome, value, filename, path, computation."""
        with self._reading() as con:
            return measurements.load(con, definitions.load(con), self.files_folder)

    def takes_read(self, variant: str) -> dict[tuple[str, str], int]:
        """Return the readings of a variant that takes gave, by outcome and hash, also those whose value was put in since."""
        with self._reading() as con:
            names = {identity: outcome.name for identity, outcome in definitions.load(con).outcomes().items()}
            rows = fetch(con, statement("takes_read"), [variant])
        return {(names[row["outcome"]], row["sha256"]): row["id"] for row in rows if row["outcome"] in names}

    @staticmethod
    def _add_readings(con: duckdb.DuckDBPyConnection, entry: int, new: Sequence[Reading], numbers: list[int]) -> None:
        readings.check_built(con, [item.variant for item in new])
        new = readings.with_known_raters(new, readings.raters(con))
        ids = readings.Ids(*(names_to_ids(con, f"live_{what}") for what in ("variant", "session", "unit")))
        readings.add(con, entry, new, definitions.load(con), ids, numbers)


def _add_files(con: duckdb.DuckDBPyConnection, entry: int, files: Sequence[KeptFile]) -> None:
    """Note the files that their variant does not have yet."""
    owners = names_to_ids(con, "live_variant")
    there = set(con.execute("SELECT variant, sha256, note FROM live_attachment").fetchall())
    rows = []
    for file in files:
        owner = known(owners, file.variant, "Variant")
        if (owner, file.sha256, file.note) in there:
            continue
        there.add((owner, file.sha256, file.note))
        rows.append(
            {
                "variant": owner,
                "filename": attachments.clean_name(file.path.name),
                "sha256": file.sha256,
                "size": file.path.stat().st_size,
                "note": file.note,
            }
        )
    attachments.add(con, entry, rows)


def _told(
    made: Sequence[tuple[Reading, Computation]], files: Sequence[KeptFile], subject: str, new_sessions: list[str]
) -> str:
    takes = counted(sum(file.variant is not None for file in files), "take")
    also = f" (new session {listed(new_sessions, 'and')})" if new_sessions else ""
    if not made:
        return f"kept {takes} of variant {subject}"
    names = listed(dict.fromkeys(reading.outcome for reading, _ in made), "and")
    return f"measured {names} of variant {subject} from {takes}{also}"
