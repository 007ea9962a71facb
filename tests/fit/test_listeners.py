"""Listeners held against their own repeats and against each other, by hand and against scipy and numpy."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from doe.fit.evidence import gather
from doe.fit.listeners import _p_below_zero, listener_checks
from doe.model.factor import Factor
from doe.model.outcome import Outcome

REPEATS, AGREEMENT = "Do listeners repeat themselves?", "Do listeners agree?"
VARIANTS = 8


def checks(rows, kind="rated"):
    """Check by name, of rows of rater, variant, grade, session."""
    log = pd.DataFrame(rows, columns=["rater", "variant", "value", "session"])
    log["a"] = log["variant"] % 2
    log["order"] = np.arange(len(log)) if len({row[3] for row in rows}) == 1 else None
    outcome = Outcome("echo", kind=kind, scale=(1, 7) if kind == "rated" else None, matters=2.0)
    return {one.check: one for one in listener_checks(gather(log, [Factor("a", low=0, high=1)], outcome))}


def twice(off, sessions=("s", "s")):
    """Each variant graded twice by each listener, the second time `off[listener][variant]` higher."""
    return [
        (rater, variant, 2 + variant % 3 + place * by[variant], sessions[place])
        for rater, by in off.items() for variant in range(VARIANTS) for place in (0, 1)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("others", "of_bo", "is_named"),
    [
        ([1] * 8, [3] * 2 + [1] * 6, False),  # (2 * 9 / 2 + 6 / 2) / 8 over 1 / 2 is 3
        ([1] * 8, [3] * 3 + [1] * 5, True),  # 4, and 3.9 is the 1 % point of F with 8 and 16
        ([0] * 8, [3] * 8, True),  # there is nothing to divide by; a step of 1 hides 1/12
        ([0] * 8, [1] * 4 + [0] * 4, False),  # 1/4 over 1/12 is 3
    ],
)
def test_a_listener_who_repeats_worse_than_the_others_is_named(others, of_bo, is_named):
    """Once the others never slipped at all, whoever did was not looked at."""
    assert 3 < stats.f.isf(0.01, 8, 16) < 4
    found = checks(twice({"Ann": others, "Bo": of_bo, "Cy": others}))[REPEATS]
    assert found.finding.startswith("Bo cannot repeat a grade") is is_named
    assert found.level == ("look" if is_named else "fine")


def test_a_repeat_is_of_the_same_variant_in_one_session():
    off = {"Ann": [1] * 8, "Bo": [1] * 8}
    assert checks(twice(off))[REPEATS].finding == "They repeat a grade to within a standard deviation of 0.71."
    apart = checks(twice(off, sessions=("s", "t")))[REPEATS]
    assert apart.finding == "Nobody graded the same variant twice in one session."


def test_agreement_is_the_mean_correlation_with_the_mean_of_the_others():
    """Against numpy; what nobody else graded says nothing, a grade given twice counts once, and it takes five in common."""
    rng = np.random.default_rng(1)
    grades = np.clip(rng.integers(2, 6, VARIANTS) + rng.integers(-1, 2, (3, VARIANTS)), 1, 7).astype(float)
    grades[1:, 0] = grades[2, 1] = np.nan
    rows = [
        (rater, variant, grades[place, variant], "s")
        for place, rater in enumerate(("Ann", "Bo", "Cy")) for variant in range(VARIANTS)
        if np.isfinite(grades[place, variant])
    ]  # fmt: skip
    others = [np.nanmean(np.delete(grades, place, axis=0)[:, 1:], axis=0) for place in range(3)]
    own = [np.isfinite(grades[place, 1:]) for place in range(3)]
    mean = np.mean([np.corrcoef(grades[k, 1:][own[k]], others[k][own[k]])[0, 1] for k in range(3)])
    finding = f"Grades go with those of the other listeners (mean correlation {mean:.2g})."
    assert checks(rows)[AGREEMENT].finding == finding
    assert checks([*rows, *rows[:4]])[AGREEMENT].finding == finding
    assert AGREEMENT in checks([row for row in rows if row[1] < 6])
    assert AGREEMENT not in checks([row for row in rows if row[1] < 5])
    assert AGREEMENT not in checks([row for row in rows if row[0] == "Ann"])
    assert checks(rows, kind="measured") == {}


def test_whoever_grades_all_alike_neither_agrees_nor_disagrees():
    rows = [
        (rater, variant, variant % 4 + 1 if rater != "Cy" else 4, "s")
        for rater in ("Ann", "Bo", "Cy")
        for variant in range(8)
    ]
    assert "(mean correlation 1)" in checks(rows)[AGREEMENT].finding


@pytest.mark.parametrize("seed", range(3))
def test_how_rare_a_correlation_as_low_is_agrees_with_scipy(seed):
    x, y = np.random.default_rng(seed).normal(size=(2, 7))
    theirs = stats.pearsonr(x, y, alternative="less")
    assert _p_below_zero(float(theirs.statistic), 7) == pytest.approx(theirs.pvalue, rel=1e-9)
