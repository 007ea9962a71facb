"""One recommendation, readings to reasons: in seconds, and beside a Gaussian process on the same bench."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from doe.advise import recommend
from doe.advise.gain import expected_excess
from doe.advise.reach import reach_from
from doe.advise.space import make_space
from doe.advise.worth import worth
from doe.coding import Coding
from doe.fit import analyse
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.outcome import Outcome
from doe.model.records import Unit
from doe.rehearse.gaussian import fitted_process, inputs_of
from tests.benchmarks.test_fit_speed import fastest

pytestmark = pytest.mark.slow

TARGET_SECONDS = 0.15
EFFORT = Effort(new_unit_minutes=150, session_minutes=15, reading_minutes=6)
FACTORS = (
    *(
        Factor(f"f{place}", kind="count", low=0, high=2 if place < 4 else 3, minutes=5.0 + 3 * place)
        for place in range(7)
    ),
    Factor("rings", kind="count", low=0, high=3, way="rebuild"),
)
LIMIT = Limit("f0 + f1 + f2 + f3 + f4 + f5 + f6 + rings <= 10")
OUTCOMES = (
    Outcome("bass", goal="hit", target=0, worst=6, matters=1.0),
    Outcome("echo", kind="rated", scale=(1, 7), goal="lower", best=1, worst=6, matters=0.5),
    Outcome("clarity", goal="raise", worst=0, best=12, matters=1.0),
)


@cache
def bench() -> tuple[pd.DataFrame, list[Unit]]:
    """30 variants on three units, each outcome read by three raters."""
    rng = np.random.default_rng(1)
    rows, units = [], {}
    for place in range(30):
        settings = {factor.name: int(rng.integers(0, factor.high + 1)) for factor in FACTORS}
        u = {name: 2 * value / 3 - 1 for name, value in settings.items()}
        true = (2 * u["f0"] + 1.5 * u["f4"], 4 - u["f1"] + 0.8 * u["f1"] * u["f5"], 6 + 3 * u["f6"] - 2 * u["f6"] ** 2)
        unit = f"unit {place % 3}"
        units[unit] = Unit(unit, settings, str(place))
        own = [value + 0.2 * rng.standard_normal() for value in true]
        for rater in "ABC":
            for outcome, value in zip(OUTCOMES, own, strict=True):
                read = value + 0.4 * rng.standard_normal()
                row = {"variant": str(place), "outcome": outcome.name, "value": read, "session": f"s{place // 6}"}
                rows.append({**row, "rater": rater, "unit": unit, **settings})
    return pd.DataFrame(rows), list(units.values())


def n_candidates() -> int:
    """Variants that keep the limit."""
    space = make_space(Coding(FACTORS), limits=[LIMIT])
    return int(space.allowed(space.everything()).sum())


@cache
def advice_seconds() -> float:
    """Fit of three outcomes and recommendation together."""
    readings, units = bench()
    return fastest(lambda: recommend(readings, FACTORS, OUTCOMES, units=units, effort=EFFORT, limits=[LIMIT]), 7)


@cache
def process_seconds() -> float:
    """The Gaussian process of rehearsals, with expected improvement per minute, on the same candidates."""
    readings, units = bench()
    space = make_space(Coding(FACTORS), limits=[LIMIT])

    def choose() -> Any:
        means = readings.pivot_table(index="variant", columns="outcome", values="value", sort=False)
        settings = readings.drop_duplicates("variant").set_index("variant").loc[means.index]
        rows = settings[[factor.name for factor in FACTORS]].astype(int).to_dict("records")
        seen = np.array([space.code(row) for row in rows])
        y = worth(OUTCOMES, {name: means[name].to_numpy() for name in means.columns})
        codes = space.everything()
        codes = codes[space.allowed(codes)]
        model = fitted_process(inputs_of(space, seen), y)
        known = model.predict(inputs_of(space, seen))
        mean, sd = model.predict(inputs_of(space, codes), return_std=True)
        minutes = reach_from(space, units, EFFORT, {}).cheapest(codes)[0] + 21
        return codes[int((expected_excess(mean - known.max(), sd) / minutes).argmax())]

    return fastest(choose, 5)


def figures() -> list[dict[str, Any]]:
    """Measure what is promised."""
    return [
        {"check": "fit and recommendation, 8 factors, 30 variants, 3 raters, 3 outcomes, seconds", "ours": advice_seconds(),
         "target": f"at most {TARGET_SECONDS:g}"},
        {"check": "the same over a Gaussian process, same candidates", "ours": advice_seconds() / process_seconds(),
         "target": "at most 1"},
    ]  # fmt: skip


def test_the_bench_has_ten_thousand_candidates():
    assert n_candidates() >= 10_000


def test_advice_takes_less_than_twice_the_time_of_the_three_analyses_alone():
    """Seconds are in the benchmark report; here a busy machine slows both sides alike."""
    readings, _ = bench()
    analyses = fastest(lambda: [analyse(readings, FACTORS, outcome) for outcome in OUTCOMES], 5)
    assert advice_seconds() < 2 * analyses
