"""Whether everything that counts fits together, and one hash of all of it."""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import duckdb

from doe.model.errors import DataError, FettleError, listed
from doe.model.factor import Factor
from doe.model.names import spelled_alike
from doe.store import (
    attachments,
    definitions,
    engines,
    journal,
    listening,
    measurements,
    plans,
    readings,
    sessions,
    settled,
    suggestions,
    units,
    variants,
)
from doe.store.definitions import Definitions
from doe.store.kept import settings_by_holder
from doe.store.rows import statement

_MOST_NAMED = 12
_SAY = "say what it was before"

Misfit = tuple[int | None, str]
"""The entry that wrote a record that does not fit, and a sentence."""


def misfits(con: duckdb.DuckDBPyConnection) -> list[Misfit]:
    """List what does not fit together, empty for a sound project."""
    defined = definitions.load(con)
    return [
        *_setup(defined),
        *_chains(con),
        *_dangling(con),
        *_unbuilt(con),
        *_names(con),
        *_settings(con, defined),
        *_values(con, defined),
        *attachments.unsound(con),
        *measurements.unsound(con),
    ]


def refuse_misfits(con: duckdb.DuckDBPyConnection) -> None:
    """Stop a change of the definitions that records do not fit; what did not fit before stands in no way.

    Raises
    ------
    DataError
        With the first misfit and how many more there are.
    """
    found = _new(con)
    if found:
        sentence = found[0][1]
        more = f" ({len(found) - 1} more like it)." if len(found) > 1 else ""
        raise DataError(
            f"{sentence.removesuffix('.')}{more}" if more else sentence,
            command="--was SETTING does so" if _SAY in sentence else "",
        )


def refuse_taking_back(con: duckdb.DuckDBPyConnection, target: int, by: int) -> None:
    """Stop an entry from being taken back while later ones stand on it; what did not fit before stands in no way.

    Parameters
    ----------
    con
        The transaction in which it is taken back.
    target, by : int
        The entry, and the one that takes it back.

    Raises
    ------
    DataError
        Naming the entries to take back first, also those that stand on others of them, in an order that works.
    """
    found = _new(con)
    if not found:
        return
    standing: set[int] = set()
    latest = _entries(found) - {target}
    while latest:  # what stood on these is found once they do not count either; all of it goes with the transaction
        standing |= latest
        journal.silence(con, latest, by + 1)
        latest = _entries(_new(con)) - standing - {target}
    first = f"; take back {_in_turn(sorted(standing, reverse=True))}" if standing else ""
    raise DataError(f"Entry {target} cannot be taken back, since other records stand on it{first}: {found[0][1]}")


def _entries(found: Iterable[Misfit]) -> set[int]:
    return {entry for entry, _ in found if entry is not None}


def _in_turn(entries: list[int]) -> str:
    """List entries, the middle of a long list left out."""
    if len(entries) == 1:
        return f"{entries[0]} first"
    few = entries if len(entries) <= _MOST_NAMED else [*entries[: _MOST_NAMED - 1], entries[-1]]
    told = list(map(str, few))
    if len(few) < len(entries):
        told[-1] = f"{len(entries) - len(few) + 1} more, down to {few[-1]}"
    return f"{', '.join(told[:-1])} and {told[-1]} first, in this order"


def _new(con: duckdb.DuckDBPyConnection) -> list[Misfit]:
    """List what does not fit since the transaction began."""
    found = [*misfits(con), *_names_alike(con), *_names_of_blind(con), *_contradictions(con)]
    if not found:
        return []
    with engines.as_before(con) as past:
        before = [*misfits(past), *_names_alike(past), *_names_of_blind(past), *_contradictions(past)]
    return [misfit for misfit in found if misfit not in before]


def _setup(defined: Definitions) -> Iterator[Misfit]:
    try:
        defined.setup()
    except FettleError as err:
        yield None, str(err)


def _chains(con: duckdb.DuckDBPyConnection) -> Iterator[Misfit]:
    for entry, replaced in journal.broken_chains(con):
        yield entry, f"Entry {entry} corrects what entry {replaced} stored, which is no longer the version before it."


def _dangling(con: duckdb.DuckDBPyConnection) -> Iterator[Misfit]:
    names = {what: dict(con.execute(f"SELECT id, name FROM live_{what}").fetchall()) for what in ("variant", "unit")}
    for entry, record, identity, missing in con.execute(statement("dangling")).fetchall():
        called = names.get(record, {}).get(identity, identity)
        yield entry, f"{record.capitalize()} {called} (entry {entry}): its {missing} is not in the project."


def _unbuilt(con: duckdb.DuckDBPyConnection) -> Iterator[Misfit]:
    for entry, record, number, name in con.execute(statement("unbuilt")).fetchall():
        yield entry, f"{record} {number}: variant {name} is only planned."


def _names(con: duckdb.DuckDBPyConnection) -> Iterator[Misfit]:
    for what, entries in _entries_by_name(con).items():
        for name, by in entries.items():
            if len(by) > 1:
                yield max(by), f"Two {what}s are called '{name}'."


def _names_alike(con: duckdb.DuckDBPyConnection) -> Iterator[Misfit]:
    """Find names that differ in capitals only; no new ones are let in, but older projects may hold some."""
    for what, entries in _entries_by_name(con).items():
        alike: dict[str, list[str]] = {}
        for name in entries:
            alike.setdefault(name.casefold(), []).append(name)
        for names in alike.values():
            if len(names) > 1:
                quoted = listed([f"'{name}'" for name in names], "and")
                latest = max(entry for name in names for entry in entries[name])
                yield latest, f"{what.capitalize()}s {quoted} differ in capitals only."


