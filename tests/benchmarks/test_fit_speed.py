"""The engine against plain loops over a general library, as ratios within one run, and against its own size.

The slow side is run on a sample of the same models and scaled up, since all of it would take minutes.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding
from doe.fit import analyse, growing
from doe.fit.active import search
from doe.fit.builds import Builds
from doe.fit.priors import Prior
from doe.fit.whiten import whiten
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.fit.logs import BASS, DRIVER, FACTORS, radio_log, random_settings

pytestmark = pytest.mark.slow

SAMPLE = 400
ROUNDS = 5


def fastest(call: Callable[[], Any], rounds: int = 3) -> float:
    """Seconds of the fastest of some runs."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


@cache
def search_ratios() -> tuple[float, float, int]:
    """Time of loops over the same models by statsmodels OLS and by numpy's lstsq, over ours, and the sets visited.

    A set of terms under one prior scale is least squares with one added row per column, which is what the loops solve, so
    all three compute the same residual sums. The loops are charged one scale per set, where the search takes all.
    """
    import statsmodels.api as sm

    rng = np.random.default_rng(1)
    factors = tuple(Factor(f"f{place}", low=0, high=4, step=1) for place in range(8))
    coding = Coding(factors)
    matrix = coding.matrix(random_settings(30, rng, factors), coding.terms("quadratic"))
    X, y = matrix.values, 1.5 * matrix.values[:, 0] - matrix.values[:, 1] + rng.normal(0, 0.7, 30)
    problem = whiten(Builds(y, np.eye(30) * 0.2, np.eye(30) * 0.3), matrix, coding, replicated=True)
    found = search(problem, Prior())
    kept = list(zip(found.included, found.scales, strict=True))
    designs = [_augmented(X[:, included], gamma) for included, gamma in kept[:SAMPLE]]
    values = [np.append(y, np.zeros(len(design) - 30)) for design in designs]
    pairs = list(zip(values, designs, strict=True))
    calls = (
        lambda: search(problem, Prior()),
        lambda: [sm.OLS(value, design).fit().ssr for value, design in pairs],
        lambda: [np.linalg.lstsq(design, value, rcond=None)[1] for value, design in pairs],
    )
    rounds = [[fastest(call, n) for call, n in zip(calls, (15, 1, 3), strict=True)] for _ in range(ROUNDS)]
    ours, slow, plain = np.min(rounds, axis=0)  # taken by turns, so that a busy spell slows all three
    visited = found.n_visited
    scale = visited / len(pairs) / float(ours)
    return float(slow) * scale, float(plain) * scale, visited


def _augmented(X: Any, gamma: float) -> Any:
    """Model matrix with a column of ones, and one row per term that holds its coefficient near zero."""
    n_terms = X.shape[1]
    held = np.column_stack([np.zeros(n_terms), np.eye(n_terms) / gamma])
    return np.vstack([np.column_stack([np.ones(len(X)), X]), held])


@cache
def analyse_seconds() -> float:
    """One analysis of three outcomes, 30 variants, three raters, eight factors."""
    rng = np.random.default_rng(2)
    factors = tuple(Factor(f"f{place}", low=0, high=4, step=1) for place in range(8))
    settings = random_settings(30, rng, factors)
    logs = []
    for outcome in ("a", "b", "c"):
        build = rng.normal(0, 0.3, 30) + settings["f0"] * rng.normal() + settings["f1"] * rng.normal()
        for rater in range(3):
            values = build + rng.normal(0, 0.5, 30)
            conditions = {
                "variant": [f"v{place}" for place in range(30)],
                "outcome": outcome,
                "value": values,
                "rater": f"r{rater}",
            }
            logs.append(settings.assign(**conditions, session=[f"s{place // 6}" for place in range(30)]))
    log = pd.concat(logs, ignore_index=True)
    return fastest(lambda: [analyse(log, factors, Outcome(name, matters=0.5)) for name in ("a", "b", "c")], 7)


def large_log(n_readings: int, n_variants: int = 2000) -> pd.DataFrame:
    """Readings of many variants in 20 sessions by 10 raters."""
    rng = np.random.default_rng(3)
    settings = random_settings(n_variants, rng)
    variant = rng.integers(n_variants, size=n_readings)
    variant[:n_variants] = np.arange(n_variants)
    session, rater = rng.integers(20, size=n_readings), rng.integers(10, size=n_readings)
    truth = np.array([DRIVER[driver] for driver in settings["driver"]]) + rng.normal(0, 0.3, n_variants)
    values = (
        truth[variant]
        + rng.normal(0, 0.5, 20)[session]
        + rng.normal(0, 0.5, 10)[rater]
        + rng.normal(0, 0.5, n_readings)
    )
    columns = {name: settings[name].to_numpy()[variant] for name in settings}
    conditions = {
        "variant": variant.astype(str),
        "value": values,
        "session": session.astype(str),
        "rater": rater.astype(str),
    }
    return pd.DataFrame({**conditions, **columns})


@cache
def size_ratio() -> float:
    """Time of an analysis of a million readings over that of ten thousand, of the same 2,000 variants."""
    small, large = large_log(10_000), large_log(1_000_000)
    return fastest(lambda: analyse(large, FACTORS, BASS), 1) / fastest(lambda: analyse(small, FACTORS, BASS), 1)


def figures() -> list[dict[str, Any]]:
    """Rows of the benchmark report."""
    by_ols, by_lstsq, visited = search_ratios()
    what = f"active terms of 8 factors (44 terms, 30 variants; {visited} sets of terms under 3 prior scales)"
    each = "the same, each scale of a set counted as a model of its own"
    n_scales = len(Prior().scales)
    return [
        {"check": f"{what}: times faster than looping statsmodels OLS", "ours": by_ols, "target": "at least 100"},
        {"check": f"{what}: times faster than looping numpy lstsq", "ours": by_lstsq, "target": "at least 15"},
        {"check": f"{each}: statsmodels OLS", "ours": by_ols * n_scales, "target": "at least 100"},
        {"check": f"{each}: numpy lstsq", "ours": by_lstsq * n_scales, "target": "at least 15"},
        {
            "check": "analyse, 30 variants x 3 raters x 3 outcomes (s)",
            "ours": analyse_seconds(),
            "target": "at most 0.25",
        },
        {"check": "analyse 1,000,000 readings over 10,000 (times)", "ours": size_ratio(), "target": "at most 10"},
    ]


def test_the_search_is_much_faster_than_a_loop_over_a_library():
    by_ols, by_lstsq, _ = search_ratios()
    assert by_ols >= 100
    assert by_lstsq >= 15


def test_a_million_readings_take_less_than_ten_times_ten_thousand():
    assert size_ratio() <= 10


def test_the_search_visits_more_models_than_a_list_could_hold_by_hand():
    assert search_ratios()[2] > growing.EXHAUSTIVE


def test_analysis_of_the_radio(benchmark: Any):
    """For the record of pytest-benchmark; the limit is in the benchmark report."""
    log = radio_log(1)
    benchmark.pedantic(lambda: analyse(log, FACTORS, BASS), rounds=5, warmup_rounds=1)
