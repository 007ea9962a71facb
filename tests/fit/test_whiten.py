"""Whitening, against the algebra of generalised least squares."""

import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding
from doe.fit.builds import Builds
from doe.fit.whiten import usable_terms, whiten
from doe.model.factor import Factor
from tests.fit.logs import FACTORS, random_settings

CODING = Coding(FACTORS)


@pytest.mark.parametrize("replicated", [True, False])
def test_whitened_builds_are_those_of_generalised_least_squares(replicated):
    """The mean is taken out by ``P = W - W 1 1'W / 1'W1``, W the inverse of the builds' covariance (Searle, Casella &
    McCulloch, Variance Components, 1992); a row has the variance that ``trace(P)`` leaves a difference of builds.
    """
    rng = np.random.default_rng(3)
    mixing = rng.normal(size=(2, 7, 7))
    reading, between = 0.2 * np.eye(7) + mixing[0] @ mixing[0].T / 9, 0.4 * np.eye(7) + mixing[1] @ mixing[1].T / 9
    matrix = CODING.matrix(random_settings(7, rng), CODING.terms("main"))
    builds = Builds(rng.normal(size=7), reading, between)
    found = whiten(builds, matrix, CODING, replicated=replicated)

    def projected(covariance):
        W = np.linalg.inv(covariance)
        return W - np.outer(W.sum(axis=1), W.sum(axis=0)) / W.sum()

    P, W = projected(reading + between), np.linalg.inv(reading + between)
    X = np.hstack([matrix.values[:, found.slices[term.name]] @ found.changes[term.name] for term in matrix.terms])
    unit2 = 6 / np.trace(P)
    assert found.unit**2 == pytest.approx(unit2)
    np.testing.assert_allclose(found.gram, unit2 * X.T @ P @ X, atol=1e-12)
    np.testing.assert_allclose(found.cross, unit2 * X.T @ P @ builds.means, atol=1e-12)
    assert found.total == pytest.approx(unit2 * builds.means @ P @ builds.means)
    np.testing.assert_allclose(found.ones_columns, unit2 * W.sum(axis=0) @ X, atol=1e-12)
    assert (found.ones, found.ones_values) == pytest.approx((unit2 * W.sum(), unit2 * W.sum(axis=0) @ builds.means))
    share = 6 / np.trace(projected(reading)) / unit2 if replicated else 1.0
    assert found.reading_share == pytest.approx(share)


def test_a_term_is_of_use_where_one_of_its_columns_varies():
    """Two of four levels were built, so the column of the third stood still."""
    coding = Coding((Factor("feet", kind="categorical", levels=["felt", "cork", "steel", "none"]), FACTORS[3]))
    settings = pd.DataFrame({"feet": ["felt", "cork", "felt"], "driver": ["paper"] * 3})
    feet, driver = coding.terms("main")
    assert usable_terms(coding.matrix(settings, [feet, driver]), [feet, driver]) == ([feet], [driver])
