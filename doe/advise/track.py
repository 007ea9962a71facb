"""Beliefs on record: what suggestions predicted, held against what was read."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from doe.model import wording
from doe.model.errors import DataError
from doe.model.factor import Factor

if TYPE_CHECKING:
    import pandas as pd

PRIOR_WEIGHT = 10.0
"""Predictions that the trust in the first intervals is worth; that many must have missed before they are widened much."""

HALF_WIDTH = 1.959963984540054
"""Standard deviations from the middle to the end of a 95 % interval."""


@dataclass(frozen=True)
class Track:
    """Predictions held against readings.

    Attributes
    ----------
    table : DataFrame
        One row per prediction that has been met by a reading: ``suggestion, outcome, mean, low, high`` as predicted, ``read``
        (mean of the readings), ``readings``, ``held`` (whether it lay in the interval) and ``away`` (distance from the mean in
        predicted standard deviations).
    widen : mapping of str to float
        Outcome -> factor, 1 or more, by which future intervals are to be widened.
    waiting : int
        Predictions that no reading has met yet.
    """

    table: pd.DataFrame
    widen: Mapping[str, float]
    waiting: int

    @property
    def headline(self) -> str:
        """The answer in one sentence."""
        count = len(self.table)
        if not count:
            return "No prediction has been met by a reading yet."
        held = int(self.table["held"].sum())
        share = wording.percent(held / count)
        return f"{held} of {wording.counted(count, 'prediction')} held ({share}; 95 % were promised)."

    def to_frame(self) -> pd.DataFrame:
        """Return the predictions met so far, at full precision."""
        return self.table.copy()

    def summary(self) -> str:
        """Return the track record as text."""
        lines = [self.headline]
        lines += [
            f"{outcome}: the readings scatter more than predicted; future intervals are widened by {wording.number(factor)}."
            for outcome, factor in self.widen.items()
            if factor > 1.0
        ]
        if self.waiting:
            lines.append(f"{wording.counted(self.waiting, 'prediction')} not met by a reading yet.")
        return "\n".join(lines) + "\n"

    def _repr_html_(self) -> str:
        return "".join(f"<p>{html.escape(line)}</p>" for line in self.summary().splitlines())


def track(suggestions: Sequence[Mapping[str, Any]], readings: pd.DataFrame, factors: Sequence[Factor]) -> Track:
    """Hold predictions against the readings that came after them.

    Parameters
    ----------
    suggestions : sequence of mapping
        Each with ``settings`` (by factor) and ``predictions`` (each with ``outcome, mean, low, high``); optionally ``id`` and
        ``at``, the time it was made.
    readings : DataFrame
        ``variant, outcome, value``, one column per factor; with a column ``at`` (when each was put on record) only those
        after the suggestion count.
    factors : sequence of Factor

    Returns
    -------
    Track

    Raises
    ------
    DataError
        If the readings lack a column, or a setting is not allowed.

    Notes
    -----
    A factor for the intervals of an outcome is the root of the mean squared distance in predicted standard deviations, drawn
    towards 1 with the weight of ten predictions; intervals are widened, never narrowed.
    """
    import pandas as pd

    keyed = _by_settings(readings, factors)
    rows, waiting = [], 0
    for number, suggestion in enumerate(suggestions, start=1):
        mine = keyed.get(_key(suggestion["settings"], factors))
        for promised in suggestion["predictions"]:
            values = _values_after(mine, promised["outcome"], suggestion.get("at"))
            if not len(values):
                waiting += 1
                continue
            rows.append(_row(suggestion.get("id", number), promised, values))
    columns = ["suggestion", "outcome", "mean", "low", "high", "read", "readings", "held", "away"]
    table = pd.DataFrame(rows, columns=columns)
    return Track(
        table, {str(name): _factor(part["away"]) for name, part in table.groupby("outcome", sort=False)}, waiting
    )


def _by_settings(readings: pd.DataFrame, factors: Sequence[Factor]) -> dict[tuple[Any, ...], pd.DataFrame]:
    names = [factor.name for factor in factors]
    for name in ("outcome", "value", *names):
        if name not in readings.columns:
            raise DataError(f"The readings have no column '{name}'.")
    built = readings.dropna(subset=names) if names else readings
    groups = built.groupby(names, sort=False)
    return {_key(dict(zip(names, key, strict=True)), factors): part for key, part in groups}


def _key(settings: Mapping[str, Any], factors: Sequence[Factor]) -> tuple[Any, ...]:
    return tuple(factor.read(settings[factor.name]) for factor in factors)


def _values_after(mine: pd.DataFrame | None, outcome: str, at: Any) -> Any:
    if mine is None:
        return np.empty(0)
    chosen = mine["outcome"].astype(str) == outcome
    if at is not None and "at" in mine.columns:
        chosen &= mine["at"] > at
    return mine.loc[chosen, "value"].to_numpy(dtype=float)


def _row(suggestion: Any, promised: Mapping[str, Any], values: Any) -> tuple[Any, ...]:
    read, mean, low, high = (
        float(values.mean()),
        float(promised["mean"]),
        float(promised["low"]),
        float(promised["high"]),
    )
    sd = (high - low) / 2 / HALF_WIDTH
    away = (read - mean) / sd if sd > 0 else 0.0 if read == mean else math.inf
    return (suggestion, promised["outcome"], mean, low, high, read, len(values), low <= read <= high, away)


def _factor(away: pd.Series[Any]) -> float:
    squares = float((away.clip(-8, 8) ** 2).sum())  # one wild reading is an outlier, not a verdict on all intervals
    return max(1.0, math.sqrt((PRIOR_WEIGHT + squares) / (PRIOR_WEIGHT + len(away))))
