"""Records that hold a name as text, and take a new one over: the plan that is being built, and advice on record."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

import duckdb

from doe.store import definitions, plans, variants
from doe.store.rows import fetch, insert
from doe.store.suggestions import to_text


def follow(con: duckdb.DuckDBPyConnection, entry: int, kind: str, old: str, new: str) -> None:
    """Let them speak of a factor, an outcome or a derived quantity, which goes by its new name already."""
    if kind not in ("factor", "outcome", "derived"):
        return
    kept = variants.load(con, definitions.load(con))
    plan = plans.current(plans.load(con, kept))
    if plan is not None and (facts := _facts(plan.facts, kind, old, new)) != plan.facts:
        plans.put(con, entry, facts, plan.runs, {item.record.name: item.id for item in kept}, plan)
    rows = []
    for row in fetch(con, "SELECT * FROM live_suggestion ORDER BY id"):
        before = json.loads(row["body"])
        body = _advice(before, kind, old, new)
        if body != before:
            rows.append({**row, "entry": entry, "replaces": row["entry"], "body": to_text(body)})
    insert(con, "suggestion", rows)


def _facts(facts: Mapping[str, Any], kind: str, old: str, new: str) -> dict[str, Any]:
    """Return what an adopted plan remembers; its model is a word, or a list of terms such as ``wool:driver``."""
    if kind == "outcome":
        return {**facts, "outcome": new} if facts.get("outcome") == old else dict(facts)
    model = facts.get("model")
    if not isinstance(model, list):
        return dict(facts)
    return {**facts, "model": [re.sub(rf"(?<!\w){re.escape(old)}(?!\w)", new, term) for term in model]}


def _advice(body: Mapping[str, Any], kind: str, old: str, new: str) -> dict[str, Any]:
    """Return a suggestion with what it sets and predicts, as far as it says so."""
    settings, predictions = body.get("settings"), body.get("predictions")
    if kind == "factor" and isinstance(settings, dict):
        return {**body, "settings": {new if name == old else name: value for name, value in settings.items()}}
    if kind == "outcome" and predictions:
        renamed = [{**one, "outcome": new} if one.get("outcome") == old else one for one in predictions]
        return {**body, "predictions": renamed}
    return dict(body)
