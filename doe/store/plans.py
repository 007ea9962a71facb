"""Adopted plans: what each is, and its runs as planned variants."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import duckdb

from doe.model.errors import DataError
from doe.model.planned import AdoptedPlan, Run, none_adopted
from doe.model.records import Variant
from doe.model.wording import counted
from doe.store import variants
from doe.store.definitions import Definitions
from doe.store.kept import Kept
from doe.store.rows import fetch, insert, next_id
from doe.store.suggestions import to_text

_OWN = ("block", "unit", "kind")


def load(con: duckdb.DuckDBPyConnection, kept: Sequence[Kept[Variant]]) -> list[AdoptedPlan]:
    """Read the plans that count, oldest first; a run whose variant was withdrawn is no longer part of one."""
    by_id = {item.id: item.record for item in kept}
    return [_read(row, by_id) for row in fetch(con, "SELECT id, entry, body FROM live_plan ORDER BY id")]


def _read(row: Mapping[str, Any], by_id: Mapping[int, Variant]) -> AdoptedPlan:
    body = json.loads(row["body"])
    told = [run for run in body.pop("runs") if run["variant"] in by_id]
    records = tuple(by_id[run["variant"]] for run in told)
    runs = tuple(
        Run(record.settings, record.name, run["block"], run["unit"], run["kind"])
        for run, record in zip(told, records, strict=True)
    )
    return AdoptedPlan(row["id"], row["entry"], body, runs, records)


def current(plans: Sequence[AdoptedPlan]) -> AdoptedPlan | None:
    """Return the plan that is being built: the last one with runs left."""
    return next((plan for plan in reversed(plans) if plan.is_open), None)


def open_one(con: duckdb.DuckDBPyConnection, kept: Sequence[Kept[Variant]]) -> AdoptedPlan:
    """Return the plan that is being built.

    Raises
    ------
    DataError
        If there is none.
    """
    found = current(load(con, kept))
    if found is None:
        raise none_adopted()
    return found


def add_runs(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    runs: Sequence[Run],
    kept: Sequence[Kept[Variant]],
    definitions: Definitions,
) -> tuple[list[Run], dict[str, int]]:
    """Store a planned variant for each run; return the runs with their variants' names, and all ids by name.

    Raises
    ------
    DataError
        If settings are not allowed, or break a limit.
    """
    first = int(variants.next_name(con))
    named = [replace(run, variant=str(first + place)) for place, run in enumerate(runs)]
    setup = definitions.setup()
    new = [variants.checked(Variant(run.variant, run.settings, status="planned"), setup) for run in named]
    ids = {item.record.name: item.id for item in kept}
    return named, variants.add(con, entry, new, definitions, ids, {})


def put(
    con: duckdb.DuckDBPyConnection,
    entry: int,
    facts: Mapping[str, Any],
    runs: Sequence[Run],
    ids: Mapping[str, int],
    old: AdoptedPlan | None = None,
    *,
    withdrawn: bool = False,
) -> None:
    """Store a plan, or a further version of one."""
    told = [{"variant": ids[run.variant], **{name: getattr(run, name) for name in _OWN}} for run in runs]
    row = {
        "id": old.id if old is not None else next_id(con, "plan"),
        "entry": entry,
        "replaces": old.entry if old is not None else None,
        "withdrawn": withdrawn,
        "body": to_text({**facts, "runs": told}),
    }
    insert(con, "plan", [row])


def export_rows(plans: Sequence[AdoptedPlan]) -> list[dict[str, Any]]:
    """Return one row per plan for an export, runs named by their variants."""
    return [
        {
            "id": plan.id,
            "body": to_text(
                {
                    **plan.facts,
                    "runs": [{"variant": run.variant, **{n: getattr(run, n) for n in _OWN}} for run in plan.runs],
                }
            ),
        }
        for plan in plans
    ]


def restore(
    con: duckdb.DuckDBPyConnection, entry: int, rows: Sequence[Mapping[str, Any]], ids: Mapping[str, int]
) -> None:
    """Store exported plans.

    Raises
    ------
    DataError
        If one names a variant that is not there.
    """
    for row in rows:
        body = json.loads(row["body"])
        for run in body["runs"]:
            if run["variant"] not in ids:
                raise DataError(f"Plan {row['id']} names variant '{run['variant']}', which is not in the export.")
            run["variant"] = ids[run["variant"]]
        insert(
            con,
            "plan",
            [{"id": row["id"], "entry": entry, "replaces": None, "withdrawn": False, "body": to_text(body)}],
        )


def told(facts: Mapping[str, Any], runs: Sequence[Run]) -> str:
    """Tell an adopted plan in a few words for the journal."""
    title = str(facts.get("headline", "")).rstrip(".") or counted(len(runs), "run")
    names = f"variants {runs[0].variant} to {runs[-1].variant}" if len(runs) > 1 else f"variant {runs[0].variant}"
    return f"adopted a plan ({title}): {names}"
