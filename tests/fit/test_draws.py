"""What is drawn of builds, against the conditional normal distribution."""

import numpy as np
import pytest

from doe.coding import Coding
from doe.fit.builds import Builds
from doe.fit.draws import _offsets
from doe.fit.whiten import whiten
from tests.fit.logs import FACTORS, random_settings


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
