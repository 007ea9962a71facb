"""What was read, beside a value that allows for sessions and raters: said where the two lie noticeably apart."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from doe.fit.effects import Effects
from doe.model.errors import listed
from doe.model.stated import as_labels

SHARE_NOTICED = 0.5
"""Share of what matters (without it, of half the prediction's interval) from which the two are told apart: judgement."""

SHARE_NAMED = 0.01
"""Share of the scatter from which a source is named as allowed for."""

_SOURCES = {"session": "sessions", "rater": "raters", "drift": "drift"}


def as_read(readings: pd.DataFrame, effects: Effects, names: Sequence[str]) -> float | None:
    """Return the plain mean over builds of the means of their readings, nothing allowed for.

    Of an outcome wanted relative to a reference object that was read, less the plain mean of that. None for a compared one,
    which has no readings that could be averaged.

    Parameters
    ----------
    readings : DataFrame
        One row per reading, with `variant`, `outcome` and `value`.
    effects : Effects
        Analysis of the outcome.
    names : sequence of str
        The builds, all of them read.
    """
    outcome = effects.outcome
    if outcome.kind == "compared":
        return None
    mine = readings[readings["outcome"].astype(str) == outcome.name]
    means = mine["value"].astype(float).groupby(as_labels(mine["variant"])).mean()
    read = [name for name in names if name in means]
    if not read:
        return None
    reference, built = outcome.relative_to, set(effects.variants["variant"])
    level = 0.0
    if reference is not None and reference in means and reference not in built:
        level = float(means[reference])
    return float(means[read].mean()) - level


def allowed_for(effects: Effects) -> str:
    """Name what the adjusted values of an analysis allow for, such as ``sessions and raters``; empty where nothing does."""
    shares = effects.variance.set_index("source")["share"]
    return listed([word for name, word in _SOURCES.items() if shares.get(name, 0.0) >= SHARE_NAMED], "and")


def is_noticed(told: float, read: float | None, margin: float) -> bool:
    """Tell whether what was read lies so far off what is told that a reader would wonder."""
    return read is not None and abs(told - read) >= SHARE_NOTICED * margin
