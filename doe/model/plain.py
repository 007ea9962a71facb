"""Records, frames and times as the plain data that JSON knows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any


def plain(content: Any) -> Any:
    """Turn frames, arrays' scalars, dates and records into what JSON knows, at full precision; the unknown becomes None.

    Examples
    --------
    >>> plain({"value": float("nan"), "when": datetime(2026, 3, 3)})
    {'value': None, 'when': '2026-03-03T00:00:00'}
    """
    if hasattr(content, "to_dict") and hasattr(content, "columns"):
        return [plain(row) for row in content.to_dict("records")]
    if isinstance(content, Mapping):
        return {str(key): plain(value) for key, value in content.items()}
    if isinstance(content, list | tuple | set | frozenset):
        return [plain(value) for value in content]
    if isinstance(content, datetime | date):
        return None if content != content else content.isoformat()  # NaT differs from itself
    if hasattr(content, "item") and not isinstance(content, str):
        content = content.item()
    if isinstance(content, float) and not math.isfinite(content):
        return None
    return content if content is None or isinstance(content, str | int | float) else _missing_or_text(content)


def _missing_or_text(value: Any) -> str | None:
    return None if type(value).__name__ in ("NAType", "NaTType") else str(value)
