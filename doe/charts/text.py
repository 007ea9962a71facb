"""Text inside charts: names made readable, kept from acting as markup, broken into lines."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable

from doe.charts.rows import Row
from doe.model import wording
from doe.model.outcome import Outcome

_CHARACTER_PX = 7.6
ALONG_AXIS_PX = 7.0
"""Width of a character of an axis title."""


def safe(text: object) -> str:
    """Keep a person's text from being read as markup by plotly, which knows a few tags, entities and ``%{...}``."""
    kept = str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return kept.replace("%{", "%\u2060{")  # a word joiner, which is not seen


def plain(value: object) -> str:
    """Write a cell of a frame as text; an empty one as an empty string."""
    if value is None or str(value) == "<NA>" or value != value:  # NA is unlike anything, and so is NaN
        return ""
    if isinstance(value, str):
        return value
    return wording.setting(value)


def name(identifier: str) -> str:
    """Write the name of a factor or outcome for people: ``tip_gap`` is ``tip gap``."""
    return wording.spaced(identifier)


def term(spelled: str) -> str:
    """Write a term for people, in the words that the headlines use."""
    return wording.spoken(spelled)


def tangle(spelled: object) -> str:
    """Write the terms that one is tangled with; the table joins them by a comma."""
    return ", ".join(term(part) for part in plain(spelled).split(", ")) if plain(spelled) else ""


def verdict(row: Row) -> str:
    """Write the verdict of a row of an effect table."""
    return wording.verdict_text(str(row["verdict"]), tangle(row.get("tangled_with")))


def span(row: Row, longest: int = 250) -> str:
    """Write between which settings a swing is measured; empty where the table does not say."""
    start, end = cut(plain(row.get("from")), longest), cut(plain(row.get("to")), longest)
    return f"{start} → {end}" if start and end else ""


def cut(text: str, longest: int) -> str:
    """Shorten text to so many characters; what is lost ends in an ellipsis."""
    return text if len(text) <= longest else f"{text[: longest - 1].rstrip()}…"


def cut_inside(text: str, longest: int) -> str:
    """Shorten text to so many characters by leaving out its middle, for names that begin alike."""
    if len(text) <= longest:
        return text
    head = (longest - 1) // 2
    return f"{text[:head].rstrip()}…{text[len(text) - (longest - 1 - head) :].lstrip()}"


def change(row: Row, unit: str | wording.Column = "") -> str:
    """Write a swing with its interval; beside others, counted as they are."""
    if not math.isfinite(row["swing"]):
        return "no estimate"
    return wording.with_interval(row["swing"], row["low"], row["high"], unit, is_change=True)


def level(row: Row, unit: str | wording.Column = "") -> str:
    """Write a mean with its interval; beside others, counted as they are."""
    return wording.with_interval(row["mean"], row["low"], row["high"], unit)


def expected(row: Row, outcome: Outcome, beside: wording.Column | None = None) -> str:
    """Write what is expected of an outcome with its interval, as far as its scale goes; beside others, counted as they are."""
    return outcome.told(float(row["mean"]), float(row["low"]), float(row["high"]), beside)


def lines(text: str, width: int, most: int = 3) -> list[str]:
    """Break text into lines of at most `width` characters; beyond `most` lines it ends in an ellipsis."""
    parts = textwrap.wrap(text, width, break_long_words=True, break_on_hyphens=False) or [""]
    if len(parts) <= most:
        return parts
    kept = parts[:most]
    kept[-1] = f"{kept[-1][: width - 1].rstrip()}…"
    return kept


def stacked(parts: Iterable[str]) -> str:
    """Join lines for plotly, each made safe."""
    return "<br>".join(safe(part) for part in parts)


def room(parts: Iterable[str], size: float = 14.0) -> int:
    """Estimate the width in pixels of the longest of some lines at a font size."""
    longest = max((len(part) for part in parts), default=0)
    return math.ceil(longest * _CHARACTER_PX * size / 14.0)


def small(text: str, colour: str) -> str:
    """Set already safe text smaller, in another colour."""
    return f'<span style="font-size:12px;color:{colour}">{text}</span>'


def sentences(parts: Iterable[str]) -> str:
    """Join parts of a text alternative, each ended by a full stop."""
    return " ".join(f"{part.rstrip('. ')}." for part in parts if part)
