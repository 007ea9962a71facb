"""The cumulative logit, against statsmodels."""

from __future__ import annotations

import numpy as np
import pandas as pd
from statsmodels.miscmodels.ordinal_model import OrderedModel

from doe.fit.ordered import fit_ordered


def test_weights_count_rows_and_the_fit_is_that_of_statsmodels():
    """Two columns, four grades, rows seen one to three times: estimates, covariance and likelihood of all of them."""
    rng = np.random.default_rng(5)
    X, weights = rng.normal(size=(24, 2)), rng.integers(1, 4, 24)
    grades = np.digitize(X[:, 0] + rng.logistic(size=24), [-1.0, 0.0, 1.0])
    ours = fit_ordered(X, grades, weights.astype(float))
    each = np.repeat(np.arange(24), weights)
    model = OrderedModel(pd.Categorical(grades[each], ordered=True), X[each], distr="logit")
    theirs = model.fit(method="newton", disp=0)
    cuts = model.transform_threshold_params(theirs.params)[1:-1]
    np.testing.assert_allclose([*ours.coefficients, *ours.thresholds], [*theirs.params[:2], *cuts], rtol=1e-5)
    assert ours.is_finite
    np.testing.assert_allclose(ours.log_likelihood, theirs.llf, rtol=1e-9)
    np.testing.assert_allclose(np.sqrt(np.diag(ours.covariance)[:2]), theirs.bse[:2], rtol=1e-4)


def test_a_column_that_parts_the_grades_has_no_finite_top():
    X, grades = np.array([[-1.0]] * 5 + [[1.0]] * 5), np.array([0] * 5 + [1] * 5)
    assert not fit_ordered(X, grades, np.ones(10)).is_finite
