"""What rehearsals are to show, each target beside what was measured, missed or not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.model import wording
from doe.rehearse.nature import WHERE_SOMETHING_MATTERS
from doe.rehearse.summaries import FRONTIER, OURS, bootstrap_mean, claim_figures, ratios

Array = npt.NDArray[np.float64]
Interval = tuple[float, float, float]

TARGET_HEADINGS = ("what", "measured", "target", "met")


@dataclass(frozen=True, slots=True)
class Target:
    """One promise.

    Attributes
    ----------
    what : str
        The figure, in words.
    measured : float
        NaN where there was nothing to measure it on.
    low, high : float
        Its 95 % interval; NaN without one.
    limit : float
    is_most : bool
        Whether the limit is an upper one.
    is_share : bool
        Whether it is shown in per cent.
    """

    what: str
    measured: float
    low: float
    high: float
    limit: float
    is_most: bool
    is_share: bool

    @property
    def is_met(self) -> bool:
        """Whether the figure keeps its limit; what could not be measured does not."""
        return self.measured <= self.limit if self.is_most else self.measured >= self.limit

    @property
    def cells(self) -> list[str]:
        """The figure as a row of `TARGET_HEADINGS`."""
        text = _text(self.measured, self.is_share)
        if math.isfinite(self.low):
            text += f" ({_text(self.low, self.is_share)} to {_text(self.high, self.is_share)})"
        side = "at most" if self.is_most else "at least"
        return [self.what, text, f"{side} {_text(self.limit, self.is_share)}", "yes" if self.is_met else "**no**"]


def targets(plays: pd.DataFrame) -> list[Target]:
    """Return every target with what was measured.

    Parameters
    ----------
    plays : DataFrame
        Rows from `doe.rehearse.run.one_row`.
    """
    return [*_minutes(plays), *_ends(plays), *_claims(plays), *_stops(plays), *_intervals(plays)]


def _text(value: float, is_share: bool) -> str:
    if math.isnan(value):
        return "-"
    return f"{wording.fixed(100 * value, 1)} %" if is_share else wording.fixed(value, 3)


def _most(what: str, value: Interval, limit: float, *, is_share: bool = False) -> Target:
    return Target(what, *value, limit, True, is_share)


def _least(what: str, value: Interval, limit: float, *, is_share: bool = True) -> Target:
    return Target(what, *value, limit, False, is_share)


def _alone(value: float) -> Interval:
    return float(value), math.nan, math.nan


def _minutes(plays: pd.DataFrame) -> list[Target]:
    frame = ratios(plays)
    keys = zip(frame["strategy"], frame["family"], strict=True)
    columns = (frame[name].astype(float) for name in ("ratio", "low", "high"))
    found: dict[tuple[str, str], Interval] = dict(zip(keys, zip(*columns, strict=True), strict=True))

    def of(strategy: str) -> Interval:
        return found.get((strategy, "all"), (math.nan, math.nan, math.nan))

    single = "one factor at a time"
    families = [(single, family) for family in WHERE_SOMETHING_MATTERS if (single, family) in found]
    worst = max((found[key][0] for key in families), default=math.nan)
    ratio, low, high = of(FRONTIER)
    frontier = (1 / ratio, 1 / high, 1 / low)
    return [
        _most(f"minutes over those of {single}, five families", of(single), 0.58),
        _most("the same, upper bound of the interval", _alone(of(single)[2]), 0.62),
        _most("the same, worst family", _alone(worst), 0.68),
        _most("minutes over those of the screening plan", of("screening plan"), 0.70),
        _most("minutes over those of the Gaussian process", of("gaussian process"), 0.65),
        _most("minutes over those of the Gaussian process per minute", of("gaussian process per minute"), 0.65),
        _least("minutes of the frontier, told which terms are real, over ours", frontier, 0.70, is_share=False),
    ]


def _ends(plays: pd.DataFrame) -> list[Target]:
    ours = plays[(plays["strategy"] == OURS) & plays["family"].isin(WHERE_SOMETHING_MATTERS)]
    noisy = ours["family"] == "noisy"
    return [
        _least("reached within the hours, five families", _mean(ours["reached"]), 0.83),
        _least("finally right, noisy ratings apart", _mean(ours["finally_right"][~noisy]), 0.80),
        _least("finally right, noisy ratings", _mean(ours["finally_right"][noisy]), 0.60),
        _most("regret of the variant finally declared, five families", _mean(ours["regret"]), 0.065),
    ]


def _claims(plays: pd.DataFrame) -> list[Target]:
    found = claim_figures(plays)
    words: list[tuple[str, str, float, Callable[..., Target]]] = [
        ("precision of *moves it*, five families", "precision", 0.97, _least),
        ("recall of *moves it*, five families", "recall", 0.62, _least),
        ("any *moves it* where nothing matters", "any_claim_where_nothing_matters", 0.05, _most),
        ("passive twin claimed from its history alone", "passive_twin_claimed_at_start", 0.01, _most),
        ("passive twin claimed at the end", "passive_twin_claimed_at_end", 0.01, _most),
    ]
    return [make(what, _alone(found[name]), limit, is_share=True) for what, name, limit, make in words]


def _stops(plays: pd.DataFrame) -> list[Target]:
    ours = plays[(plays["strategy"] == OURS) & plays["family"].isin(WHERE_SOMETHING_MATTERS)]
    stopped = ours["stop_minutes"].notna()
    return [
        _least("stop advice says 90 % within the hours, five families", _mean(stopped), 0.60),
        _least("right when it first says so", _mean(ours["stop_right"][stopped]), 0.88),
    ]


def _intervals(plays: pd.DataFrame) -> list[Target]:
    """Whether what is told of the worth of the version to keep is true, bench by bench: what is told on one bench is alike."""
    ours = plays[(plays["strategy"] == OURS) & plays["family"].isin(WHERE_SOMETHING_MATTERS) & (plays["stated"] > 0)]
    held = ours["held"] / ours["stated"]
    return [_least("95 % intervals for the worth of the best so far that hold the truth", _mean(held), 0.93)]


def _mean(values: pd.Series) -> Interval:
    found = values.to_numpy(dtype=float)
    return bootstrap_mean(found) if len(found) else (math.nan, math.nan, math.nan)