def _entries_by_name(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, list[int]]]:
    """Return the entries that wrote what is called by each name, by kind of record."""
    found: dict[str, dict[str, list[int]]] = {"variant": {}, "unit": {}, "session": {}}
    for what, name, entry, _ in con.execute(statement("names")).fetchall():
        found[what].setdefault(name, []).append(entry)
    return found


def _names_of_blind(con: duckdb.DuckDBPyConnection) -> Iterator[Misfit]:
    """Find blind sessions whose name another session has, which they would need once they are closed."""
    known = dict(con.execute("SELECT name, entry FROM live_session").fetchall())
    for name, entry in con.execute("SELECT name, entry FROM live_prepared WHERE NOT closed").fetchall():
        for other in spelled_alike(name, known):
            yield (
                max(entry, known[other]),
                f"Session '{name}' is prepared and still blind, and '{other}' holds readings.",
            )


def _settings(con: duckdb.DuckDBPyConnection, defined: Definitions) -> Iterator[Misfit]:
    for holder in ("variant", "unit"):
        stored = settings_by_holder(con, holder)
        rows = con.execute(f"SELECT id, entry, name FROM live_{holder} ORDER BY id").fetchall()
        exempt = _without_settings(con) if holder == "variant" else {row[0] for row in rows} - set(stored)
        for identity, entry, name in rows:
            if identity not in exempt:
                for sentence in _unfit_settings(stored.get(identity, {}), defined):
                    yield entry, f"{holder.capitalize()} {name}: {sentence}"


def _without_settings(con: duckdb.DuckDBPyConnection) -> set[int]:
    return {row[0] for row in con.execute("SELECT id FROM live_variant WHERE reference").fetchall()}


def _unfit_settings(stored: dict[int, object], defined: Definitions) -> Iterator[str]:
    for item in defined.of("factor"):
        value = stored.get(item.id, item.was)
        if value is None:
            yield f"{item.name} has no value; {_SAY} {item.name} became a factor."
        elif isinstance(item.value, Factor):
            try:
                item.value.read(value)
            except DataError as err:
                yield str(err)


def _contradictions(con: duckdb.DuckDBPyConnection) -> Iterator[Misfit]:
    """Find limits that nothing keeps; no new ones are let in, but older projects may hold some."""
    from doe.model.possible import faults  # takes a moment that few commands need

    defined = definitions.load(con)
    with contextlib.suppress(FettleError):  # of `_setup`
        for fault in faults(defined.setup()):
            words = re.findall(r"\w+", fault)
            told = [item for kind in ("limit", "derived") for item in defined.of(kind) if f"'{item.name}'" in fault]
            told += [item for item in defined.of("factor") if item.name in words]
            yield max((item.entry for item in told), default=None), fault


def _values(con: duckdb.DuckDBPyConnection, defined: Definitions) -> Iterator[Misfit]:
    outcomes = defined.outcomes()
    for identity, entry, outcome, value in con.execute(
        "SELECT id, entry, outcome, value FROM live_reading ORDER BY id"
    ).fetchall():
        try:
            if outcome in outcomes:
                outcomes[outcome].read(value)
        except DataError as err:
            yield entry, f"Reading {identity}: {err}"


def content(con: duckdb.DuckDBPyConnection, files_folder: Path) -> dict[str, Any]:
    """Return everything that counts as plain lists, named by names rather than by ids."""
    defined = definitions.load(con)
    kept = variants.load(con, defined)
    setup = {
        item.name if item.kind in definitions.SINGLE else f"{item.kind} {item.name}": definitions.to_body(item.value)
        for item in defined.all
    }
    everything = {
        "setup": [[key, body] for key, body in setup.items()],
        "variants": [_listed(item.record) for item in kept],
        "units": [_listed(item.record) for item in units.load(con, defined, kept)],
        "arrivals": [_listed(item.record) for item in units.load_initial(con, defined)],
        "sessions": [_listed(item) for item in sessions.load(con)],
        "readings": [{key: row[key] for key in readings.COLUMNS if key != "id"} for row in readings.load(con, defined)],
        "suggestions": [{key: value for key, value in row.items() if key != "id"} for row in suggestions.load(con)],
        "attachments": [
            {key: row[key] for key in ("variant", "filename", "sha256", "size", "note")}
            for row in attachments.load(con, files_folder)
        ],
    }
    computed = [
        {**{key: row[key] for key in ("variant", "outcome", "value")}, **_listed(row["computation"])}
        for row in measurements.load(con, defined, files_folder)
    ]
    variant_ids = {item.record.name: item.id for item in kept}
    outcome_ids = {outcome.name: identity for identity, outcome in defined.outcomes().items()}
    prepared, said = listening.export_rows(listening.load(con, variant_ids, outcome_ids))
    adopted = [{"body": row["body"]} for row in plans.export_rows(plans.load(con, kept))]
    later = {"measurements": computed, "prepared": prepared, "judgements": said, "plans": adopted}
    later["settled"] = settled.export_rows(settled.load(con))
    return {**everything, **{part: rows for part, rows in later.items() if rows}}  # a log without any hashes as ever


def _listed(record: Any) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.__slots__}


def fingerprint(everything: dict[str, Iterable[Any]]) -> str:
    """Hash the content; neither the order of the rows nor their ids play a part."""
    digest = hashlib.sha256()
    for part, rows in everything.items():
        digest.update(f"{part}\n".encode())
        for line, count in sorted(Counter(_canonical(row) for row in rows).items()):
            digest.update(f"{count} {line}\n".encode())
    return digest.hexdigest()


def _canonical(row: Any) -> str:
    return json.dumps(row, ensure_ascii=False, sort_keys=True, default=str)
