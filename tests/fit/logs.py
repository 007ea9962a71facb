"""Simulated logs whose truth is written down, for tests of the engine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from doe.coding import Coding
from doe.fit.analyse import _nothing, _table
from doe.fit.effects import Basis, Effects
from doe.fit.estimates import averages
from doe.fit.origins import origin_of
from doe.fit.passes import fit
from doe.fit.priors import Prior
from doe.model.factor import Factor
from doe.model.outcome import Outcome

DRIVER = {"paper": 2.0, "poly": -2.0, "bamboo": -1.0}
"""Truth of `radio_log`: bass by driver; wool lowers it by 1.2 over its range; vents, rings and feet do nothing."""

FACTORS = (
    Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", low=0, high=60, step=5, unit="%", minutes=8),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"], minutes=25),
    Factor("feet", kind="categorical", levels=["felt", "cork"], minutes=3),
)
BASS = Outcome("bass", unit="dB", goal="hit", target=0, worst=6, matters=1.0)


def random_settings(n_variants: int, rng: np.random.Generator, factors: tuple[Factor, ...] = FACTORS) -> pd.DataFrame:
    """Settings drawn from each factor's grid."""
    columns: dict[str, Any] = {}
    for factor in factors:
        grid = factor.grid()
        columns[factor.name] = [grid[place] for place in rng.integers(len(grid), size=n_variants)]
    return pd.DataFrame(columns)


def radio_log(seed: int, n_variants: int = 24, n_raters: int = 3, *, reference: bool = True) -> pd.DataFrame:
    """Readings of bass by several raters in sessions of four variants; build sd 0.3, reading sd 0.5."""
    rng = np.random.default_rng(seed)
    settings = random_settings(n_variants, rng)
    build = rng.normal(0, 0.3, n_variants)
    sessions, raters = rng.normal(0, 0.5, n_variants // 4 + 1), rng.normal(0, 0.6, n_raters)
    rows = []
    for variant, record in enumerate(settings.to_dict("records")):
        truth = DRIVER[record["driver"]] - 0.02 * (record["wool"] - 30) + build[variant]
        for rater in range(n_raters):
            session = variant // 4
            value = truth + sessions[session] + raters[rater] + rng.normal(0, 0.5)
            conditions = {
                "session": f"s{session}",
                "rater": f"r{rater}",
                "order": variant % 4 + 1,
                "unit": f"u{variant // 5}",
            }
            rows.append({"variant": str(variant + 1), "outcome": "bass", "value": value, **conditions, **record})
    if reference:
        empty = dict.fromkeys((factor.name for factor in FACTORS), None)
        for session in range(n_variants // 4):
            for rater in range(n_raters):
                value = 1.0 + sessions[session] + raters[rater] + rng.normal(0, 0.5)
                conditions = {"session": f"s{session}", "rater": f"r{rater}", "order": 5, "unit": None}
                rows.append({"variant": "shop radio", "outcome": "bass", "value": value, **conditions, **empty})
    return pd.DataFrame(rows)


def plain_log(settings: pd.DataFrame, values: Any) -> pd.DataFrame:
    """One reading per variant."""
    log = settings.copy()
    log["variant"] = [f"v{place + 1}" for place in range(len(settings))]
    log["value"] = np.asarray(values, dtype=float)
    return log


def coding() -> Coding:
    """The coding of `FACTORS`."""
    return Coding(FACTORS)


def table_alone(log: pd.DataFrame, factors: Sequence[Factor], outcome: Outcome) -> Effects:
    """Effects with the table and draws that `analyse` gives, and nothing beside: half the work, for laws of many logs."""
    coding = Coding(tuple(factors))
    origin = origin_of(log, coding, outcome)
    evidence = origin.evidence
    candidates = coding.terms("quadratic", evidence.varied)
    fitted = fit(origin, coding, candidates, Prior(), exact=False)
    average = averages(coding, fitted.posterior)
    rows = coding.matrix(evidence.settings, average.terms).values
    basis = Basis(average, fitted.builds, rows, evidence.variants[: evidence.n_built], fitted.reading_sd)
    table, _ = _table(coding, evidence, average)
    return replace(_nothing(coding, evidence, candidates, (), 1), table=table, basis=basis)
