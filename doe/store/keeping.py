"""The part of a project file that keeps advice, attachments and the journal, and makes copies of it all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import duckdb

from doe.model.errors import UsageError, listed
from doe.store import attachments, backup, integrity, journal, suggestions, tables, transfer
from doe.store.journal import Entry
from doe.store.kept import known, names_to_ids
from doe.store.opened import Opened


class Keeping(Opened):
    """Puts advice and attachments on record, tells the history, takes back, checks, copies and exports."""

    def add_suggestion(self, body: Mapping[str, Any]) -> Entry:
        """Put a suggestion on record, with its prediction.

        Raises
        ------
        UsageError
            If it holds something that JSON cannot.
        """
        return self.add_suggestions([body])[0]

    def add_suggestions(self, bodies: Sequence[Mapping[str, Any]]) -> list[Entry]:
        """Put several suggestions on record, each as an entry of its own, all of them or none.

        Raises
        ------
        UsageError
            If one holds something that JSON cannot.
        """
        if not bodies:
            return []
        with self._writing() as con:
            return [_put_suggestion(con, body) for body in bodies]

    def suggestions(self) -> list[dict[str, Any]]:
        """Return the suggestions on record, oldest first: what each holds, with `id` and `at`."""
        with self._reading() as con:
            return suggestions.load(con)

    def attach(self, variant: str | None, filename: str, data: bytes, note: str = "") -> Entry:
        """Keep a file beside the project, for a variant or for the project as a whole.

        Raises
        ------
        DataError
            If the variant is unknown.
        StoreError
            If the folder of attachments cannot be written.
        """
        return self.attach_all(variant, [(filename, data)], note)

    def attach_all(self, variant: str | None, files: Sequence[tuple[str, bytes]], note: str = "") -> Entry:
        """Keep several files (name and content) in one entry, all of them or none.

        Raises
        ------
        DataError
            If the variant is unknown.
        StoreError
            If the folder of attachments cannot be written.
        """
        named = [(attachments.clean_name(filename), data) for filename, data in files]
        with self._writing() as con:
            entry = journal.begin(con)
            owner = known(names_to_ids(con, "live_variant"), variant, "Variant")
            rows = [
                {
                    "variant": owner,
                    "filename": name,
                    "sha256": attachments.save(self.files_folder, data),
                    "size": len(data),
                    "note": note,
                }
                for name, data in named  # kept last, so that a refused one leaves no file behind
            ]
            attachments.add(con, entry, rows)
            where = f" to variant {variant}" if variant is not None else ""
            what = listed([name for name, _ in named], "and")
            return journal.close(con, entry, "attachment", f"attached {what}{where}", subject=variant or "")

    def attachments(self) -> list[dict[str, Any]]:
        """Return the attachments, one dict each: id, variant, filename, sha256, size, note, path."""
        with self._reading() as con:
            return attachments.load(con, self.files_folder)

    # Journal and safety

    def history(self) -> list[Entry]:
        """Return every entry, oldest first, those taken back included."""
        with self._reading() as con:
            return journal.history(con)

    def take_back(self, entry: int) -> Entry:
        """Let an entry no longer count; taking that back lets it count again.

        Raises
        ------
        DataError
            If there is no such entry, it is taken back already, it began the project, or later entries stand on it.
        """
        with self._writing() as con:
            done = journal.take_back(con, entry)
            integrity.refuse_taking_back(con, entry, done.id)
            return done

    def check(self) -> list[str]:
        """Return what does not fit together, in the records and the attachments; empty if all is sound."""
        with self._reading() as con:
            found = [sentence for _, sentence in integrity.misfits(con)]
            files = attachments.load(con, self.files_folder)
        return found + attachments.problems(files)  # hashing takes long, and others may go on working meanwhile

    def fingerprint(self) -> str:
        """Return a sha256 of everything that counts; row order, ids and entry times play no part."""
        with self._reading() as con:
            return integrity.fingerprint(integrity.content(con, self.files_folder))

    def backup(self, path: str | Path) -> Path:
        """Copy the project with its attachments to another file, while others may go on working.

        Raises
        ------
        StoreError
            If that file exists, or cannot be written.
        """
        backup.copy(self.path, Path(path), self.files_folder)
        return Path(path)

    def export(self, path: str | Path, kind: str = "csv") -> Path:
        """Write everything that counts, and the history, to files that any program reads; `restore` reads them back.

        Parameters
        ----------
        path : str or Path
            A new folder for csv and parquet; a new file for xlsx (attachments in ``<name>.files`` beside it).
        kind : {"csv", "parquet", "xlsx"}
            Kind of file.

        Raises
        ------
        UsageError
            If the kind is none of these.
        StoreError
            If the target exists, or cannot be written.
        """
        if kind not in tables.KINDS_OF_FILE:
            raise UsageError(f"kind is '{kind}'; it must be {listed(tables.KINDS_OF_FILE)}.")
        with self._reading() as con:
            content = transfer.collect(con, self.files_folder)
        transfer.write(content, Path(path), kind)
        return Path(path)


def _put_suggestion(con: duckdb.DuckDBPyConnection, body: Mapping[str, Any]) -> Entry:
    entry = journal.begin(con)
    suggestions.add(con, entry, [(datetime.now(), body)])
    return journal.close(con, entry, "suggestion", suggestions.told(body))
