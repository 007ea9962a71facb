"""How the choice moves with the weights, in sentences."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from doe.model import wording
from doe.model.errors import listed

if TYPE_CHECKING:
    import pandas as pd

Row = Mapping[str, Any]


def front_sentence(front: pd.DataFrame) -> str:
    """Say what the variants of a front have in common; of a single one, that nothing has to be traded.

    Parameters
    ----------
    front : DataFrame
        `Advice.front`, at least one row.
    """
    if len(front) == 1:
        return "Nothing has to be traded; one is best in every outcome:"
    return "No outcome improves without loss in another in these:"


def kept_sentence(weights: pd.DataFrame) -> str:
    """Say at which weights another variant would be the one to keep; empty without weights.

    Parameters
    ----------
    weights : DataFrame
        `Advice.weights`.
    """
    if not len(weights):
        return ""
    turns = _turns(weights, lambda row: str(row["variant"]))
    now = str(_now(weights)["variant"])
    if not turns:
        return f"Variant {now} stays the one to keep though any one outcome counted {_span(weights)} times as much."
    parts = [f"variant {name} {_if(when)}" for name, when in turns.items()]
    return f"Variant {now} is the one to keep; it would be {'; '.join(parts)}."


def others_kept(weights: pd.DataFrame) -> list[str]:
    """Return the variants that would be the one to keep at other weights, the nearest turns first."""
    return list(_turns(weights, lambda row: str(row["variant"]))) if len(weights) else []


def build_sentence(weights: pd.DataFrame) -> str:
    """Say at which weights another build would promise most; empty without weights."""
    if not len(weights):
        return ""
    factors = [
        name
        for name in weights.columns
        if name not in ("outcome", "times as much", "variant", "variant worth", "design worth")
    ]
    now = _now(weights)

    def differing(row: Row) -> str:
        return ", ".join(
            f"{wording.spaced(name)} {wording.cell_text(row[name])}" for name in factors if row[name] != now[name]
        )

    turns = _turns(weights, differing)
    if not turns:
        return (
            f"What promises most to build stays the same though any one outcome counted {_span(weights)} times as much."
        )
    parts = [f"{change} {_if(when)}" for change, when in turns.items()]
    return f"What promises most to build would have {'; '.join(parts)}."


def _turns(weights: pd.DataFrame, name: Callable[[Row], str]) -> dict[str, list[str]]:
    """List what the choice turns to, nearest to the weights of now first, and at which weights on either side it does."""
    rows = _rows(weights)
    now = name(_now(weights))
    found: dict[str, list[Row]] = {}
    for outcome in dict.fromkeys(row["outcome"] for row in rows):
        mine = sorted((row for row in rows if row["outcome"] == outcome), key=_distance)
        for is_more in (True, False):
            seen = {now}
            for row in mine:
                if (row["times as much"] > 1) is is_more and name(row) not in seen:
                    seen.add(name(row))
                    found.setdefault(name(row), []).append(row)
    nearest = sorted(found, key=lambda turn: min(map(_distance, found[turn])))
    return {turn: [_when(row) for row in found[turn]] for turn in nearest}


def _distance(row: Row) -> float:
    return abs(math.log(row["times as much"]))


def _when(row: Row) -> str:
    return f"{wording.spaced(row['outcome'])} counted {wording.number(row['times as much'])} times"


def _if(when: Sequence[str]) -> str:
    return f"if {listed(when)} as much"


def _now(weights: pd.DataFrame) -> Row:
    return next(row for row in _rows(weights) if row["times as much"] == 1.0)


def _rows(weights: pd.DataFrame) -> list[Row]:
    return [{str(name): value for name, value in row.items()} for row in weights.to_dict("records")]


def _span(weights: pd.DataFrame) -> str:
    return f"{wording.number(weights['times as much'].min())} to {wording.number(weights['times as much'].max())}"
