"""Records as the plain dictionaries that both faces give as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from doe.model.records import Reading, Session, Variant

_VARIANT = ("unit", "parent", "minutes", "price", "when", "status", "note")
_READING = ("variant", "outcome", "value", "versus", "session", "rater", "order")


def told_variant(variant: Variant) -> dict[str, Any]:
    """Return a variant with its settings."""
    facts = {name: getattr(variant, name) for name in _VARIANT}
    return {"variant": variant.name, "settings": variant.settings, **facts}


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
    }
