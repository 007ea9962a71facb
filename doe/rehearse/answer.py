"""What a rehearsal of a maker's own setup answers."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from doe.advise.track import HALF_WIDTH
from doe.model import wording
from doe.model.errors import listed

WAYS = ("way of working", "found a good one", "half of them by", "kept a good one", "short of the best by")
"""What stands above the cells of `Rehearsal.compared`."""


@dataclass(frozen=True, eq=False)
class Rehearsal:
    """What may be expected of a tuning effort before it starts.

    Attributes
    ----------
    plays : DataFrame
        One row per simulated bench: ``seed, family, minutes, reached, finally_right, regret, variants, builds`` (units made),
        ``variants_until`` (built by the time a good one was declared, or in all), ``stop_minutes, stop_right``.
    effects : DataFrame
        One row per main effect of the truths: ``outcome, factor, swing, share`` (of the outcome's range), ``claimed``.
    smallest : DataFrame
        ``outcome, unit, swing, share``: smallest swing that would be claimed with a chance of 80 %; missing where none would.
    hours : float
        Bench hours of each.
    noise : float
        Scatter of one reading, as a share of each outcome's range.
    notes : tuple of str
    rivals : DataFrame
        The same for textbook ways of working on the same benches: ``strategy, seed, minutes, reached, finally_right, regret,
        variants``; empty unless asked for.
    """

    plays: pd.DataFrame
    effects: pd.DataFrame
    smallest: pd.DataFrame
    hours: float
    noise: float
    notes: tuple[str, ...] = ()
    rivals: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def headline(self) -> str:
        """The answer in one sentence."""
        reached, count = int(self.plays["reached"].sum()), wording.counted(len(self.plays), "rehearsal")
        if not reached:
            return (
                f"In none of {count} was a variant with at least 90 % of the best attainable worth found within "
                f"{self.hours:g} h."
            )
        half = "half were not there by then"
        if _is_half(self.plays):
            time = wording.duration(_half(self.plays["minutes"]))
            until = self.plays["variants_until"].where(self.plays["reached"], np.inf)
            half = f"half were there after {time} and {_counted(until, 'variant')}"
        low, high = share_interval(reached, len(self.plays))
        return (
            f"{reached} of {count} found a variant with at least 90 % of the best attainable worth within {self.hours:g} h "
            f"(95 % interval: {wording.percent(low)} to {wording.percent(high)}); {half}."
        )

    def to_frame(self) -> pd.DataFrame:
        """Return the plays, at full precision."""
        return self.plays.copy()

    def summary(self) -> str:
        """Return the answer as text."""
        return "\n".join([self.headline, *self.sentences, *(f"Note: {note}" for note in self.notes)]) + "\n"

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is kept at the end, and which effects could be seen."""
        unseen = [wording.spaced(name) for name in self.smallest["outcome"][self.smallest["swing"].isna()]]
        none = "No effect of the sizes tried would be seen with a chance of 80 %"
        return (
            self._kept(),
            *(_seen(row) for row in self.smallest.dropna(subset="swing").to_dict("records")),
            *([f"{none} on {listed(unseen, 'and')}."] if unseen else []),
        )

    def by(self, hours: float) -> dict[str, float]:
        """Return which share of the rehearsals had a good variant by then: ``hours, share, low, high`` (95 %)."""
        count = int((self.plays["reached"] & (self.plays["minutes"] / 60 <= hours)).sum())
        low, high = share_interval(count, len(self.plays))
        return {"hours": hours, "share": count / len(self.plays), "low": low, "high": high}

    def course(self) -> pd.DataFrame:
        """Return the same at the start, whenever another one had a good variant, and at the end: one row each."""
        found = sorted(set(self.plays["minutes"][self.plays["reached"]] / 60) - {0.0, self.hours})
        return pd.DataFrame([self.by(hours) for hours in (0.0, *found, self.hours)])

    def course_headline(self) -> str:
        """Say how many had a good variant half-way, and at the end."""
        half, end = (wording.percent(self.by(hours)["share"]) for hours in (self.hours / 2, self.hours))
        return (
            f"{half} of rehearsals had a good variant after {wording.duration(30 * self.hours)}, {end} after "
            f"{wording.duration(60 * self.hours)}."
        )

    def compared(self, ours: str) -> list[tuple[str, ...]]:
        """Return a row for each way of working, its cells under `WAYS`; none unless others were played.

        Parameters
        ----------
        ours : str
            What the first way, doing what is advised, is called.
        """
        if not len(self.rivals):
            return []
        groups = [(ours, self.plays), *self.rivals.groupby("strategy", sort=False)]
        return [_way(str(name), plays, self.hours) for name, plays in groups]

    def _kept(self) -> str:
        plays = self.plays
        return (
            f"The variant kept at the end was that good in {int(plays['finally_right'].sum())} of them, short of the best by "
            f"{wording.number(plays['regret'].mean(), 2)} of worth on average; half built up to "
            f"{_counted(plays['variants'], 'variant')} on {_counted(plays['builds'], 'unit')}."
        )

    def _repr_html_(self) -> str:
        return "".join(f"<p>{html.escape(line)}</p>" for line in self.summary().splitlines())


def _seen(row: Mapping[Any, Any]) -> str:
    """Say from which size on an effect on an outcome would be seen."""
    outcome = wording.capital(wording.spaced(row["outcome"]))
    return (
        f"{outcome}: effects from about {wording.number(row['swing'], 2)}{wording.unit_behind(row['unit'])} on "
        f"({wording.percent(row['share'])} of its range) would be seen with a chance of 80 %."
    )


def _way(name: str, plays: pd.DataFrame, hours: float) -> tuple[str, ...]:
    return (
        name,
        wording.percent(float(plays["reached"].mean())),
        wording.duration(_half(plays["minutes"])) if _is_half(plays) else f"not in {hours:g} h",
        wording.percent(float(plays["finally_right"].mean())),
        f"{wording.number(plays['regret'].mean(), 2)} of worth",
    )


def share_interval(count: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share.

    References
    ----------
    Wilson, E. B. (1927). Probable inference, the law of succession, and statistical inference. Journal of the American
    Statistical Association 22, 209-212. doi:10.1080/01621459.1927.10502953
    """
    z2 = HALF_WIDTH**2
    middle = (count + z2 / 2) / (of + z2)
    half = np.sqrt(count * (of - count) / of * z2 + z2**2 / 4) / (of + z2)
    return float(max(middle - half, 0.0)), float(min(middle + half, 1.0))


def _counted(counts: pd.Series[Any], noun: str) -> str:
    return wording.counted(round(_half(counts)), noun)


def _is_half(plays: pd.DataFrame) -> bool:
    """Tell whether half of the rehearsals or more found a good variant."""
    return bool(plays["reached"].mean() >= 0.5)


def _half(values: pd.Series[Any]) -> float:
    """Return what half of the rehearsals or more do not exceed; one of them, not the middle between two."""
    return float(values.quantile(0.5, interpolation="lower"))
