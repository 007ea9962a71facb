"""Two people at the same record: noticed, told, and nothing lost."""

from __future__ import annotations

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import Any


class Conflict(Exception):  # noqa: N818
    """Somebody else changed what was being edited.

    Parameters
    ----------
    rows : tuple of (str, str, str)
        Field, what stands there now, what was typed; where the two differ.
    """

    def __init__(self, rows: tuple[tuple[str, str, str], ...]) -> None:
        self.rows = rows
        super().__init__("Somebody else changed this meanwhile.")


def seen_mark(record: Any) -> str:
    """Return a mark of a record as it was shown."""
    return sha256(json.dumps(record, sort_keys=True, default=str).encode()).hexdigest()[:20]


def check_unchanged(seen: str, now: str, present: Mapping[str, str], typed: Mapping[str, str]) -> None:
    """Check that a record is still what the form showed.

    Parameters
    ----------
    seen, now : str
        Marks of the record as it was shown and as it is.
    present, typed : mapping of str to str
        The fields as they are, and as they were typed.

    Raises
    ------
    Conflict
        If they differ; the form comes back with both versions.
    """
    if seen == now:
        return
    raise Conflict(
        tuple((name, present.get(name, ""), value) for name, value in typed.items() if present.get(name, "") != value)
    )
