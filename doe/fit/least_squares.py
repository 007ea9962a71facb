"""Least squares by a pivoted orthogonal factorisation, refined once in extended precision.

The normal equations are never formed: columns are scaled, factorised by Householder QR with column pivoting (Golub & Van
Loan, Matrix Computations, 4th ed., sec. 5.4-5.5), and the solution is corrected by residuals computed in extended precision
(Bjorck, Numerical Methods for Least Squares Problems, 1996, sec. 2.9). Checked against the NIST Statistical Reference
Datasets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import linalg

Array = npt.NDArray[Any]

RANK_TOLERANCE = 1e-9
"""A column counts as dependent if less than this share of its length is left after the others are taken out."""

_REFINEMENTS = 3


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """A fitted linear model.

    Attributes
    ----------
    coefficients : ndarray of shape (n_columns,)
        Estimates; 0 for a column that depends on columns before it.
    unscaled : ndarray of shape (n_columns, n_columns)
        Covariance of the coefficients divided by the residual variance; 0 in the rows of dependent columns.
    estimable : ndarray of bool, shape (n_columns,)
        False for a column that is a combination of the others kept.
    rss : float
        Residual sum of squares.
    df : int
        Residual degrees of freedom, rows minus rank.
    fitted, leverage : ndarray of shape (n_rows,)
        Fitted values and diagonal of the hat matrix.
    """

    coefficients: Array
    unscaled: Array
    estimable: npt.NDArray[np.bool_]
    rss: float
    df: int
    fitted: Array
    leverage: Array

    @property
    def sd(self) -> float:
        """Residual standard deviation; NaN without residual degrees of freedom."""
        return float(np.sqrt(self.rss / self.df)) if self.df > 0 else float("nan")


def least_squares(X: Array, y: Array) -> LeastSquares:
    """Fit ``y = X b`` by least squares.

    Parameters
    ----------
    X : ndarray of shape (n_rows, n_columns)
        Model matrix, including a column of ones where one is wanted. Where columns depend on each other, the later ones
        are set aside.
    y : ndarray of shape (n_rows,)
        Observations.

    Returns
    -------
    LeastSquares
    """
    X, y = np.asarray(X, dtype=float), np.asarray(y, dtype=float)
    estimable = independent_columns(X)
    kept = X[:, estimable]
    scale = np.linalg.norm(kept, axis=0)
    q, r, order = linalg.qr(kept / scale, mode="economic", pivoting=True)
    solution = _refined(kept, y, scale, q, r, order)
    inverse = np.empty_like(r)
    inverse[order] = linalg.solve_triangular(r, np.eye(len(r)))
    inverse /= scale[:, None]
    coefficients, unscaled = np.zeros(X.shape[1]), np.zeros((X.shape[1], X.shape[1]))
    coefficients[estimable] = solution
    unscaled[np.ix_(estimable, estimable)] = inverse @ inverse.T
    residuals = _residuals(kept, y, solution)
    rss = float(np.sum(residuals.astype(np.longdouble) ** 2))
    fitted = (y - residuals).astype(float)
    leverage = np.einsum("ij,ij->i", q, q)
    return LeastSquares(coefficients, unscaled, estimable, rss, len(y) - len(r), fitted, leverage)


def independent_columns(X: Array) -> npt.NDArray[np.bool_]:
    """Mark the columns that are no combination of columns to their left, to `RANK_TOLERANCE` of their length.

    Parameters
    ----------
    X : ndarray of shape (n_rows, n_columns)

    Returns
    -------
    ndarray of bool, shape (n_columns,)
    """
    norms = np.linalg.norm(X, axis=0)
    scaled = X / np.where(norms > 0, norms, 1.0)
    if X.shape[0] >= X.shape[1] and np.all(norms > 0):
        diagonal = np.abs(np.diag(np.linalg.qr(scaled, mode="r")))
        if np.all(diagonal > RANK_TOLERANCE):
            return np.ones(X.shape[1], dtype=bool)
    return _marked_one_by_one(scaled, norms > 0)


def _marked_one_by_one(scaled: Array, is_live: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    basis = np.empty((scaled.shape[0], min(scaled.shape)))
    kept, marks = 0, np.zeros(scaled.shape[1], dtype=bool)
    for place in np.flatnonzero(is_live):
        if kept == basis.shape[1]:
            break
        column = scaled[:, place]
        for _ in range(2):  # a second pass restores orthogonality lost to rounding
            column = column - basis[:, :kept] @ (basis[:, :kept].T @ column)
        length = np.linalg.norm(column)
        if length > RANK_TOLERANCE:
            basis[:, kept] = column / length
            kept += 1
            marks[place] = True
    return marks


def _residuals(X: Array, y: Array, b: npt.NDArray[np.longdouble]) -> npt.NDArray[np.longdouble]:
    return np.asarray(y.astype(np.longdouble) - X.astype(np.longdouble) @ b.astype(np.longdouble))


def _refined(
    X: Array, y: Array, scale: Array, q: Array, r: Array, order: npt.NDArray[np.intp]
) -> npt.NDArray[np.longdouble]:
    """Solve, then correct: the system for residual and solution together, residuals in extended precision."""
    wide, solution = X.astype(np.longdouble), np.zeros(X.shape[1], dtype=np.longdouble)
    residual = np.zeros(len(y), dtype=np.longdouble)
    for _ in range(1 + _REFINEMENTS):
        f = (y.astype(np.longdouble) - residual - wide @ solution).astype(float)
        g = -(wide.T @ residual).astype(float)
        h = linalg.solve_triangular(r, (g / scale)[order], trans="T")
        projected = q.T @ f
        step = np.empty_like(h)
        step[order] = linalg.solve_triangular(r, projected - h)
        solution += step / scale
        residual += f - q @ projected + q @ h
    return solution
