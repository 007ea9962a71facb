from __future__ import annotations

import numpy as np
import pytest

from doe.fit.least_squares import independent_columns, least_squares


def test_agrees_with_a_general_library():
    """Same coefficients, residual sum and leverage as numpy's pseudo-inverse."""
    rng = np.random.default_rng(1)
    X, y = rng.normal(size=(30, 6)), rng.normal(size=30)
    fit = least_squares(X, y)
    expected = np.linalg.lstsq(X, y, rcond=None)
    np.testing.assert_allclose(fit.coefficients, expected[0], rtol=1e-10)
    assert fit.rss == pytest.approx(float(expected[1][0]), rel=1e-10)
    np.testing.assert_allclose(fit.leverage, np.diag(X @ np.linalg.pinv(X)), rtol=1e-9)
    np.testing.assert_allclose(fit.unscaled, np.linalg.inv(X.T @ X), rtol=1e-8)


def test_a_later_dependent_column_is_set_aside():
    """Of two columns that carry the same, the first is kept."""
    X = np.column_stack([np.ones(6), np.arange(6.0), 2 * np.arange(6.0) + 1])
    fit = least_squares(X, np.array([1.0, 3, 5, 7, 9, 11]))
    assert fit.estimable.tolist() == [True, True, False]
    assert fit.df == 4
    np.testing.assert_allclose(fit.coefficients, [1, 2, 0], atol=1e-12)


def test_more_columns_than_rows():
    """No more columns are kept than there are rows."""
    rng = np.random.default_rng(2)
    marks = independent_columns(rng.normal(size=(4, 9)))
    assert marks.sum() == 4
    assert marks[:4].all()


def test_a_column_of_zeros_is_never_kept():
    assert independent_columns(np.zeros((5, 2))).tolist() == [False, False]
