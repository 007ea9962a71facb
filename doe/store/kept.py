"""Records as the store keeps them: with their ids, and with settings in rows of their own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import duckdb

from doe.model.choices import Value
from doe.model.errors import DataError, or_else
from doe.model.records import Unit, Variant
from doe.model.wording import rounded
from doe.store.definitions import Definitions

Record = TypeVar("Record", Unit, Variant)
UNCHANGED = "Nothing was changed, so nothing is stored."


@dataclass(frozen=True, slots=True)
class Kept(Generic[Record]):
    """A record, with its lasting id and the entry that wrote this version of it."""

    id: int
    entry: int
    record: Record


def find(kept: Sequence[Kept[Record]], name: str, what: str) -> Kept[Record]:
    """Return the record of that name.

    Raises
    ------
    DataError
        If there is none; the nearest name is suggested.
    """
    for item in kept:
        if item.record.name == name:
            return item
    there = or_else(name, [item.record.name for item in kept], "none is known yet")
    raise DataError(f"{what} '{name}' is not in this project{there}")


def known(ids: Mapping[str, int], name: str | None, what: str) -> int | None:
    """Return the id behind a name, None for no name.

    Raises
    ------
    DataError
        If the name is unknown; the nearest one is suggested.
    """
    if name is None:
        return None
    if name not in ids:
        raise DataError(f"{what} '{name}' is not in this project{or_else(name, ids, 'none is known yet')}")
    return ids[name]


class FreeNames:
    """Finds out whether a new name can be told from those that there are, also by who does not look at capitals.

    Parameters
    ----------
    what : str
        Kind of record.
    taken : str
        What is said of a name that another has, such as "logged already".
    names : iterable of str
        Those that there are.
    exact : bool
        Whether capitals tell names apart, as they did in older projects.
    """

    def __init__(self, what: str, taken: str, names: Iterable[str], *, exact: bool = False) -> None:
        self._what, self._taken, self._exact = what, taken, exact
        self._names = {self._folded(name): name for name in names}

    def take(self, name: str) -> None:
        """Take a new name in.

        Raises
        ------
        DataError
            If another record has it, or one that differs in capitals only.
        """
        other = self._names.get(self._folded(name))
        self._names[self._folded(name)] = name
        if other == name:
            raise DataError(f"{self._what} '{name}' is {self._taken}; give it a name of its own.")
        if other is not None:
            raise DataError(
                f"{self._what} '{name}' differs from '{other}' in capitals only; give it a name of its own."
            )

    def _folded(self, name: str) -> str:
        return name if self._exact else name.casefold()


def names_to_ids(con: duckdb.DuckDBPyConnection, view: str) -> dict[str, int]:
    """Return the ids of the records that count, by name."""
    return dict(con.execute(f"SELECT name, id FROM {view} ORDER BY id").fetchall())


def settings_by_holder(con: duckdb.DuckDBPyConnection, holder: str) -> dict[int, dict[int, object]]:
    """Return the settings that count, as holder id -> factor id -> number or level."""
    rows = con.execute("SELECT id, factor, number, level FROM live_setting WHERE holder = $1", [holder]).fetchall()
    found: dict[int, dict[int, object]] = {}
    for identity, factor, amount, level in rows:
        found.setdefault(identity, {})[factor] = amount if amount is not None else level
    return found


def setting_rows(
    entry: int, holder: str, identity: int, settings: Mapping[str, Value], definitions: Definitions
) -> list[dict[str, object]]:
    """Return the rows that hold settings, numbers and levels in columns of their own."""
    ids = {item.name: item.id for item in definitions.of("factor")}
    return [
        {
            "entry": entry,
            "holder": holder,
            "id": identity,
            "factor": ids[name],
            "number": None if isinstance(value, str) else float(value),
            "level": value if isinstance(value, str) else None,
        }
        for name, value in settings.items()
    ]


def shown(value: object) -> str:
    """Write a setting or a field for the journal."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return rounded(value)
    return "-" if value is None or value == "" else str(value)
