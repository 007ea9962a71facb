"""Beliefs on record: what suggestions predicted, held against what was read."""

from __future__ import annotations

import contextlib
import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doe.model import wording
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.patience import checkpoint
from doe.model.stated import as_labels

if TYPE_CHECKING:
    import pandas as pd

PRIOR_WEIGHT = 10.0
"""Predictions that the trust in the first intervals is worth; that many must have missed before they are widened much."""

HALF_WIDTH = 1.959963984540054
"""Standard deviations from the middle to the end of a 95 % interval."""


@dataclass(frozen=True, eq=False, repr=False)
class Track:
    """Predictions held against readings.

    Attributes
    ----------
    table : DataFrame
        One row per prediction that has been met by a reading: ``suggestion``, ``variant`` (read; several with a comma
        between), ``outcome, mean, low, high`` as predicted for as many readings as came, ``read`` (their mean), ``readings``,
        ``held`` (whether it lay in the interval), ``away`` (distance from the mean in predicted standard deviations) and
        ``widened`` (factor by which the interval had been widened when it was given).
    widen : mapping of str to float
        Outcome -> factor, 1 or more, by which future intervals are to be widened.
    waiting : int
        Predictions that no reading has met yet.
    outcomes : tuple of Outcome
        Those predicted, where they are known.
    """

    table: pd.DataFrame
    widen: Mapping[str, float]
    waiting: int
    outcomes: tuple[Outcome, ...] = ()

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

    def to_tables(self) -> dict[str, object]:
        """Return the track record as a frame and plain data, by name."""
        return {"headline": self.headline, "table": self.table, "widen": self.widen, "waiting": self.waiting}

    def summary(self) -> str:
        """Return the track record as text."""
        lines = [self.headline, *(self.sentence(outcome) for outcome in self.widen)]
        if self.waiting:
            lines.append(f"{wording.counted(self.waiting, 'prediction')} not met by a reading yet.")
        return "\n".join(lines) + "\n"

    def sentence(self, outcome: str) -> str:
        """Say how the predictions of one outcome held, and what follows for future ones."""
        mine = self.table[self.table["outcome"] == outcome]
        held = f"{wording.spaced(outcome)}: {int(mine['held'].sum())} of {len(mine)} held"
        factor = self.widen[outcome]
        if not is_widening(factor):
            return f"{held}; future intervals stay as they are."
        times = wording.number(factor, 2)
        return f"{held}; readings scatter more than predicted, so future intervals are widened {times} times."

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        return f"<Track: {self.headline}>"

    def _repr_html_(self) -> str:
        return "".join(f"<p>{html.escape(line)}</p>" for line in self.summary().splitlines())


def is_widening(factor: float) -> bool:
    """Tell whether a factor widens by what can be seen in two digits."""
    return factor >= 1.05


def track(
    suggestions: Sequence[Mapping[str, Any]],
    readings: pd.DataFrame,
    factors: Sequence[Factor],
    outcomes: Sequence[Outcome] = (),
) -> Track:
    """Hold predictions against the readings that came after them.

    Parameters
    ----------
    suggestions : sequence of mapping
        Each with ``settings`` (by factor) and ``predictions`` (each with ``outcome, mean, low, high``, optionally
        ``widened``, and the ``readings`` that it was made for with their ``reading_sd``); optionally ``id`` and ``at``, the
        time it was made. Those whose settings do not fit the factors are left out.
    readings : DataFrame
        ``variant, outcome, value``, one column per factor; with a column ``at`` (when each was put on record) only those
        after the suggestion count.
    factors : sequence of Factor
    outcomes : sequence of Outcome
        For the units and goals of what was predicted.

    Returns
    -------
    Track

    Raises
    ------
    DataError
        If the readings lack a column, or one of their settings is not allowed.

    Notes
    -----
    A factor for the intervals of an outcome is the root of the mean squared distance in predicted standard deviations, drawn
    towards 1 with the weight of ten predictions; intervals are widened, never narrowed. It is taken from the intervals as they
    were before they were widened, or else it would chase itself. A reading is held against the last prediction before it:
    what was predicted earlier for the same settings, and never read, counts neither as met nor as waiting. Compared outcomes
    are left out: no single comparison shows an ability. The mean of fewer readings than a prediction was made for scatters
    more, that of more readings less; intervals are taken for as many as came. What is wanted relative to a reference object is
    held as it was predicted: as the difference from the mean of the reference in the same session, whose own scatter is
    added; readings of a session without it tell nothing of that.
    """
    import pandas as pd

    compared = {outcome.name for outcome in outcomes if outcome.kind == "compared"}

    keyed = _by_settings(_as_differences(readings, factors, outcomes), factors)
    asked = _asked(suggestions, factors)
    rows, waiting = [], 0
    for (number, key, at, promised), replaced in zip(asked, _replaced_at(asked), strict=True):
        checkpoint()
        if promised["outcome"] in compared:
            continue
        met = _read_between(keyed.get(key), promised["outcome"], at, replaced)
        if met is not None:
            rows.append(_row(number, promised, met))
        elif replaced is None:
            waiting += 1
    columns = ["suggestion", "variant", "outcome", "mean", "low", "high", "read", "readings", "held", "away", "widened"]
    table = pd.DataFrame(rows, columns=columns)
    raw = (table["away"] * table["widened"]).groupby(table["outcome"], sort=False)
    return Track(table, {str(name): _factor(part) for name, part in raw}, waiting, tuple(outcomes))


_Asked = tuple[Any, tuple[Any, ...], Any, Mapping[str, Any]]
"""Id of the suggestion, its settings, when it was made, and one of its predictions."""


