"""The build that would test an equivalence: the same quantity from another mix of its parts."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from doe.advise.lasting import Equivalent
from doe.advise.nearest import all_starts
from doe.advise.routes import PARTS, THROUGH, Routes
from doe.advise.space import kept
from doe.advise.standin import StandIn
from doe.model.choices import Value
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.records import Unit

_MOST = 150
_VALUES = 13
_CLEAR = 1.0
"""Standard deviations by which the two ways must differ at a build that is worth more than building the equivalent itself."""


def twin_build(
    stand_in: StandIn,
    factors: Sequence[Factor],
    start: Mapping[str, Value],
    equivalent: Equivalent,
    routes: Sequence[Routes],
    *,
    limits: Sequence[Limit],
    derived: Sequence[Derived],
    units: Sequence[Unit],
    effort: Effort,
) -> dict[str, Any]:
    """Choose the build that would show whether the quantity is all that counts.

    Of the mixes that come as near to the wanted quantity as the equivalent does, the one where the two ways of predicting lie
    furthest apart beside their uncertainty and the scatter of a build; where none lies clearly apart, the equivalent itself,
    which is wanted anyway.

    Returns
    -------
    dict
        `settings`, `unit`, `minutes`, `is_there` (whether the unit stands so already), `outcome` that would show it (empty
        where none stands out), `apart`, by how many standard deviations the two ways differ there, and `is_equivalent`.
    """
    mixes = _mixes(stand_in, factors, start, equivalent, limits, derived)
    apart, outcomes = _apart(mixes, routes)
    starts = [all_starts(factors, units, row, effort)[0] for row in rows_of(mixes)]
    best = 0
    for place in range(1, len(mixes)):
        gain = apart[place] / max(_CLEAR, apart[0]) if apart[place] >= _CLEAR else 0.0
        if gain > 1.0 and (best == 0 or apart[place] > apart[best] * 1.05 or _is_cheaper(starts, place, best, apart)):
            best = place
    settings = {factor.name: factor.read(mixes.iloc[best][factor.name]) for factor in factors}
    return {
        "settings": settings,
        "unit": starts[best].unit,
        "minutes": starts[best].cost.minutes,
        "is_there": starts[best].is_there,
        "outcome": outcomes[best] if apart[best] >= _CLEAR else "",
        "apart": float(apart[best]),
        "is_equivalent": best == 0,
    }


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame as dicts by column name."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def _is_cheaper(starts: Sequence[Any], place: int, best: int, apart: Any) -> bool:
    return bool(apart[place] > 0.95 * apart[best]) and starts[place].cost.minutes < starts[best].cost.minutes


def _mixes(
    stand_in: StandIn,
    factors: Sequence[Factor],
    start: Mapping[str, Value],
    equivalent: Equivalent,
    limits: Sequence[Limit],
    derived: Sequence[Derived],
) -> pd.DataFrame:
    """Return settings whose quantity is as near as the equivalent's, that first, then the first so many others but `start`."""
    parts = [*stand_in.lasting, stand_in.factor]
    values = [factor.grid(_VALUES) for factor in parts[:4]]
    rows = [
        {**start, **{factor.name: value for factor, value in zip(parts, chosen, strict=False)}}
        for chosen in itertools.islice(itertools.product(*values), 30_000)
    ]
    frame = pd.DataFrame(rows)[[factor.name for factor in factors]]
    columns = {name: frame[name].to_numpy() for name in frame.columns}
    known = {name: columns[name] for name in stand_in.quantity.parsed.names}
    with np.errstate(all="ignore"):
        measured = np.broadcast_to(np.asarray(stand_in.quantity.parsed.evaluate(known), dtype=float), (len(frame),))
    wanted = equivalent.value - equivalent.mismatch
    rounding = 1e-9 * (abs(equivalent.mismatch) + abs(wanted))
    is_near = np.abs(measured - wanted) <= abs(equivalent.mismatch) + rounding
    for limit in limits:
        is_near &= kept(limit, columns, derived)
    near = frame[is_near]
    is_start = (near == pd.Series(dict(start))[near.columns]).all(axis=1)
    first = pd.DataFrame([equivalent.settings])[frame.columns]
    return pd.concat([first, near[~is_start].head(_MOST)], ignore_index=True).drop_duplicates(ignore_index=True)


def _apart(mixes: pd.DataFrame, routes: Sequence[Routes]) -> tuple[Any, list[str]]:
    """Return by how many standard deviations the two ways differ at each mix, and in which outcome most."""
    most, names = np.zeros(len(mixes)), [""] * len(mixes)
    for one in routes:
        found = one.predictions(mixes)
        if THROUGH not in found:
            continue
        through, parts = found[THROUGH], found[PARTS]
        build = (parts["build_high"] - parts["build_low"]) / (2 * 1.96)
        gap: Any = np.asarray((through["mean"] - parts["mean"]).abs() / np.sqrt(build**2 + through["sd"] ** 2))
        for place, value in enumerate(gap):
            if value > most[place]:
                most[place], names[place] = value, one.outcome.name
    return most, names
