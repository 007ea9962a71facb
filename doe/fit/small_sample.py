"""Covariance of fixed effects that owns up to estimated variance components."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.fit.reml import Grouping, Reml

Array = npt.NDArray[Any]

MOST_ROWS = 600


def kenward_roger_covariance(
    X: Array, groupings: Sequence[Grouping], counts: Array, n_within: float, model: Reml
) -> Array:
    """Adjust the covariance of the fixed effects for the variance components having been estimated.

    ``Phi + 2 Phi {sum_ij W_ij X'V^-1 G_i P G_j V^-1 X} Phi`` (Kenward & Roger 1997, Biometrics 53, 983-997), with W the
    inverse of the expected information on the variances; components estimated at zero take part. Without it intervals from
    few builds cover less than they say. In designs where the effects do not depend on the components nothing changes.

    Parameters
    ----------
    X : ndarray of shape (n_rows, n_columns)
        Fixed effects of the cells.
    groupings : sequence of Grouping
        With one offset per group each.
    counts : ndarray of shape (n_rows,)
        Readings behind each cell.
    n_within : float
        Degrees of freedom of the readings about their cells' means.
    model : Reml
        The fit.

    Returns
    -------
    ndarray of shape (n_columns, n_columns)
        `model.covariance` itself where there are more than `MOST_ROWS` cells: the adjustment vanishes as builds grow.
    """
    if len(counts) > MOST_ROWS:
        return model.covariance
    sources = [_outer(grouping) for grouping in groupings] + [np.diag(1.0 / counts)]
    variances = [float(model.variance_of(grouping.name)[0, 0]) for grouping in groupings] + [model.sigma**2]
    V = np.sum([variance * source for variance, source in zip(variances, sources, strict=True)], axis=0)
    inverse = np.linalg.inv(V)
    VX = inverse @ X
    phi = np.linalg.inv(X.T @ VX)
    P = inverse - VX @ phi @ VX.T
    through = [P @ source for source in sources]
    information = np.array([[0.5 * np.sum(a * b.T) for b in through] for a in through])
    information[-1, -1] += 0.5 * n_within / model.sigma**4
    W = np.linalg.pinv(information, hermitian=True)
    turned = [source @ VX for source in sources]
    pairs = [(i, j) for i in range(len(sources)) for j in range(len(sources))]
    spread = np.sum([W[i, j] * turned[i].T @ P @ turned[j] for i, j in pairs], axis=0)
    return np.asarray(model.covariance + 2.0 * phi @ spread @ phi)


def _outer(grouping: Grouping) -> Array:
    """``Z Z'`` of one source of scatter, shape (n_rows, n_rows)."""
    same = (grouping.index[:, None] == grouping.index[None, :]).astype(float)
    return np.asarray(same if grouping.covariates is None else same * (grouping.covariates @ grouping.covariates.T))
