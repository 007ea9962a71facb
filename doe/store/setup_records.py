"""The part of a project file that keeps the definitions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from doe.model.errors import listed
from doe.model.setup import Setup
from doe.store import attachments, definitions, integrity, journal, renamed
from doe.store.definitions import Record
from doe.store.journal import Entry
from doe.store.opened import Opened

if TYPE_CHECKING:
    import duckdb


class SetupRecords(Opened):
    """Reads and changes the definitions."""

    def setup(self) -> Setup:
        """Return the definitions as they are now."""
        with self._reading() as con:
            return definitions.load(con).setup()

    def change_setup(
        self,
        kind: str,
        value: Record | str | None,
        name: str | None = None,
        was: object = None,
        files: Sequence[tuple[str, bytes]] = (),
    ) -> Entry:
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
        files : sequence of (str, bytes)
            Name and content of files that an outcome's recipe names; kept in the same entry, which takes both back.

        Raises
        ------
        UsageError
            If the kind or name is unknown, the name taken, or the definitions would contradict each other.
        DataError
            If variants or readings on record do not fit the new definition.
        StoreError
            If the folder of attachments cannot be written.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            label, summary = definitions.change(con, entry, kind, value, name, was)
            if name is not None and label != name:
                renamed.follow(con, entry, kind, name, label)
            integrity.refuse_misfits(con)
            if files:  # last, so that a refused definition leaves no file behind
                summary += f"; kept {listed(self._keep_files(con, entry, files), 'and')} for its recipe"
            return journal.close(con, entry, "setup", summary, subject=label)

    def _keep_files(self, con: duckdb.DuckDBPyConnection, entry: int, files: Sequence[tuple[str, bytes]]) -> list[str]:
        """Keep files for recipes to name, and return their names."""
        rows = [
            {
                "variant": None,
                "filename": attachments.clean_name(name),
                "sha256": attachments.save(self.files_folder, data),
                "size": len(data),
                "note": attachments.FOR_RECIPE,
            }
            for name, data in files
        ]
        attachments.add(con, entry, rows)
        return [str(row["filename"]) for row in rows]
