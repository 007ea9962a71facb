"""The part of a project file that keeps units and variants."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby, takewhile
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from doe.model.errors import NoVariant
from doe.model.records import Unit, Variant
from doe.model.wording import counted
from doe.store import definitions, frames, journal, readings, settled, units, variants
from doe.store.journal import Entry
from doe.store.kept import find, names_to_ids
from doe.store.opened import Opened
from doe.store.rows import fetch, statement

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


class BuildRecords(Opened):
    """Takes in, corrects and lists units and variants."""

    def add_unit(self, unit: Unit) -> Entry:
        """Take a physical object into the project; its settings are those it has now, if any.

        Raises
        ------
        DataError
            If the name is taken, or a setting not allowed.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            units.add(con, entry, [unit], definitions.load(con), names_to_ids(con, "live_unit"))
            return journal.close(con, entry, "unit", f"added unit {unit.name}", subject=unit.name)

    def retire_unit(self, name: str) -> Entry:
        """Mark a unit as one that can no longer be worked on.

        Raises
        ------
        DataError
            If it is unknown, or retired already.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            units.retire(con, entry, name, definitions.load(con))
            return journal.close(con, entry, "unit", f"retired unit {name}", subject=name)

    def units(self) -> list[Unit]:
        """Return the units with their present settings and the variant each carries."""
        with self._reading() as con:
            defined = definitions.load(con)
            return [kept.record for kept in units.load(con, defined, variants.load(con, defined))]

    def add_variant(self, variant: Variant, *, number_on: bool = False, new_unit: Unit | None = None) -> Entry:
        """Log one variant.

        Parameters
        ----------
        variant : Variant
            With a setting for every factor, or with none for a reference object.
        number_on : bool
            Whether to name it by the next free number instead of its own name; `Entry.subject` tells which.
        new_unit : Unit, optional
            A unit made for it, taken in with the same entry.

        Raises
        ------
        DataError
            If the name is taken, a setting not allowed, a limit broken, the parent or unit unknown, or the unit cannot
            be changed that way.
        """
        with self._writing() as con:
            return put_variant(con, variant, number_on=number_on, new_unit=new_unit)

    def correct_variant(self, name: str, /, **changes: Any) -> Entry:
        """Store a corrected version of a variant; the one before stays in the history.

        Parameters
        ----------
        name : str
            The variant.
        **changes
            Fields of `Variant`; of `settings` only what changes.

        Raises
        ------
        UsageError
            If a field is unknown.
        DataError
            If the variant is unknown, its new name taken, a value not allowed, or nothing changed.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            defined = definitions.load(con)
            new_name, summary = variants.correct(con, entry, variants.load(con, defined), name, changes, defined)
            if new_name != name:
                summary += definitions.carry_along(con, entry, "variant", name, new_name, defined)
            return journal.close(con, entry, "correction", summary, subject=new_name)

    def withdraw_variant(self, name: str) -> Entry:
        """Withdraw a variant with its readings; what was changed from it then counts as changed from its parent.

        Raises
        ------
        DataError
            If the variant is unknown, or a settled version stands on it.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            defined = definitions.load(con)
            kept = variants.load(con, defined)
            own = find(kept, name, "Variant")
            settled.refuse_withdrawal(con, own.id, name)
            count = readings.withdraw_of_variant(con, entry, own.id)
            variants.withdraw(con, entry, kept, name, defined)
            also = f" with {counted(count, 'reading')}" if count else ""
            return journal.close(con, entry, "withdrawal", f"withdrew variant {name}{also}", subject=name)

    def took_out(self, name: str) -> Entry | None:
        """Return the entry by which no variant is called so any more; None where none ever was, or the one that was still is.

        It withdrew or renamed the variant, or took back what had logged it; taken back itself, it brings the variant in again.
        """
        with self._reading() as con:
            rows = fetch(con, statement("versions_of_variant"), [name])
            entries = {entry.id: entry for entry in journal.history(con)} if rows else {}
        for _, versions in groupby(rows, key=itemgetter("id")):
            written = list(versions)
            count = [row for row in written if row["counts"]]
            if not count:
                return entries.get(entries[written[-1]["entry"]].taken_back_by or 0)
            since = list(takewhile(lambda row: row["name"] != name, count))
            if count[0]["withdrawn"] or since:
                return entries[since[-1]["entry"] if since else count[0]["entry"]]
        return None

    def with_way_back(self, err: NoVariant) -> NoVariant:
        """Return the refusal of a variant that was taken out with the entry that did so; that of another as it is."""
        entry = self.took_out(err.variant)
        if entry is None:
            return err
        did = entry.summary if entry.takes_back is None else f"took back entry {entry.takes_back}"
        told = f"There is no variant '{err.variant}' any more: entry {entry.id} {did}."
        return NoVariant(err.variant, told, command=f"'fettle undo {entry.id}' brings it back", entry=entry.id)

    def variants(self) -> list[Variant]:
        """Return the variants in the order in which they were built, then what is planned."""
        with self._reading() as con:
            return [kept.record for kept in variants.load(con, definitions.load(con))]

    def variants_frame(self) -> pd.DataFrame:
        """Return one row per variant with its settings."""
        with self._reading() as con:
            defined = definitions.load(con)
            kept = variants.load(con, defined)
        return frames.of_variants([item.record for item in kept], defined.setup().factors)

    def units_frame(self) -> pd.DataFrame:
        """Return one row per unit with its present settings."""
        with self._reading() as con:
            defined = definitions.load(con)
            kept = units.load(con, defined, variants.load(con, defined))
        return frames.of_units([item.record for item in kept], defined.setup().factors)


def put_variant(
    con: duckdb.DuckDBPyConnection, variant: Variant, *, number_on: bool = False, new_unit: Unit | None = None
) -> Entry:
    """Store one variant within a transaction; see `BuildRecords.add_variant`."""
    entry = journal.begin(con)
    defined = definitions.load(con)
    kept = variants.load(con, defined)
    named = replace(variant, name=variants.next_name(con)) if number_on else variant
    new = variants.checked(named, defined.setup())
    unit_ids = names_to_ids(con, "live_unit")
    if new_unit is not None:
        unit_ids = units.add(con, entry, [new_unit], defined, unit_ids)
    ids = {item.record.name: item.id for item in kept}
    variants.add(con, entry, [new], defined, ids, unit_ids)
    if new.unit is not None:
        unit = find(units.load(con, defined, kept), new.unit, "Unit").record
        units.check_change(new, unit, defined.setup().factors)
    parent = find(kept, new.parent, "Parent").record if new.parent is not None else None
    return journal.close(con, entry, "variant", variants.told(new, parent), subject=new.name)
