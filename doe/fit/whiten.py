"""Whitening: builds with a covariance turned into independent rows of equal variance, the mean taken out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import linalg

from doe.coding import Coding, Matrix, Term
from doe.fit.builds import Builds
from doe.fit.priors import prior_columns
from doe.model.patience import checkpoint

Array = npt.NDArray[Any]


@dataclass(frozen=True, slots=True)
class Problem:
    """A linear model with unit row variances, ready for the search.

    Attributes
    ----------
    terms : tuple of Term
        Candidate terms.
    slices : mapping of str to slice
        Term name -> its columns, in the basis with equal priors.
    changes : mapping of str to ndarray
        Term name -> change of basis back to coded columns.
    gram : ndarray of shape (n_columns, n_columns)
        Cross-products of the whitened columns, the mean taken out.
    cross : ndarray of shape (n_columns,)
        Their products with the whitened values.
    total : float
        Sum of squares of the whitened values, the mean taken out.
    n_rows : int
        Number of builds.
    ones : float
        Squared length of the whitened column of ones.
    ones_columns : ndarray of shape (n_columns,)
        Its products with the columns.
    ones_values : float
        Its product with the values.
    unit : float
        Standard deviation that a row of variance 1 stands for, in outcome units.
    reading_share : float
        Share of a row's variance that is reading scatter; 1 where builds were read once and the two cannot be told apart.
    """

    terms: tuple[Term, ...]
    slices: Mapping[str, slice]
    changes: Mapping[str, Array]
    gram: Array
    cross: Array
    total: float
    n_rows: int
    ones: float
    ones_columns: Array
    ones_values: float
    unit: float
    reading_share: float


def whiten(builds: Builds, matrix: Matrix, coding: Coding, *, replicated: bool) -> Problem:
    """Whiten builds and their model matrix.

    Parameters
    ----------
    builds : Builds
        Adjusted values and covariances, n_variants of them.
    matrix : Matrix
        Model matrix of all candidate terms, n_variants rows.
    coding : Coding
        What the matrix was made with.
    replicated : bool
        Whether some variant was read more than once, so that reading scatter is known apart.
    """
    checkpoint()
    total = builds.total
    unit = float(np.sqrt(_contrast_variance(total)))
    factor = linalg.cholesky(total / unit**2, lower=True)
    changes = {term.name: prior_columns(coding, term) for term in matrix.terms}
    columns = [matrix.values[:, matrix.slices[term.name]] @ changes[term.name] for term in matrix.terms]
    stacked = np.column_stack([np.ones(len(total)), builds.means, *columns])
    white = linalg.solve_triangular(factor, stacked, lower=True)
    one, values, X = white[:, 0], white[:, 1], white[:, 2:]
    ones = float(one @ one)
    X0, y0 = X - np.outer(one, one @ X / ones), values - one * (one @ values / ones)
    share = min(1.0, _contrast_variance(builds.reading) / unit**2) if replicated else 1.0
    return Problem(
        terms=matrix.terms,
        slices=matrix.slices,
        changes=changes,
        gram=X0.T @ X0,
        cross=X0.T @ y0,
        total=float(y0 @ y0),
        n_rows=len(total),
        ones=ones,
        ones_columns=one @ X,
        ones_values=float(one @ values),
        unit=unit,
        reading_share=share,
    )


def _contrast_variance(covariance: Array) -> float:
    """Typical variance of a row where only differences between rows count (a shared offset does not)."""
    if len(covariance) < 2:
        return float(covariance[0, 0])
    precision = np.linalg.inv(covariance)
    sums = precision.sum(axis=1)
    left = np.trace(precision) - float(sums @ sums) / float(sums.sum())
    return float((len(covariance) - 1) / left)


def usable_terms(matrix: Matrix, terms: Sequence[Term], tolerance: float = 1e-9) -> tuple[list[Term], list[Term]]:
    """Split terms into those that vary in the log at all and those that do not."""
    varied: list[Term] = []
    constant: list[Term] = []
    for term in terms:
        columns = matrix.values[:, matrix.slices[term.name]]
        is_varied = np.any(np.ptp(columns, axis=0) > tolerance) if len(columns) else False
        (varied if is_varied else constant).append(term)
    return varied, constant
