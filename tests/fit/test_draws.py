"""What is drawn of builds, against the conditional normal distribution."""

import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding
from doe.fit import analyse
from doe.fit.builds import Builds
from doe.fit.draws import _offsets
from doe.fit.whiten import whiten
from doe.model.outcome import Outcome
from tests.fit.logs import FACTORS, plain_log, random_settings


class Given:
    """In the place of random numbers: none first, then one at a time."""

    def standard_normal(self, shape):
        return np.eye(*shape, k=-1)


@pytest.mark.parametrize("replicated", [True, False])
def test_builds_lie_off_the_model_as_their_readings_and_their_scatter_say(replicated):
    """Readings ``y = m + o + e``: ``E(o | y) = B (B + R)^-1 (y - m)``, ``Cov(o | y) = B - B (B + R)^-1 B``; where the two
    cannot be told apart, half of the scatter is either's (O'Hagan & Forster 2004, ch. 11).
    """
    rng = np.random.default_rng(5)
    mixing = rng.normal(size=(2, 4, 4))
    builds = Builds(rng.normal(size=4), *(0.3 * np.eye(4) + mixing @ mixing.transpose(0, 2, 1) / 5))
    coding = Coding(FACTORS)
    matrix = coding.matrix(random_settings(4, rng), coding.terms("main"))
    problem = whiten(builds, matrix, coding, replicated=replicated)
    expected, sigma2, between, readings = rng.normal(size=4), 1.7, 0.9, 1.3
    found = _offsets(
        builds, np.tile(expected, (5, 1)), problem,
        sigma2=np.full(5, sigma2), between=np.full(5, between), readings=np.full(5, readings), rng=Given(),
    )  # fmt: skip
    if replicated:
        B = builds.between * between / (problem.unit**2 * (1 - problem.reading_share))
        R = builds.reading * readings
    else:
        B = R = builds.total / 2 * sigma2 / problem.unit**2
    gain = B @ np.linalg.inv(B + R)
    np.testing.assert_allclose(found[0], gain @ (builds.means - expected), atol=1e-12)
    spread = (found[1:] - found[0]).T
    np.testing.assert_allclose(spread @ spread.T, B - gain @ B, atol=1e-12)


def test_draws_of_builds_read_often_follow_the_analysis_of_variance():
    """Builds' scatter b^2 by analysis of variance: what means scatter by about a line, less r^2, a 16th of what readings do.

    A build's own value then lies b^2 / (b^2 + r^2) of the way from the line to its mean, give or take b r / sqrt(b^2 + r^2)
    (Searle, Casella & McCulloch, Variance Components, 1992), for which the doubt of the line leaves some room.
    """
    rng = np.random.default_rng(4)
    settings = random_settings(30, rng)
    wool = settings["wool"].to_numpy(dtype=float)
    own = 100 + 0.5 * wool + rng.normal(0, 4, 30)
    log = pd.concat([plain_log(settings, own + rng.normal(0, 16, 30)) for _ in range(16)])
    draws = analyse(log, FACTORS, Outcome("y"), ["wool"]).posterior(1000, np.random.default_rng(2))
    groups = log.groupby("variant", sort=False)["value"]
    read, r2 = groups.mean().to_numpy(), groups.var().mean() / 16
    line = np.polyval(np.polyfit(wool, read, 1), wool)
    b2 = (read - line).var(ddof=2) - r2
    found = np.polyfit(read - line, draws.variant_means.mean(axis=0) - line, 1)[0]
    assert np.median(draws.build_sd) == pytest.approx(np.sqrt(b2), rel=0.05)
    assert found == pytest.approx(b2 / (b2 + r2), rel=0.05)
    assert draws.variant_means.std(axis=0).mean() == pytest.approx(np.sqrt(b2 * r2 / (b2 + r2)), rel=0.1)
