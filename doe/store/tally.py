"""Readings counted in the database, for whoever needs their numbers and not each of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb

from doe.store import readings
from doe.store.definitions import Definitions
from doe.store.rows import fetch, statement


@dataclass(frozen=True, slots=True)
class Tally:
    """The readings that count, counted.

    Attributes
    ----------
    of_variant : dict of pair of str to pair of int and float
        By variant and outcome, how many readings and their mean, nothing adjusted; a comparison counts for both variants.
    of_session : dict of str or None to pair of int and tuple of str
        By session, in the order in which they first came, how many readings and who judged; None for readings outside of any.
    raters : tuple of str
        Everyone who judged, in the order in which they first did.
    last : dict or None
        The last reading, with the keys of `doe.store.readings.COLUMNS`.
    """

    of_variant: dict[tuple[str, str], tuple[int, float]]
    of_session: dict[str | None, tuple[int, tuple[str, ...]]]
    raters: tuple[str, ...]
    last: dict[str, Any] | None


def load(con: duckdb.DuckDBPyConnection, definitions: Definitions) -> Tally:
    """Count the readings."""
    names = {identity: outcome.name for identity, outcome in definitions.outcomes().items()}
    of_variant = {
        (row["variant"], names[row["outcome"]]): (row["readings"], row["mean"])
        for row in fetch(con, statement("tally"))
    }
    of_session: dict[str | None, tuple[int, tuple[str, ...]]] = {}
    raters: dict[str, None] = {}
    for row in fetch(con, statement("sittings")):
        count, judged = of_session.get(row["session"], (0, ()))
        here = (row["rater"],) if row["rater"] else ()
        of_session[row["session"]] = (count + row["readings"], (*judged, *here))
        raters.update(dict.fromkeys(here))
    last = readings.load(con, definitions, only_last=True)
    return Tally(of_variant, of_session, tuple(raters), last[0] if last else None)
