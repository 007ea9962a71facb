from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from doe.rehearse.calibration import Calibration, calibrate, section
from doe.rehearse.histories import draw_rebuilt_truth, draw_truth, free_history, rebuilt_history


def test_a_history_is_made_by_its_seed_alone():
    one, two = (free_history(draw_truth(np.random.default_rng(3)), np.random.default_rng(4)).log for _ in range(2))
    pd.testing.assert_frame_equal(one, two)


def test_a_build_is_read_about_its_own_value():
    """With 200 raters the mean of a build's readings is its own value, its session's and the raters' offsets aside."""
    truth = replace(draw_truth(np.random.default_rng(3)), n_raters=200, session_sd=0.0)
    bench = free_history(truth, np.random.default_rng(4))
    means = bench.log.groupby("variant", sort=False)["value"].mean().to_numpy() - bench.panel
    assert len(bench.own) == truth.n_variants
    np.testing.assert_allclose(means, bench.own, atol=5 * truth.reading_sd / np.sqrt(200))


def test_a_rebuilt_history_keeps_what_only_a_rebuild_changes_on_each_unit():
    """With no build scatter, what variants of one unit differ by beyond their settings is nothing, and units differ."""
    drawn = draw_rebuilt_truth(np.random.default_rng(3))
    truth = replace(drawn, build_sd=0.0, n_variants=60)
    bench = rebuilt_history(truth, np.random.default_rng(4))
    first = bench.log.drop_duplicates("variant")
    assert first.groupby("unit")[truth.rebuild_factors].nunique().eq(1).all().all()
    left = pd.Series(bench.own - truth.mean(first), index=first["unit"].to_numpy())
    assert left.groupby(level=0).std().max() < 1e-9
    assert 0.3 * truth.unit_sd < left.groupby(level=0).first().std() < 2 * truth.unit_sd


def test_where_nothing_is_active_the_truth_is_flat():
    rng = np.random.default_rng(1)
    truth = draw_truth(rng, nothing=True)
    assert not truth.coefficients
    log = free_history(truth, rng).log
    assert np.all(truth.mean(log[[factor.name for factor in truth.coding.factors]]) == 0)


@pytest.mark.slow
def test_promises_are_kept_on_a_sample_of_histories():
    """26 free histories, 15 with nothing, 10 with little going on: the targets less three standard errors of such a sample."""
    found = calibrate({"free": range(26), "nothing": range(800, 815), "modest": range(10)})
    classical, builds = found.classical["covered"], found.builds["covered"]
    assert classical.mean() > 0.93 - 3 * np.sqrt(0.05 * 0.95 / len(classical))
    assert builds.mean() > 0.93 - 3 * np.sqrt(0.05 * 0.95 / (len(builds) / 5))
    means = found.builds["mean_covered"]
    assert means.mean() > 0.93 - 3 * np.sqrt(0.05 * 0.95 / (len(means) / 5))
    mains = found.terms[found.terms["is_main"] & found.terms["miss"].notna()]
    assert (mains["miss"] < 0.02).mean() > 0.93 - 3 * np.sqrt(0.07 * 0.93 / len(mains))
    for is_early in (True, False):
        pairs = found.pairs[(found.pairs["n_variants"] == 4) == is_early]
        assert pairs["covered"].mean() > 0.93 - 3 * np.sqrt(0.05 * 0.95 / (len(pairs) / 4))
    sure = found.terms[found.terms["activity"] >= 0.9]
    assert sure["is_true"].mean() > 0.90 - 3 * np.sqrt(0.1 * 0.9 / len(sure))
    nothing = found.terms[found.terms["family"] == "nothing"]
    claims = nothing.assign(claim=nothing["verdict"] == "moves it").groupby("seed")["claim"].any()
    assert claims.mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / len(claims))


def test_the_section_names_every_promise():
    terms = pd.DataFrame(
        {
            "seed": [1, 1], "family": ["free", "nothing"], "term": ["a", "b"], "is_main": [True, True],
            "is_rebuild": [False, False],
            "is_true": [True, False], "activity": [0.95, 0.05], "verdict": ["moves it", "can't tell yet"], "miss": [0.0, 0.1],
        }
    )  # fmt: skip
    covered = pd.DataFrame({"seed": [1], "family": ["free"], "covered": [True], "mean_covered": [True]})
    pairs = covered.assign(n_variants=4)
    text = section(
        Calibration(terms, terms, covered, covered, pairs),
        dict.fromkeys(("free", "nothing", "modest", "rebuilt", "steered"), 1),
    )
    assert "| terms with activity 0.9 or more that are truly active | 100.0 % | at least 90 % | 1 |" in text
    assert "| 0.9 to 1.0 | 0.950 | 1.000 | 1 |" in text
