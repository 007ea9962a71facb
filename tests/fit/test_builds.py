"""Adjusted builds against generalised least squares on all readings, written out in full."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from doe.coding import sum_contrasts
from doe.fit.builds import Builds, adjusted_builds
from doe.fit.evidence import gather, groupings
from doe.fit.reml import Reml
from doe.model.outcome import Outcome
from tests.fit.logs import FACTORS, radio_log

SIGMA = 0.4
RATIOS = {"variant": 0.7, "unit": 1.5, "session": 1.2, "rater": 0.5, "drift": 0.3}
"""Standard deviations over that of a reading: known, so that nothing has to be estimated but means."""


def fitted(log, outcome):
    """Evidence, sources, and the model of the known scatter."""
    evidence = gather(log, FACTORS, outcome)
    sources = groupings(evidence)[0]
    none = np.zeros((0, 0))
    theta = tuple(np.array([[RATIOS[source.name]]]) for source in sources)
    names = tuple(source.name for source in sources)
    return evidence, sources, Reml(names, theta, SIGMA, np.zeros(0), none, np.nan, none, np.zeros((0, 0, 0)))


def in_full(log, sources, *, raters_are_free):
    """Means of the variants in order of appearance, references last, and their covariance, by the textbook formula."""
    labels = [*log.loc[log["vents"].notna(), "variant"].unique(), *log.loc[log["vents"].isna(), "variant"].unique()]
    X = (log["variant"].to_numpy()[:, None] == np.array(labels)).astype(float)
    sessions, raters = (pd.get_dummies(log[name]).to_numpy(dtype=float) for name in ("session", "rater"))
    ends = log.groupby("session")["order"].agg(["min", "max"]).loc[log["session"]].to_numpy()
    place = 2 * (log["order"].to_numpy() - ends[:, 0]) / (ends[:, 1] - ends[:, 0]) - 1
    V = np.eye(len(log)) + RATIOS["session"] ** 2 * sessions @ sessions.T
    if "drift" in sources:
        slopes = sessions * place[:, None]
        V += RATIOS["drift"] ** 2 * slopes @ slopes.T
    if raters_are_free:
        X = np.hstack([X, raters @ sum_contrasts(raters.shape[1])])
    else:
        V += max(RATIOS["rater"] ** 2, 1.0) * raters @ raters.T
    covariance = np.linalg.inv(X.T @ np.linalg.solve(V, X))
    means = covariance @ X.T @ np.linalg.solve(V, log["value"].to_numpy())
    return means[: len(labels)], SIGMA**2 * covariance[: len(labels), : len(labels)]


@pytest.mark.parametrize("relative_to", [None, "shop radio", "1"])
@pytest.mark.parametrize("each_rates_all", [True, False])
def test_adjusted_values_are_generalised_least_squares(each_rates_all, relative_to):
    """Sessions and their drift are random, raters free where variants link them, or else as far apart as readings."""
    log = radio_log(1, n_variants=12, n_raters=2)
    log["order"] = log.groupby("session").cumcount()
    if not each_rates_all:
        log = log[(log["variant"].str.len() == 1) == (log["rater"] == "r0")]
    evidence, sources, model = fitted(log, Outcome("bass", relative_to=relative_to))
    assert "session" in model.names and ("drift" in model.names) == each_rates_all
    found = adjusted_builds(evidence, sources, model)
    means, covariance = in_full(log, model.names, raters_are_free=each_rates_all)
    if relative_to == "shop radio":
        less = np.eye(len(means)) - np.eye(len(means))[-1]
        means, covariance = less @ means, less @ covariance @ less.T
    np.testing.assert_allclose(found.means, means[:12], atol=1e-5)
    np.testing.assert_allclose(found.reading, covariance[:12, :12], atol=1e-5)
    own, same = np.eye(12), (np.arange(12) // 5)[:, None] == np.arange(12) // 5
    between = SIGMA**2 * (RATIOS["variant"] ** 2 * own * ("variant" in model.names) + RATIOS["unit"] ** 2 * same)
    np.testing.assert_allclose(found.between, between, rtol=1e-12)
    assert (found.n_units, found.n_sessions) == (3, 3)
    assert (found.unit_sd, found.session_sd) == pytest.approx((SIGMA * RATIOS["unit"], SIGMA * RATIOS["session"]))


@pytest.mark.parametrize("count", [2, 8])
def test_a_new_unit_and_a_new_session_are_doubted_as_few_have_shown_how_they_differ(count):
    """By hand: as much wider than the normal as Student's t has it with a degree of freedom each; a session off their mean."""
    wider = stats.t.ppf(0.975, count) / stats.norm.ppf(0.975)
    builds = Builds(np.zeros(3), np.eye(3), np.eye(3) * 0.5, np.inf, 0.4, 0.6, count, count)
    assert builds.new_build == pytest.approx(0.5 - 0.36 + wider**2 * 0.36)
    assert builds.new_session_sd == pytest.approx(0.4 * wider * np.sqrt(1 + 1 / count))


@pytest.mark.parametrize(("unit_sd", "count"), [(0.0, 5), (0.6, 1)])
def test_where_units_or_sessions_are_not_told_apart_nothing_is_added(unit_sd, count):
    builds = Builds(np.zeros(2), np.eye(2), np.eye(2) * 0.5, np.inf, unit_sd, unit_sd, count, count)
    assert (builds.new_build, builds.new_session_sd) == (0.5, 0.0)


def test_how_another_session_will_differ_is_not_known_from_one():
    log = radio_log(1, n_variants=4, n_raters=2, reference=False)
    for sessions, sd in (("one", np.inf), (None, 0.0)):
        evidence, sources, model = fitted(log.assign(session=sessions), Outcome("bass"))
        assert adjusted_builds(evidence, sources, model).session_sd == sd
