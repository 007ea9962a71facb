"""Headings taken apart: the name, the unit behind it, the rater whose column it is."""

from __future__ import annotations

import re

from doe.store.cells import text_of

_BRACKETED = re.compile(r"(?P<name>.+?)\s*[(\[{](?P<unit>[^()\[\]{}]*)[)\]}]\s*")
_SEPARATED = re.compile(r"(?P<name>.+?)\s*(?:,|/|\bin\b)\s*(?P<unit>[^,/]*)")
_BY = re.compile(r"(?P<name>.+?)\s+by\s+(?P<rater>\S.*)", re.IGNORECASE)
_UNIT_WORDS = """
mm cm m um µm in inch ft % db dba db(a) dbspl ms s sec min h hz khz mg g kg oz lb ml l cm3 m3 cm³ m³ n nm mn pa kpa bar psi
v mv a ma w kw ohm ω °c °f c f k deg ° rpm m/s m³/h m3/h
"""
UNITS = frozenset(_UNIT_WORDS.split())
"""Units of measure that a heading may state, squeezed."""


def squeezed(text: object) -> str:
    """Return a heading without case, blanks, underscores and hyphens."""
    return re.sub(r"[\s_\-]+", "", text_of(text)).casefold()


def without_unit(heading: str) -> list[tuple[str, str]]:
    """Return the ways to take a heading apart into a name and what stands behind it."""
    found = [pattern.fullmatch(heading.strip()) for pattern in (_BRACKETED, _SEPARATED)]
    return [(match["name"], match["unit"].strip()) for match in found if match]


def is_bracketed(heading: str) -> bool:
    """Tell whether something in brackets stands behind the name."""
    return _BRACKETED.fullmatch(heading.strip()) is not None


def by_rater(heading: str) -> tuple[str, str] | None:
    """Return the name and the rater of a heading such as ``echo by Ann``, None for any other."""
    found = _BY.fullmatch(heading.strip())
    return (found["name"], found["rater"].strip()) if found else None