def _asked(suggestions: Sequence[Mapping[str, Any]], factors: Sequence[Factor]) -> list[_Asked]:
    """List all predictions in the order in which they were made; those that do not fit the factors are left out."""
    found: list[_Asked] = []
    for number, suggestion in enumerate(suggestions, start=1):
        if set(suggestion.get("settings") or ()) != {factor.name for factor in factors}:
            continue
        with contextlib.suppress(DataError):  # a setting that is no longer allowed
            key = _key(suggestion["settings"], factors)
            found += [
                (suggestion.get("id", number), key, suggestion.get("at"), promised)
                for promised in suggestion.get("predictions", ())
            ]
    return found


def _replaced_at(asked: Sequence[_Asked]) -> list[Any]:
    """Return for each prediction when the next one for the same settings was made, None where there is none."""
    following: dict[tuple[Any, ...], Any] = {}
    found = []
    for _, key, at, promised in reversed(asked):
        found.append(following.get((key, promised["outcome"])))
        following[key, promised["outcome"]] = at
    return found[::-1]


def _by_settings(readings: pd.DataFrame, factors: Sequence[Factor]) -> dict[tuple[Any, ...], pd.DataFrame]:
    names = [factor.name for factor in factors]
    for name in ("variant", "outcome", "value", *names):
        if name not in readings.columns:
            raise DataError(f"The readings have no column '{name}'.")
    groups = readings.groupby(names, sort=False)  # leaves out what has no settings: reference objects
    return {_key(dict(zip(names, key, strict=True)), factors): part for key, part in groups}


def _as_differences(readings: pd.DataFrame, factors: Sequence[Factor], outcomes: Sequence[Outcome]) -> pd.DataFrame:
    """Take off what the reference object was read as in the same session, where an outcome is wanted relative to one.

    A column ``beside`` says how many readings of the reference that is; 0 where readings stand as they are.
    """
    wanted = [one for one in outcomes if one.relative_to is not None and one.kind != "compared"]
    names = [factor.name for factor in factors]
    if not wanted or not {"variant", "outcome", "value", *names} <= set(readings.columns):
        return readings
    has_settings = readings[names].notna().any(axis=1)
    result = readings.assign(value=readings["value"].astype(float), beside=0.0)
    sessions = _sessions(result)
    for outcome in wanted:
        mine = result["outcome"].astype(str) == outcome.name
        is_reference = mine & (as_labels(result["variant"]) == outcome.relative_to) & ~has_settings
        if is_reference.any():  # without it the analysis takes readings as they are, and says so
            level = result["value"][is_reference].groupby(sessions[is_reference]).agg(["mean", "size"])
            result.loc[mine, "beside"] = sessions[mine].map(level["size"])
            result.loc[mine, "value"] -= sessions[mine].map(level["mean"])
    return result[result["value"].notna()]


def _sessions(readings: pd.DataFrame) -> pd.Series[str]:
    return readings["session"].fillna("") if "session" in readings.columns else readings["outcome"].map(lambda _: "")


def _scatter_beside(met: pd.DataFrame) -> float:
    """Return by how many readings' variance the reference's mean scatters, 0 where there is none."""
    if "beside" not in met.columns or not (met["beside"] > 0).all():
        return 0.0
    shares = met.groupby(_sessions(met))["beside"].agg(["size", "first"])
    return float(((shares["size"] / len(met)) ** 2 / shares["first"]).sum())


def _key(settings: Mapping[str, Any], factors: Sequence[Factor]) -> tuple[Any, ...]:
    return tuple(factor.read(settings[factor.name]) for factor in factors)


def _read_between(mine: pd.DataFrame | None, outcome: str, start: Any, end: Any) -> pd.DataFrame | None:
    """Return the readings of an outcome after `start` and up to `end`, None where there are none."""
    if mine is None:
        return None
    chosen = mine["outcome"].astype(str) == outcome
    if start is not None and "at" in mine.columns:
        chosen &= mine["at"] > start
    if end is not None and "at" in mine.columns:
        chosen &= mine["at"] <= end
    return mine[chosen] if chosen.any() else None


def _row(suggestion: Any, promised: Mapping[str, Any], met: pd.DataFrame) -> tuple[Any, ...]:
    low, mean, high = _for_readings(promised, len(met), _scatter_beside(met))
    read, variants = float(met["value"].mean()), ", ".join(dict.fromkeys(as_labels(met["variant"])))
    sd = (high - low) / 2 / HALF_WIDTH
    away = (read - mean) / sd if sd > 0 else 0.0 if read == mean else math.inf
    held, widened = low <= read <= high, float(promised.get("widened", 1.0))
    return (suggestion, variants, promised["outcome"], mean, low, high, read, len(met), held, away, widened)


def _for_readings(promised: Mapping[str, Any], count: int, beside: float = 0.0) -> tuple[float, float, float]:
    """Return low, mean and high of a prediction for so many readings; older ones do not say for how many they were.

    `beside` is the variance, in that of a reading, of what the readings are held beside.
    """
    low, mean, high = (float(promised[name]) for name in ("low", "mean", "high"))
    meant, reading_sd = promised.get("readings"), promised.get("reading_sd")
    if not meant or reading_sd is None or (meant == count and not beside):
        return low, mean, high
    widened = float(promised.get("widened", 1.0))
    more = (HALF_WIDTH * widened * reading_sd) ** 2 * (1.0 / count - 1.0 / meant + beside)
    half = math.sqrt(max(((high - low) / 2) ** 2 + more, 0.0))
    return mean - half, mean, mean + half


def _factor(away: pd.Series[Any]) -> float:
    squares = float((away.clip(-8, 8) ** 2).sum())  # one wild reading is an outlier, not a verdict on all intervals
    return max(1.0, math.sqrt((PRIOR_WEIGHT + squares) / (PRIOR_WEIGHT + len(away))))
