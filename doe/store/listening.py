"""Prepared sessions and what was judged in them: kept blind until the session is closed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import duckdb

from doe.model.errors import DataError
from doe.model.listening import Judgement, PreparedSession, RaterSheet, Sample
from doe.store.kept import known
from doe.store.rows import fetch, insert, next_id

Ids = Mapping[str, int]
GONE = ""
"""Stands for a variant or an outcome that was taken out since."""


@dataclass(frozen=True, slots=True)
class KeptSession:
    """A prepared session with its lasting id and what was judged so far.

    Attributes
    ----------
    id : int
        Lasting number.
    entry : int
        That wrote this version of it.
    session : PreparedSession
        The record.
    judgements : tuple of (int, datetime or None, Judgement)
        Lasting number, when, and the record; in the order in which they came.
    """

    id: int
    entry: int
    session: PreparedSession
    judgements: tuple[tuple[int, datetime | None, Judgement], ...]


def load(con: duckdb.DuckDBPyConnection, variants: Ids, outcomes: Ids) -> list[KeptSession]:
    """Read the prepared sessions that count, those that are closed too."""
    variant_names = {identity: name for name, identity in variants.items()}
    outcome_names = {identity: name for name, identity in outcomes.items()}
    said: dict[int, list[tuple[int, datetime | None, Judgement]]] = {}
    for row in fetch(con, "SELECT * FROM live_judgement ORDER BY id"):
        values = {outcome_names.get(int(key), GONE): value for key, value in json.loads(row["body"]).items()}
        values.pop(GONE, None)
        made = Judgement(row["rater"], row["place"], values, row["note"])
        said.setdefault(row["prepared"], []).append((row["id"], row["when"], made))
    return [
        KeptSession(
            row["id"],
            row["entry"],
            _session(row["name"], json.loads(row["body"]), row["closed"], variant_names, outcome_names),
            tuple(said.get(row["id"], ())),
        )
        for row in fetch(con, "SELECT * FROM live_prepared ORDER BY id")
    ]


def _session(
    name: str, body: Mapping[str, Any], is_closed: bool, variants: Mapping[int, str], outcomes: Mapping[int, str]
) -> PreparedSession:
    return PreparedSession(
        name=name,
        outcomes=[outcomes.get(identity, GONE) for identity in body["outcomes"]],
        samples=[Sample(code, variants.get(identity, GONE)) for code, identity in body["samples"]],
        sheets=[RaterSheet(rater, key, trials) for rater, key, trials in body["sheets"]],
        ends={outcomes.get(int(key), GONE): tuple(pair) for key, pair in body["ends"].items()},
        note=body["note"],
        is_closed=is_closed,
        plays=body.get("plays", False),  # older sessions do not say
    )


def add(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    session: PreparedSession,
    variants: Ids,
    outcomes: Ids,
    *,
    kept: KeptSession | None = None,
    is_withdrawn: bool = False,
    number: int | None = None,
) -> int:
    """Store a prepared session, or a further version of a kept one, and return its id.

    Raises
    ------
    DataError
        If a variant or an outcome is unknown.
    """
    if kept is not None:
        body = con.execute("SELECT body FROM prepared WHERE id = $1 AND entry = $2", [kept.id, kept.entry]).fetchone()
        text = str(body[0]) if body else "{}"  # ids as they stand, even of what was taken out since
    else:
        text = _text(session, variants, outcomes)
    identity = kept.id if kept is not None else (number or next_id(con, "prepared"))
    row = {
        "id": identity,
        "entry": entry,
        "replaces": kept.entry if kept is not None else None,
        "withdrawn": is_withdrawn,
        "name": session.name,
        "body": text,
        "closed": session.is_closed,
    }
    insert(con, "prepared", [row])
    return identity


def _text(session: PreparedSession, variants: Ids, outcomes: Ids) -> str:
    body = {
        "outcomes": [known(outcomes, name, "Outcome") for name in session.outcomes],
        "samples": [[sample.code, known(variants, sample.variant, "Variant")] for sample in session.samples],
        "sheets": [[sheet.rater, sheet.key, [list(trial) for trial in sheet.trials]] for sheet in session.sheets],
        "ends": {str(known(outcomes, name, "Outcome")): list(pair) for name, pair in session.ends.items()},
        "note": session.note,
        "plays": session.plays,
    }
    return json.dumps(body, ensure_ascii=False, sort_keys=True)


def add_judgements(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    prepared: int,
    made: Sequence[tuple[datetime | None, Judgement]],
    outcomes: Ids,
) -> None:
    """Store judgements; one at a place that was judged before stands in for the one before."""
    first = next_id(con, "judgement")
    there = con.execute("SELECT rater, place, id, entry FROM live_judgement WHERE prepared = $1", [prepared]).fetchall()
    before = {(rater, place): (identity, written) for rater, place, identity, written in there}
    rows = []
    for offset, (when, judgement) in enumerate(made):
        old = before.get((judgement.rater, judgement.place))
        values = {str(known(outcomes, name, "Outcome")): value for name, value in judgement.values.items()}
        rows.append(
            {
                "id": old[0] if old else first + offset,
                "entry": entry,
                "replaces": old[1] if old else None,
                "withdrawn": False,
                "prepared": prepared,
                "rater": judgement.rater,
                "place": judgement.place,
                "body": json.dumps(values, sort_keys=True),
                "when": when,
                "note": judgement.note,
            }
        )
    insert(con, "judgement", rows)


def withdraw_judgements(con: duckdb.DuckDBPyConnection, entry: int, prepared: int) -> int:
    """Withdraw everything that was judged in a session, and return how much that was."""
    rows = fetch(con, "SELECT * FROM live_judgement WHERE prepared = $1 ORDER BY id", [prepared])
    insert(con, "judgement", [{**row, "replaces": row["entry"], "entry": entry, "withdrawn": True} for row in rows])
    return len(rows)


def find(kept: Sequence[KeptSession], number: int) -> KeptSession:
    """Return the prepared session of that number.

    Raises
    ------
    DataError
        If there is none.
    """
    for item in kept:
        if item.id == number:
            return item
    raise DataError(f"There is no prepared session {number}.")


def export_rows(kept: Sequence[KeptSession]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return what an export holds: one row per prepared session, and one per judgement, by names."""
    prepared, said = [], []
    for item in kept:
        session = item.session
        body = {
            "outcomes": list(session.outcomes),
            "samples": [[sample.code, sample.variant] for sample in session.samples],
            "sheets": [[sheet.rater, sheet.key, [list(trial) for trial in sheet.trials]] for sheet in session.sheets],
            "ends": {name: list(pair) for name, pair in session.ends.items()},
            "note": session.note,
            "plays": session.plays,
        }
        text = json.dumps(body, ensure_ascii=False, sort_keys=True)
        prepared.append({"id": item.id, "session": session.name, "closed": session.is_closed, "body": text})
        said += [
            {
                "prepared": item.id,
                "rater": made.rater,
                "place": made.place,
                "values": json.dumps(dict(made.values), sort_keys=True),
                "when": when,
                "note": made.note,
            }
            for _, when, made in item.judgements
        ]
    return prepared, said


def restore(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    prepared: Sequence[Mapping[str, Any]],
    said: Sequence[Mapping[str, Any]],
    variants: Ids,
    outcomes: Ids,
) -> None:
    """Store what an export holds; what points at something taken out since stays so."""
    with_gone_variants, with_gone_outcomes = {**variants, GONE: 0}, {**outcomes, GONE: 0}
    for row in prepared:
        body = json.loads(row["body"])
        session = PreparedSession(
            name=row["session"],
            outcomes=body["outcomes"],
            samples=[Sample(code, name) for code, name in body["samples"]],
            sheets=[RaterSheet(rater, key, trials) for rater, key, trials in body["sheets"]],
            ends=body["ends"],
            note=body["note"],
            is_closed=bool(row["closed"]),
            plays=body.get("plays", False),
        )
        add(con, entry, session, with_gone_variants, with_gone_outcomes, number=row["id"])
    for number in dict.fromkeys(row["prepared"] for row in said):
        made = [
            (row["when"], Judgement(row["rater"], row["place"], json.loads(row["values"]), row["note"] or ""))
            for row in said
            if row["prepared"] == number
        ]
        add_judgements(con, entry, number, made, outcomes)
