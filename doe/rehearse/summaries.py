"""Figures from plays: ratios of minutes, what came of the plays, claims, with bootstrap intervals."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.rehearse.nature import WHERE_SOMETHING_MATTERS
from doe.rehearse.run import CHANCE_BANDS

Array = npt.NDArray[np.float64]

OURS = "advised"
FRONTIER = "told which terms are real"


def bootstrap_ratio(
    ours: Array, others: Array, *, n_resamples: int = 4000, seed: int = 1, level: float = 0.95
) -> tuple[float, float, float]:
    """Return the ratio of two means over the same benches, with a percentile bootstrap interval.

    Parameters
    ----------
    ours, others : ndarray of shape (n_benches,)
        Paired by bench; benches are drawn with replacement (Efron & Tibshirani 1993, ch. 13).
    n_resamples, seed : int
    level : float

    Returns
    -------
    ratio, low, high : float
    """
    rng = np.random.default_rng(seed)
    picks = rng.integers(len(ours), size=(n_resamples, len(ours)))
    ratios = ours[picks].mean(axis=1) / others[picks].mean(axis=1)
    low, high = np.quantile(ratios, [(1 - level) / 2, (1 + level) / 2])
    return float(ours.mean() / others.mean()), float(low), float(high)


def bootstrap_mean(values: Array, *, n_resamples: int = 4000, seed: int = 1) -> tuple[float, float, float]:
    """Return a mean with its 95 % percentile bootstrap interval."""
    rng = np.random.default_rng(seed)
    means = values[rng.integers(len(values), size=(n_resamples, len(values)))].mean(axis=1)
    low, high = np.quantile(means, [0.025, 0.975])
    return float(values.mean()), float(low), float(high)


def ratios(plays: pd.DataFrame, ours: str = OURS) -> pd.DataFrame:
    """Compare minutes to the first right declaration with every other strategy.

    Parameters
    ----------
    plays : DataFrame
        Rows from `run.one_row`.
    ours : str
        Strategy that is compared.

    Returns
    -------
    DataFrame
        ``strategy, family, benches, ratio, low, high``; family ``all`` is over the families where something matters.
    """
    rows = []
    wide = plays.pivot(index=["family", "seed"], columns="strategy", values="minutes")
    for other in wide.columns.drop(ours):
        for family in (*WHERE_SOMETHING_MATTERS, "all"):
            wanted = WHERE_SOMETHING_MATTERS if family == "all" else (family,)
            both = wide.loc[wide.index.get_level_values("family").isin(wanted), [ours, other]].dropna()
            if len(both):
                ratio, low, high = bootstrap_ratio(both[ours].to_numpy(), both[other].to_numpy())
                rows.append((other, family, len(both), ratio, low, high))
    return pd.DataFrame(rows, columns=["strategy", "family", "benches", "ratio", "low", "high"])


def outcomes_by_strategy(plays: pd.DataFrame) -> pd.DataFrame:
    """Return reached, finally right, regret and stop figures by strategy and family, with ``all`` as above."""
    matter = plays[plays["family"].isin(WHERE_SOMETHING_MATTERS)]
    groups = [
        *plays.groupby(["strategy", "family"], sort=False),
        *(((name, "all"), part) for name, part in matter.groupby("strategy")),
    ]
    rows = []
    for (strategy, family), part in groups:
        stopped = part[part["stop_minutes"].notna()]
        rows.append(
            {
                "strategy": strategy, "family": family, "benches": len(part), "minutes": part["minutes"].mean(),
                "reached": part["reached"].mean(), "finally_right": part["finally_right"].mean(),
                "regret": part["regret"].mean(), "stopped": len(stopped) / len(part),
                "stop_right": stopped["stop_right"].mean() if len(stopped) else np.nan,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def claim_figures(plays: pd.DataFrame) -> dict[str, float]:
    """Return precision and recall of *moves it* where something matters, and false claims elsewhere."""
    ours = plays[plays["strategy"] == OURS]
    matter, nothing = ours[ours["family"].isin(WHERE_SOMETHING_MATTERS)], ours[ours["family"] == "nothing"]
    twins = ours[ours["family"] == "together"]
    claimed, real = matter["claimed"].sum(), matter["real"].sum()
    return {
        "precision": matter["claimed_rightly"].sum() / claimed if claimed else np.nan,
        "recall": matter["real_claimed"].sum() / real if real else np.nan,
        "any_claim_where_nothing_matters": (nothing["claimed"] > 0).mean() if len(nothing) else np.nan,
        "passive_twin_claimed_at_start": (twins["twin_claimed_at_start"] > 0).mean() if len(twins) else np.nan,
        "passive_twin_claimed_at_end": (twins["twin_claimed"] > 0).mean() if len(twins) else np.nan,
    }


def chance_figures(plays: pd.DataFrame) -> pd.DataFrame:
    """Return how often a build was better than the best so far, by the chance that was told beforehand.

    Returns
    -------
    DataFrame
        ``band, chances, told`` (on average), ``came, low, high`` (the share that came so, with its interval over benches).
    """
    ours = plays[plays["strategy"] == OURS]
    rows = []
    for band in CHANCE_BANDS:
        chances = ours[f"chances_{band}"].to_numpy(dtype=float)
        if chances.sum():
            came = bootstrap_ratio(ours[f"came_{band}"].to_numpy(dtype=float), chances)
            rows.append((band, int(chances.sum()), ours[f"told_{band}"].sum() / chances.sum(), *came))
    return pd.DataFrame(rows, columns=["band", "chances", "told", "came", "low", "high"])
