"""The part of a project file that keeps settled versions; nothing in it ever changes one."""

from __future__ import annotations

from dataclasses import replace

import duckdb

from doe.model.errors import DataError
from doe.model.settled import SettledVersion
from doe.store import attachments, definitions, integrity, journal, settled, variants
from doe.store.clock import now
from doe.store.journal import Entry
from doe.store.kept import find, names_to_ids
from doe.store.opened import Opened


class SettledRecords(Opened):
    """Settles versions and lists them."""

    def settle_version(self, version: SettledVersion) -> Entry:
        """Freeze a version; its number, settings, lineage, files and time are filled in from the project.

        Parameters
        ----------
        version : SettledVersion
            Name, variant, evidence and note count; the rest is taken from the records as they stand.

        Raises
        ------
        DataError
            If the variant is unknown, only planned or a reference object, or the name is taken.
        """
        with self._writing() as con:
            entry = journal.begin(con)
            built = variants.load(con, definitions.load(con))
            own = find(built, version.variant, "Variant").record
            if own.is_reference or own.status != "built":
                what = "is a reference object without settings" if own.is_reference else "is planned, not built"
                raise DataError(f"Variant '{own.name}' {what}, so it cannot be settled.")
            before = settled.load(con)
            if any(item.name.casefold() == version.name.casefold() for item in before):
                raise DataError(f"A version is called '{version.name}' already; give this one a name of its own.")
            lineage = _lineage(own.name, {item.record.name: item.record.parent for item in built})
            by_variant = {item.variant: item.number for item in before}
            digest = integrity.fingerprint({"readings": integrity.content(con, self.files_folder)["readings"]})
            files = [
                {name: str(row[name]) for name in ("variant", "filename", "sha256")}
                for row in attachments.load(con, self.files_folder)
                if row["variant"] in (own.name, *lineage)
            ]
            whole = replace(
                version,
                number=_next_number(con),
                settings=dict(own.settings),
                lineage=lineage,
                came_from=next((by_variant[name] for name in (own.name, *lineage) if name in by_variant), None),
                readings_sha256=digest,
                files=files,
                at=now(),
            )
            settled.add(con, entry, whole, names_to_ids(con, "live_variant"))
            told = f"settled {whole.title}: variant {own.name}"
            return journal.close(con, entry, "settled", told, subject=own.name)

    def settled_versions(self) -> list[SettledVersion]:
        """Return the settled versions, oldest first."""
        with self._reading() as con:
            return settled.load(con)


def _next_number(con: duckdb.DuckDBPyConnection) -> int:
    """Return the number after the highest one ever given, so that no number means two things."""
    row = con.execute("SELECT coalesce(max(number), 0) + 1 FROM settled").fetchone()
    return int(row[0]) if row else 1


def _lineage(name: str, parents: dict[str, str | None]) -> tuple[str, ...]:
    found: list[str] = []
    parent = parents.get(name)
    while parent is not None and parent not in found:
        found.append(parent)
        parent = parents.get(parent)
    return tuple(found)
