import numpy as np
import pandas as pd
import pytest
from scipy import stats

from doe.rehearse.report import section
from doe.rehearse.summaries import (
    bootstrap_mean,
    bootstrap_ratio,
    chance_figures,
    claim_figures,
    outcomes_by_strategy,
    ratios,
)


def plays():
    rng = np.random.default_rng(1)
    rows = []
    for family in ("main", "interaction", "curved", "together", "noisy", "nothing"):
        for seed in range(8):
            base = rng.uniform(400, 1200)
            for strategy, factor in (("advised", 0.5), ("one factor at a time", 1.0)):
                rows.append(
                    {"family": family, "seed": seed, "strategy": strategy, "minutes": factor * base, "reached": seed > 1,
                     "finally_right": seed > 2, "regret": 0.05, "variants": 10, "stop_minutes": 100.0 if seed > 3 else np.nan,
                     "stop_right": float(seed > 4) if seed > 3 else np.nan, "claimed": 2.0,
                     "claimed_rightly": 2.0 - (seed == 0),
                     "real": 3.0, "real_claimed": 2.0, "twin_claimed": 0.0, "twin_claimed_at_start": float(seed == 1),
                     "stated": 20 if strategy == "advised" else 0, "held": 18 + (seed > 3) if strategy == "advised" else 0,
                     "chances_small": 4, "told_small": 0.4, "came_small": seed == 0,
                     "chances_middling": 0, "told_middling": 0.0, "came_middling": 0,
                     "chances_good": 2, "told_good": 1.5, "came_good": 1}
                )  # fmt: skip
    return pd.DataFrame(rows)


def test_ratios_are_of_means_over_the_same_benches():
    frame = ratios(plays())
    assert set(frame["family"]) == {"main", "interaction", "curved", "together", "noisy", "all"}
    np.testing.assert_allclose(frame["ratio"], 0.5)
    np.testing.assert_allclose(frame[["low", "high"]], 0.5)


def test_the_interval_of_a_ratio_covers_as_it_says():
    """Percentile bootstrap on 200 simulated data sets of 60 pairs: 90 to 99 % of them hold the true ratio."""
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(200):
        other = rng.gamma(4, 200, 60)
        ours = 0.6 * other * rng.lognormal(0, 0.4, 60) / np.exp(0.08)
        _, low, high = bootstrap_ratio(ours, other, n_resamples=400)
        hits += low < 0.6 < high
    assert 180 <= hits <= 198


def test_the_interval_of_a_mean_is_near_the_normal_one():
    values = np.random.default_rng(3).normal(5, 2, 400)
    mean, low, high = bootstrap_mean(values)
    half = stats.norm.ppf(0.975) * values.std() / 20
    expected = values.mean(), values.mean() - half, values.mean() + half
    assert (mean, low, high) == pytest.approx(expected, abs=0.013)  # three standard errors of an end, of 4,000 draws


def test_claims_are_counted_where_something_matters_and_where_nothing_does():
    """Of our plays: in one bench of eight something is claimed where nothing acts, and in two the passive twin at the end."""
    played = plays()
    played.loc[played["strategy"] != "advised", ["claimed", "twin_claimed", "twin_claimed_at_start"]] = 99.0
    played.loc[played["family"] == "nothing", "claimed"] = 3.0 * (played["seed"] == 2)
    played.loc[played["family"] == "together", "twin_claimed"] = 1.0 * (played["seed"] < 2)
    figures = claim_figures(played)
    assert figures["precision"] == pytest.approx(1 - 1 / 16)
    assert figures["recall"] == pytest.approx(2 / 3)
    assert figures["any_claim_where_nothing_matters"] == 1 / 8
    assert figures["passive_twin_claimed_at_start"] == 1 / 8
    assert figures["passive_twin_claimed_at_end"] == 2 / 8


def test_stops_are_judged_among_those_that_stop():
    frame = outcomes_by_strategy(plays())
    row = frame[(frame["strategy"] == "advised") & (frame["family"] == "all")].iloc[0]
    assert (row["benches"], row["stopped"], row["stop_right"]) == (40, 0.5, 0.75)


def test_chances_told_stand_beside_what_came_of_them():
    frame = chance_figures(plays()).set_index("band")
    assert list(frame.index) == ["small", "good"]
    assert frame.loc["small", ["chances", "told", "came"]].tolist() == pytest.approx([6 * 8 * 4, 0.1, 1 / 32])
    assert frame.loc["good", ["told", "came", "low", "high"]].tolist() == pytest.approx([0.75, 0.5, 0.5, 0.5])
    assert frame.loc["small", "low"] < 1 / 32 < frame.loc["small", "high"]


def test_the_section_holds_a_row_for_each_strategy_and_says_how_to_get_it():
    text = section(plays(), hours=24, command="fettle rehearse --benches 8")
    assert "`fettle rehearse --benches 8`" in text
    assert text.count("| one factor at a time |") == 1 + 7
    assert "0.50 (0.50 to 0.50)" in text
    assert "seeds 0 to 7" in text
