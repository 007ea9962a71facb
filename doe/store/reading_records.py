"""The part of a project file that keeps sessions and readings, and takes whole logs in."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from doe.model.errors import DataError
from doe.model.records import Reading, Session, Unit, Variant
from doe.model.slips import Seen
from doe.model.wording import counted
from doe.store import definitions, frames, journal, readings, sessions, tally, units, variants
from doe.store.definitions import Definitions
from doe.store.journal import Entry
from doe.store.kept import find, names_to_ids
from doe.store.opened import Opened
from doe.store.rows import fetch, statement
from doe.store.tally import Tally

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


class ReadingRecords(Opened):
    """Takes in, corrects and lists sessions and readings."""

    def add_session(self, session: Session) -> Entry:
        """Take a session in.

        Raises
        ------
        DataError
            If the name is taken, also in other capitals or by a prepared session.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            sessions.add(con, entry, [session], names_to_ids(con, "live_session"))
            return journal.close(con, entry, "session", f"added session {session.name}", subject=session.name)

    def sessions(self) -> list[Session]:
        """Return the sessions in the order in which they came."""
        with self._reading() as con:
            return sessions.load(con)

    def add_readings(self, new: Sequence[Reading]) -> Entry:
        """Store readings as they were taken; a session named for the first time is taken in with them.

        Raises
        ------
        DataError
            If there are none, one names something unknown, or a value is not allowed; nothing is stored then.
        """
        if not new:
            raise DataError("There is no reading to store; give at least one outcome with its value.")
        with self._writing() as con:
            entry = journal.begin(con)
            defined = definitions.load(con)
            new = readings.with_known_raters(new, readings.raters(con))
            new = sessions.with_known(new, names_to_ids(con, "live_session"))
            session_ids, unknown = sessions.known_or_made(con, entry, [item.session for item in new])
            variant_ids = names_to_ids(con, "live_variant")
            readings.check_built(con, readings.variants_of(new))
            ids = readings.Ids(variant_ids, session_ids, names_to_ids(con, "live_unit"))
            readings.add(con, entry, new, defined, ids)
            subject = new[0].variant if len({item.variant for item in new}) == 1 else ""
            return journal.close(con, entry, "readings", readings.told(new, unknown), subject=subject)

    def correct_reading(
        self,
        reading: int,
        *,
        value: object = None,
        note: str | None = None,
        variant: str | None = None,
        session: str | None = None,
        rater: str | None = None,
    ) -> Entry:
        """Store a corrected version of a reading; the one before stays in the history.

        Parameters
        ----------
        reading : int
            Its number.
        value : object, optional
            As typed.
        note, variant, session, rater : str, optional
            What it should say; a session that is not known yet is made, an empty session or rater means none. A rater
            and a session are spelled as in other readings.

        Raises
        ------
        DataError
            If there is no such reading, the value is not allowed, the variant is unknown or not built, or nothing changed.
        """
        given = {"value": value, "note": note}
        changes: dict[str, object] = {key: item for key, item in given.items() if item is not None}
        with self._writing() as con:
            entry, defined = journal.begin(con), definitions.load(con)
            if rater is not None:
                changes["rater"] = _known_rater(con, rater, but=reading)
            if session is not None:
                name = sessions.spelled_in(session, names_to_ids(con, "live_session"))
                ids, _ = sessions.known_or_made(con, entry, [name])
                changes["session"] = ids.get(name or "")
            if variant is not None:
                changes |= _on_variant(con, defined, variant)
            subject, summary = readings.new_version(con, entry, reading, changes, defined)
            return journal.close(con, entry, "correction", summary, subject=subject)

    def withdraw_reading(self, reading: int) -> Entry:
        """Withdraw one reading; it stays in the history.

        Raises
        ------
        DataError
            If there is no such reading.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            subject, summary = readings.new_version(con, entry, reading, {"withdrawn": True}, definitions.load(con))
            return journal.close(con, entry, "withdrawal", summary, subject=subject)

    def readings(self, variant: str | None = None, number: int | None = None) -> list[dict[str, Any]]:
        """Return the readings in the order in which they came, one dict each.

        Keys: id, variant, outcome, value, versus, session, rater, order, unit, when, note.

        Parameters
        ----------
        variant : str, optional
            Only those in which this variant takes part, as one of two in comparisons.
        number : int, optional
            Only the one with this id, if there is any.
        """
        with self._reading() as con:
            return readings.load(con, definitions.load(con), variant=variant, number=number)

    def seen(self, outcome: str, but: Sequence[int] = ()) -> Seen:
        """Return how far the readings of one outcome reach, some of them left out."""
        with self._reading() as con:
            ids = {item.name: identity for identity, item in definitions.load(con).outcomes().items()}
            (row,) = fetch(con, statement("seen"), [ids[outcome], list(but)])
        return Seen(row["number"], row["low"] or 0.0, row["high"] or 0.0)

    def raters(self) -> list[str]:
        """Return who judged, each as spelled at first, in the order in which they first did."""
        with self._reading() as con:
            return readings.raters(con)

    def tally(self) -> Tally:
        """Return how many readings there are of what, in which sessions and by whom."""
        with self._reading() as con:
            return tally.load(con, definitions.load(con))

    def reading_times(self) -> dict[int, datetime]:
        """Return when each reading came, by its id: when it was put on record, or taken, where that was well before."""
        with self._reading() as con:
            rows = fetch(con, statement("reading_times"))
        return {
            row["id"]: row["done_at"] if row["taken"] is None else _came(row["done_at"], row["taken"]) for row in rows
        }

    def last_reading_at(self) -> datetime | None:
        """Return when the last reading was taken (or entered, where none says when), None without readings."""
        with self._reading() as con:
            return readings.last_time(con)

    def refuse_imported(self, source: str, digest: str) -> None:
        """Stop a file that was imported already, before its cells are looked at.

        Raises
        ------
        DataError
            Naming the entry that holds it.
        """
        with self._reading() as con:
            journal.refuse_second_import(con, source, digest)

    def import_rows(
        self,
        new_variants: Sequence[Variant],
        new_sessions: Sequence[Session],
        new_units: Sequence[Unit],
        new_readings: Sequence[Reading],
        *,
        source: str,
        digest: str | None = None,
    ) -> Entry:
        """Store a whole log as one entry, all of it or nothing.

        Parameters
        ----------
        new_variants, new_sessions, new_units, new_readings
            What the log holds; sessions and units that are in the project already are taken as the same.
        source : str
            Name of the file, for the journal.
        digest : str, optional
            Hash of the file, so that it is not taken in twice.

        Raises
        ------
        DataError
            If there is nothing in it, the file was imported before, or a record is not allowed.
        """
        if not new_variants and not new_readings:
            raise DataError(f"{source} holds no variant and no reading; nothing was stored.")
        with self._writing() as con:
            entry = journal.begin(con)
            journal.refuse_second_import(con, source, digest)
            defined = definitions.load(con)
            setup = defined.setup()
            unit_ids, session_ids = names_to_ids(con, "live_unit"), names_to_ids(con, "live_session")
            unit_ids = units.add(
                con, entry, [item for item in new_units if item.name not in unit_ids], defined, unit_ids
            )
            session_ids = sessions.add(con, entry, sessions.unknown(new_sessions, session_ids), session_ids)
            new_readings = sessions.with_known(new_readings, session_ids)
            checked = [variants.checked(item, setup) for item in new_variants]
            ids = variants.add(con, entry, checked, defined, names_to_ids(con, "live_variant"), unit_ids)
            new_readings = readings.with_known_raters(new_readings, readings.raters(con))
            readings.check_built(con, readings.variants_of(new_readings))
            readings.add(con, entry, new_readings, defined, readings.Ids(ids, session_ids, unit_ids))
            told = f"{counted(len(checked), 'variant')} and {counted(len(new_readings), 'reading')}"
            return journal.close(con, entry, "import", f"imported {told} from {source}", subject=source, digest=digest)

    def readings_frame(self) -> pd.DataFrame:
        """Return one row per reading with its variant's settings; columns as `frames.of_readings` lists them."""
        with self._reading() as con:
            defined = definitions.load(con)
            rows, kept = readings.load(con, defined), variants.load(con, defined)
        return frames.of_readings(rows, [item.record for item in kept], defined.setup().factors)


def _known_rater(con: duckdb.DuckDBPyConnection, name: str, but: int) -> str | None:
    """Return a rater as other readings spell the name, None for nobody."""
    (found,) = readings.with_known_raters([Reading("", "", 0.0, rater=name)], readings.raters(con, but))
    return found.rater


def _on_variant(con: duckdb.DuckDBPyConnection, defined: Definitions, name: str) -> dict[str, object]:
    """Return the columns of a reading that go with its variant."""
    kept = find(variants.load(con, defined), name, "Variant")
    readings.check_built(con, [kept.record.name])
    unit = kept.record.unit
    return {"variant": kept.id, "unit": names_to_ids(con, "live_unit")[unit] if unit is not None else None}


def _came(recorded: datetime, taken: datetime) -> datetime:
    """Return the earlier of two times; one that is kept to the second means some time in that second."""
    if taken >= recorded:
        return recorded
    return taken if taken.microsecond else min(recorded, taken + timedelta(seconds=1))
