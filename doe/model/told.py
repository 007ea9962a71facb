"""Records as the plain dictionaries that both faces give as JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from doe.model.listening import PreparedSession
from doe.model.records import Reading, Session, Variant
from doe.model.settled import SettledVersion

_VARIANT = ("unit", "parent", "minutes", "price", "when", "status", "note")
_READING = ("variant", "outcome", "value", "versus", "session", "rater", "order")
_PLAN = (
    "kind", "headline", "confounded", "precision", "efficiency", "facts", "notes", "scatter", "matters", "seed",
)  # fmt: skip
_ROUTE = (
    "headline", "units", "randomised", "minutes", "least_minutes", "bound", "is_proven", "new_units", "reading_minutes",
    "shuffle", "notes",
)  # fmt: skip
_SETTLING: Mapping[str, Sequence[str]] = {
    "Equivalents": (
        "variant", "start", "stand_in", "quantity", "wanted", "table", "predictions", "disagreements", "must_give", "test",
        "is_exact", "is_open", "headline", "notes",
    ),
    "Tolerances": ("table", "probability", "chance", "headline", "notes"),
    "ConfirmationPlan": ("builds", "rounds", "beside", "minutes", "table", "risk", "alpha", "headline", "notes"),
    "Confirmation": ("verdict", "settings", "builds", "n_readings", "table", "headline", "notes"),
}  # fmt: skip


def told_variant(variant: Variant) -> dict[str, Any]:
    """Return a variant with its settings."""
    facts = {name: getattr(variant, name) for name in _VARIANT}
    return {"variant": variant.name, "settings": variant.settings, **facts}


def told_variants(variants: Sequence[Variant], readings: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return variants with how many readings there are of each, a comparison on both sides, and their plain means."""
    counts = Counter(reading[side] for reading in readings for side in ("variant", "versus"))
    means = means_of(readings)
    return [{**told_variant(one), "readings": counts[one.name], "means": means.get(one.name, {})} for one in variants]


def means_of(readings: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, float]]:
    """Return the plain mean of each variant's readings by outcome, comparisons left out."""
    values: dict[str, dict[str, list[float]]] = {}
    for reading in readings:
        if reading["versus"] is None:
            values.setdefault(reading["variant"], {}).setdefault(reading["outcome"], []).append(reading["value"])
    return {variant: {name: fmean(taken) for name, taken in found.items()} for variant, found in values.items()}


def told_reading(reading: Reading) -> dict[str, Any]:
    """Return a reading as it was taken."""
    return {name: getattr(reading, name) for name in _READING}


def told_session(session: Session, readings: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return a session with what was read in it; one without a time began with its first reading.

    Parameters
    ----------
    session : Session
    readings : sequence of mapping
        All readings, each with at least ``session, when, rater``.
    """
    own = [reading for reading in readings if reading["session"] == session.name]
    return {
        "session": session.name,
        "when": session.when or next((reading["when"] for reading in own), None),
        "readings": len(own),
        "raters": list(dict.fromkeys(reading["rater"] for reading in own if reading["rater"])),
        "note": session.note,
        "blind": None,
    }


def told_prepared(session: PreparedSession, judged: int) -> dict[str, Any]:
    """Return a prepared session that is still blind, as `told_session` does, with how much is judged; nothing of what.

    Parameters
    ----------
    session : PreparedSession
    judged : int
        How many judgements it holds.
    """
    asked = sum(len(sheet.trials) for sheet in session.sheets)
    return {
        "session": session.name,
        "when": None,
        "readings": 0,
        "raters": [sheet.rater for sheet in session.sheets],
        "note": session.note,
        "blind": f"{judged} of {asked} judged",
    }


def told_plan(made: Any) -> dict[str, Any]:
    """Return everything that a `Plan` holds, at full precision; it is known by its fields, since it lives floors above."""
    return {"runs": made.table, "apart": made.separation.sentences, **{name: getattr(made, name) for name in _PLAN}}


def told_choice(choice: Any) -> dict[str, Any]:
    """Return everything that a `PlanChoice` holds, at full precision."""
    return {
        "headline": choice.headline,
        "reason": choice.reason,
        "plans": choice.table,
        "left_out": choice.left_out,
        "was_stopped": choice.was_stopped,
        "recommended": told_plan(choice.plan),
    }


def told_route(found: Any) -> dict[str, Any]:
    """Return everything that a `Route` holds, at full precision."""
    return {"steps": found.table, **{name: getattr(found, name) for name in _ROUTE}}


def told_settling(found: Any) -> dict[str, Any]:
    """Return what `Equivalents`, `Tolerances`, a `ConfirmationPlan` or a `Confirmation` says, at full precision."""
    return {name: getattr(found, name) for name in _SETTLING[type(found).__name__]}


def told_version(version: SettledVersion) -> dict[str, Any]:
    """Return a settled version."""
    return {name: getattr(version, name) for name in version.__slots__}
