"""The classical table of readings without sources of scatter, against statsmodels' least squares."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from doe.coding import Coding
from doe.fit.classical import fit_classical
from doe.fit.evidence import gather
from doe.fit.origins import NO_BUILD_LEFT, origin_of
from doe.model.factor import Factor
from doe.model.outcome import Outcome

FACTORS = (
    Factor("gap", low=0, high=10),
    Factor("heat", low=20, high=60),
    Factor("feet", kind="categorical", levels=["felt", "cork", "foam"]),
)
TERMS = ["gap", "heat", "feet", "gap:heat", "heat^2"]


@pytest.fixture(scope="module")
def log():
    """Gap lowers it, foam raises it, heat bends it."""
    rng = np.random.default_rng(6)
    frame = pd.DataFrame({"gap": rng.uniform(0, 10, 16), "heat": rng.uniform(20, 60, 16)})
    frame["feet"] = np.array(FACTORS[2].levels)[np.arange(16) % 3]
    frame["value"] = 7 - 0.5 * frame["gap"] + 2.0 * (frame["feet"] == "foam") + ((frame["heat"] - 40) / 20) ** 2
    return frame.assign(value=frame["value"] + rng.normal(0, 0.5, 16), variant=[str(place) for place in range(16)])


def columns(log):
    """Mean, gap and heat from -1 to 1, the distances of two levels from the mean of the three, product and square."""
    gap, heat = log["gap"] / 5 - 1, (log["heat"] - 40) / 20
    is_level = [(log["feet"] == level).astype(float) for level in FACTORS[2].levels]
    return np.column_stack([np.ones(len(log)), gap, heat, is_level[0] - is_level[2], is_level[1] - is_level[2],
                            gap * heat, heat**2])  # fmt: skip


def table(log, names=TERMS):
    coding, evidence = Coding(FACTORS), gather(log, FACTORS, Outcome("y"))
    found = fit_classical(evidence, coding, coding.matrix(evidence.settings, coding.terms(names)), [])
    return found.table.set_index("term")


SWINGS = {
    "gap": ([0, 2, 0, 0, 0, 0, 0], 1),  # from end to end
    "heat": ([0, 0, 2, 0, 0, 0, 0], 1),
    "feet": ([0, 0, 0, -1, -2, 0, 0], 3),  # foam less cork, picked among three pairs as the two that differ most
    "gap:heat": ([0, 0, 0, 0, 0, 2, 0], 1),  # half the difference of two swings
    "heat^2": ([0, 0, 0, 0, 0, 0, 1], 1),  # from the middle to either end
}


@pytest.mark.parametrize("times", [1, 2])
def test_every_row_is_a_contrast_of_least_squares(log, times):
    """Estimate, standard error, degrees of freedom, p and interval; Bonferroni's where two levels were picked for their gap."""
    rows = pd.concat([log, log.assign(value=log["value"] + 0.3 * np.sin(np.arange(16)))][:times])
    fit = sm.OLS(rows["value"].to_numpy(), columns(rows)).fit()
    ours = table(rows)
    for term, (weights, picked_from) in SWINGS.items():
        test = fit.t_test(np.array(weights, dtype=float))
        row = ours.loc[term]
        assert row["df"] == fit.df_resid
        assert row["p"] == pytest.approx(min(1.0, picked_from * float(test.pvalue)), rel=1e-8)
        low, high = test.conf_int(alpha=0.05 / picked_from)[0]
        theirs = (test.effect[0], float(np.squeeze(test.sd)), low, high)
        assert tuple(row[["swing", "se", "low", "high"]]) == pytest.approx(theirs, rel=1e-8)


def test_a_reference_object_has_a_mean_of_its_own(log):
    """It tells nothing of the factors; read twice, half the squared difference of 1 joins what is left over, and one degree."""
    shop = pd.DataFrame({"variant": "shop", "value": [50.0, 51.0]})
    alone, beside = table(log), table(pd.concat([log, shop]))
    np.testing.assert_allclose(beside["swing"], alone["swing"], rtol=1e-9)
    assert beside["df"].tolist() == (alone["df"] + 1).tolist()
    fit = sm.OLS(log["value"].to_numpy(), columns(log)).fit()
    wider = np.sqrt((fit.ssr + 0.5) / (fit.df_resid + 1) / fit.mse_resid)
    np.testing.assert_allclose(beside["se"], alone["se"] * wider, rtol=1e-9)


def test_without_a_build_left_over_readings_alone_tell_scatter_and_that_is_said(log):
    """Three builds read twice, a mean and two slopes: least squares on six readings, whose scatter is that within builds."""
    rows = pd.concat([log[:3], log[:3].assign(value=log["value"][:3].add([0.1, -0.2, 0.3]))])
    coding = Coding(FACTORS)
    origin = origin_of(rows, coding, Outcome("y"))
    matrix = coding.matrix(origin.evidence.settings, coding.terms(["gap", "heat"]))
    found, notes = origin.classical(coding, matrix)
    fit = sm.OLS(rows["value"].to_numpy(), columns(rows)[:, :3]).fit()
    np.testing.assert_allclose(found.table["se"], 2 * fit.bse[1:], rtol=1e-8)
    assert found.table["df"].tolist() == [3, 3]
    assert notes == (NO_BUILD_LEFT,)
    beside = pd.concat([rows, pd.DataFrame({"variant": "shop", "value": [50.0]})])  # which takes up no build
    for one in (origin, origin_of(beside, coding, Outcome("y"))):
        assert one.classical(coding, coding.matrix(origin.evidence.settings, coding.terms(["gap"])))[1] == ()


def test_what_depends_on_terms_before_it_is_left_open(log):
    """Heat that rose with the gap cannot be told beside it; with as many terms as builds there is no standard error."""
    both = table(log.assign(heat=20 + 4 * log["gap"]), ["gap", "heat"])
    assert both.loc["heat", ["swing", "se", "p"]].isna().all()
    assert np.isfinite(both.loc["gap", ["swing", "se", "p"]].astype(float)).all()
    full = table(log[:7])
    assert np.isfinite(full["swing"]).all()
    assert full[["se", "p", "low", "high"]].isna().all(axis=None)
