"""Readings: raw values, by whom or what, when, and in which session."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, NamedTuple

import duckdb

from doe.model.errors import DataError, listed
from doe.model.names import check_label
from doe.model.outcome import Outcome
from doe.model.planned import not_built
from doe.model.records import Reading
from doe.model.wording import compared, counted, rounded
from doe.store import measurements
from doe.store.definitions import Definitions
from doe.store.kept import UNCHANGED, known
from doe.store.rows import bench_time, fetch, insert, next_id, statement

COLUMNS = ("id", "variant", "outcome", "value", "versus", "session", "rater", "order", "unit", "when", "note")


def load(
    con: duckdb.DuckDBPyConnection,
    definitions: Definitions,
    *,
    variant: str | None = None,
    number: int | None = None,
    only_last: bool = False,
) -> list[dict[str, Any]]:
    """Read the readings that count, one dict each with the keys of `COLUMNS`.

    Parameters
    ----------
    con, definitions
        Where from, and how outcomes are named.
    variant : str, optional
        Only those in which this variant takes part.
    number : int, optional
        Only the reading with this id.
    only_last : bool
        Only the last one.
    """
    names = {identity: outcome.name for identity, outcome in definitions.outcomes().items()}
    sql = statement("readings")
    values: list[object] = []
    if variant is not None:
        sql, values = f"SELECT * FROM ({sql}) WHERE variant = $1 OR versus = $1", [variant]
    elif number is not None:
        sql, values = f"SELECT * FROM ({sql}) WHERE id = $1", [number]
    elif only_last:
        sql = f"SELECT * FROM ({sql}) ORDER BY id DESC LIMIT 1"
    rows = fetch(con, sql, values)
    return [{**{key: row[key] for key in COLUMNS}, "outcome": names[row["outcome"]]} for row in rows]


def raters(con: duckdb.DuckDBPyConnection, but: int | None = None) -> list[str]:
    """Return who judged, each as spelled at first, in that order; one reading may be left out."""
    spelled: dict[str, str] = {}
    for (rater,) in con.execute(statement("raters"), [but]).fetchall():
        as_spelled(rater, spelled)
    return list(spelled.values())


def as_spelled(rater: str, spelled: dict[str, str]) -> str:
    """Return a rater as spelled at first, which is kept in `spelled`; capitals and outer blanks make no other person."""
    return spelled.setdefault(rater.strip().casefold(), rater)


def with_known_raters(readings: Sequence[Reading], known_raters: Iterable[str]) -> list[Reading]:
    """Return the readings with raters as they were spelled at first.

    Raises
    ------
    UsageError
        If a new rater's name is no text on one line, or longer than 80 characters.
    """
    spelled: dict[str, str] = {}
    for rater in known_raters:
        as_spelled(rater, spelled)
    known = set(spelled)
    found = []
    for reading in readings:
        own = as_spelled((reading.rater or "").strip(), spelled) or None
        if own is not None and own.casefold() not in known:
            check_label("Rater", own, 80)
        found.append(reading if own == reading.rater else replace(reading, rater=own))
    return found


def checked(reading: Reading, outcomes: Mapping[str, Outcome]) -> Reading:
    """Return the reading with its value as the outcome reads it.

    Raises
    ------
    DataError
        If the outcome is unknown, the value off its scale, or a comparison lacks its second variant.
    """
    if reading.outcome not in outcomes:
        known(dict.fromkeys(outcomes, 0), reading.outcome, "Outcome")
    outcome = outcomes[reading.outcome]
    if outcome.kind == "compared":
        if reading.versus is None or reading.versus == reading.variant:
            raise DataError(f"{outcome.name} of variant {reading.variant} compares two variants; name the other one.")
    elif reading.versus is not None:
        raise DataError(f"{outcome.name} is {outcome.kind}; only compared outcomes have a second variant.")
    try:
        value = outcome.read(reading.value)
    except DataError as err:
        raise DataError(f"Variant {reading.variant}: {err}") from None
    return replace(reading, value=value, when=bench_time(reading.when))


class Ids(NamedTuple):
    """Ids by name of what readings may speak of."""

    variants: Mapping[str, int]
    sessions: Mapping[str, int]
    units: Mapping[str, int]


def add(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    readings: Sequence[Reading],
    definitions: Definitions,
    ids: Ids,
    numbers: Sequence[int] | None = None,
) -> None:
    """Store readings.

    Parameters
    ----------
    con, entry, definitions
        Where and under which entry.
    readings : sequence of Reading
        In the order to be kept.
    ids : Ids
        Known names.
    numbers : sequence of int, optional
        Ids to keep (an export that is read back).

    Raises
    ------
    DataError
        If a reading names something unknown, or its value is not allowed.
    """
    outcome_ids = {outcome.name: identity for identity, outcome in definitions.outcomes().items()}
    outcomes = {outcome.name: outcome for outcome in definitions.outcomes().values()}
    first = next_id(con, "reading")
    rows = []
    for place, typed in enumerate(readings):
        reading = checked(typed, outcomes)
        links = {
            "variant": known(ids.variants, reading.variant, "Variant"),
            "outcome": outcome_ids[reading.outcome],
            "versus": known(ids.variants, reading.versus, "Variant"),
            "session": known(ids.sessions, reading.session, "Session"),
            "unit": known(ids.units, reading.unit, "Unit"),
        }
        identity = numbers[place] if numbers is not None else first + place
        rows.append(_row(identity, entry, reading, links))
    insert(con, "reading", rows)


def _row(identity: int, entry: int, reading: Reading, links: Mapping[str, int | None]) -> dict[str, object]:
    return {
        "id": identity,
        "entry": entry,
        "replaces": None,
        "withdrawn": False,
        **links,
        "value": float(reading.value),
        "rater": reading.rater,
        "order": reading.order,
        "when": reading.when,
        "note": reading.note,
    }


def variants_of(readings: Iterable[Reading]) -> list[str | None]:
    """Return the variants that readings name, the second ones of comparisons too."""
    return [name for item in readings for name in (item.variant, item.versus)]


def check_built(con: duckdb.DuckDBPyConnection, names: Iterable[str | None]) -> None:
    """Refuse readings of a variant that is only planned.

    Raises
    ------
    DataError
        Naming the first such variant.
    """
    planned = {row[0] for row in con.execute("SELECT name FROM live_variant WHERE status = 'planned'").fetchall()}
    for name in names:
        if name in planned:
            raise not_built(str(name), "taking readings of it")


def new_version(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    identity: int,
    changes: Mapping[str, object],
    definitions: Definitions,
    *,
    is_computed: bool = False,
) -> tuple[str, str]:
    """Correct or withdraw one reading; return its variant's name and what changed, for the journal.

    A value that stays is told as computed as before; with `is_computed` the caller tells anew how it was computed.

    Raises
    ------
    DataError
        If there is no such reading, the value is not allowed, or a correction changes nothing.
    """
    rows = fetch(con, "SELECT * FROM live_reading WHERE id = $1", [identity])
    outcomes = definitions.outcomes()
    if not rows or rows[0]["outcome"] not in outcomes:
        raise _missing(con, identity)
    old = rows[0]
    outcome = outcomes[old["outcome"]]
    new = {**old, **changes}
    if new["versus"] is not None and new["versus"] == new["variant"]:
        raise DataError(f"Reading {identity} compares two variants; it cannot be of both sides of one.")
    if new["variant"] != old["variant"] and measurements.is_computed(con, identity, old["entry"]):
        raise DataError(
            f"Reading {identity} was computed from a file that is kept with its variant; withdraw it, and measure the file "
            "for the right one."
        )
    new["value"] = outcome.read(new["value"])
    insert(con, "reading", [{**new, "entry": entry, "replaces": old["entry"]}])
    if not is_computed and new["value"] == old["value"]:
        measurements.carry_over(con, identity, old["entry"], entry)
    variant = _name_of(con, "variant", new)
    against = f" against {_name_of(con, 'versus', new)}" if new["versus"] is not None else ""
    what = f"reading {identity} ({outcome.name} of variant {variant}{against})"
    if new["withdrawn"]:
        return variant, f"withdrew {what}: {_value_of(old)}"
    told = [f"{_value_of(old)} -> {_value_of(new)}"] if old["value"] != new["value"] else []
    told += [f"{name} {_name_of(con, name, old)} -> {_name_of(con, name, new)}"
             for name in ("variant", "session", "rater") if old[name] != new[name]]  # fmt: skip
    told += [f"note '{old['note']}' -> '{new['note']}'"] if old["note"] != new["note"] else []
    if not told and not is_computed:
        raise DataError(UNCHANGED)
    return variant, f"corrected {what}: {', '.join(told)}"


def _value_of(row: Mapping[str, Any]) -> str:
    return _value(row["value"]) if row["versus"] is None else compared(row["value"])


def _missing(con: duckdb.DuckDBPyConnection, identity: int) -> DataError:
    """Say that there is no such reading, or that it was withdrawn."""
    found = con.execute(statement("withdrawn_reading"), [identity]).fetchone()
    if found is None:
        return DataError(f"There is no reading {identity} in this project; the readings are listed with their numbers.")
    return DataError(
        f"Reading {identity} was withdrawn with entry {found[0]} of the history; take that back to have it again.",
        command=f"'fettle undo {found[0]}' does so",
    )


def _name_of(con: duckdb.DuckDBPyConnection, what: str, row: Mapping[str, Any]) -> str:
    if row[what] is None:
        return "none"
    if what == "rater":
        return str(row[what])
    view = "live_variant" if what == "versus" else f"live_{what}"
    found = con.execute(f"SELECT name FROM {view} WHERE id = $1", [row[what]]).fetchone()
    return str(found[0]) if found else "?"


def withdraw_of_variant(con: duckdb.DuckDBPyConnection, entry: int, variant: int) -> int:
    """Withdraw all readings in which a variant takes part, and return their number."""
    rows = fetch(con, "SELECT * FROM live_reading WHERE variant = $1 OR versus = $1", [variant])
    insert(con, "reading", [{**row, "entry": entry, "replaces": row["entry"], "withdrawn": True} for row in rows])
    return len(rows)


def last_time(con: duckdb.DuckDBPyConnection) -> datetime | None:
    """Return the latest time of a reading, else when the latest one was entered, None without readings."""
    row = con.execute(statement("last_reading")).fetchone()
    return row[0] if row else None


def told(readings: Sequence[Reading], new_sessions: Sequence[str]) -> str:
    """Tell new readings in one line: up to four with their values, more by their number."""
    also = f" (new session {', '.join(new_sessions)})" if new_sessions else ""
    session = readings[0].session
    where = f" in session {session}" if session and all(item.session == session for item in readings) else ""
    where = f"{_by(readings)}{where}"
    if len(readings) > 4:
        return f"{counted(len(readings), 'reading')}{where}{also}"
    of_one = len({item.variant for item in readings}) == 1 and all(item.versus is None for item in readings)
    shown = [_short(item) if of_one else _as_read(item) for item in readings]
    of = f" of variant {readings[0].variant}" if of_one else ""
    return f"read {', '.join(shown)}{of}{where}{also}"


def _short(item: Reading) -> str:
    return f"{item.outcome} {_value(item.value)}"


def _as_read(item: Reading) -> str:
    if item.versus is None:
        return f"{_short(item)} of variant {item.variant}"
    if item.value == 0.5:
        return f"{item.outcome} of variants {item.variant} and {item.versus} alike"
    return f"{item.outcome} of variant {item.variant} {compared(item.value)} than of variant {item.versus}"


def _by(readings: Sequence[Reading]) -> str:
    raters = list(dict.fromkeys(item.rater or "" for item in readings))
    if "" in raters:
        return ""
    return f" by {listed(raters, 'and')}" if len(raters) <= 3 else f" by {len(raters)} raters"


def _value(value: float) -> str:
    return rounded(value)
