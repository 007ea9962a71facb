"""The clock that records are dated by."""

from __future__ import annotations

from datetime import datetime


def now() -> datetime:
    """Return the local time to the second, without a zone: what the clock on the maker's wall shows."""
    return datetime.now().replace(microsecond=0)
