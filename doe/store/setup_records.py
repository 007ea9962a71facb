"""The part of a project file that keeps the definitions."""

from __future__ import annotations

from doe.model.setup import Setup
from doe.store import definitions, integrity, journal
from doe.store.definitions import Record
from doe.store.journal import Entry
from doe.store.opened import Opened


class SetupRecords(Opened):
    """Reads and changes the definitions."""

    def setup(self) -> Setup:
        """Return the definitions as they are now."""
        with self._reading() as con:
            return definitions.load(con).setup()

    def change_setup(self, kind: str, value: Record | str | None, name: str | None = None, was: object = None) -> Entry:
        """Add, replace or remove one definition.

        Parameters
        ----------
        kind : {"factor", "outcome", "limit", "derived", "expectation", "effort", "title", "question"}
            What it is.
        value : Factor, Outcome, Limit, Derived, Expectation, Effort, str or None
            The new definition; None removes the one called `name`.
        name : str, optional
            The definition to replace or remove (a limit by its rule, an expectation as ``wool on echo``);
            without it one is added.
        was : setting, optional
            A factor that comes after variants have been logged: the setting that they all had.

        Raises
        ------
        UsageError
            If the kind or name is unknown, the name taken, or the definitions would contradict each other.
        DataError
            If variants or readings on record do not fit the new definition.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            label, summary = definitions.change(con, entry, kind, value, name, was)
            integrity.refuse_misfits(con)
            return journal.close(con, entry, "setup", summary, subject=label)
