"""Advice on record: what was suggested, with its prediction, to be held against what came."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import duckdb

from doe.model.errors import UsageError
from doe.model.wording import setting
from doe.store.rows import fetch, insert, next_id


def add(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    bodies: Sequence[tuple[datetime, Mapping[str, Any]]],
    numbers: Sequence[int] | None = None,
) -> None:
    """Store suggestions, each with the time it was made, under ids to keep if there are any.

    Raises
    ------
    UsageError
        If one holds something that JSON cannot.
    """
    first = next_id(con, "suggestion")
    head = {"entry": entry, "replaces": None, "withdrawn": False}
    insert(
        con,
        "suggestion",
        [
            {
                "id": numbers[place] if numbers is not None else first + place,
                **head,
                "made_at": at,
                "body": to_text(body),
            }
            for place, (at, body) in enumerate(bodies)
        ],
    )


def load(con: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Read the suggestions that count, oldest first: their own keys, and `id` and `at`."""
    rows = fetch(con, "SELECT id, made_at, body FROM live_suggestion ORDER BY id")
    return [{**json.loads(row["body"]), "id": row["id"], "at": row["made_at"]} for row in rows]


def to_text(body: Mapping[str, Any]) -> str:
    """Return a suggestion as JSON; what is not finite becomes null, array numbers plain ones.

    Raises
    ------
    UsageError
        If it holds something that JSON cannot.
    """
    try:
        return json.dumps(_plain(body), ensure_ascii=False, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError):
        raise UsageError(
            "A suggestion must be a table of numbers and text, of lists and tables of these; something else stands in it."
        ) from None


def told(body: Mapping[str, Any]) -> str:
    """Tell a suggestion in one line: its kind and what it sets, or why it was set aside, as far as it says so."""
    settings = body.get("settings")
    pairs = settings.items() if isinstance(settings, Mapping) else ()
    changes = ", ".join(f"{key} {setting(value)}" for key, value in pairs)
    where = {None: "", "new": " as a new unit"}.get(body.get("unit"), f" on {body.get('unit')}")
    if body.get("why"):
        return f"set a suggestion aside ({body['why']}){': ' if changes else ''}{changes}"
    return f"suggested {body.get('kind', 'a change')}{where}{': ' if changes else ''}{changes}"


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        return value.isoformat()
    if hasattr(value, "tolist"):  # a numpy scalar or array, without importing numpy
        return _plain(value.tolist())
    return None if isinstance(value, float) and not math.isfinite(value) else value
