"""Evidence of many models that grow from each other, by sweeping columns out one at a time.

The evidence of a model with ridge system ``A = X'X + I / gamma**2`` needs its determinant and residual sum. When columns have
been swept out of all others (a Gram-Schmidt step under the ridge; Golub & Van Loan, Matrix Computations, 4th ed., sec. 5.2),
adding a further column takes one division, whatever the size of the model.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.fit.whiten import Problem

Array = npt.NDArray[Any]
Sets = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]

_LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class Swept:
    """Models whose columns have been swept out of all columns.

    Attributes
    ----------
    included : ndarray of bool, shape (n_models, n_terms)
    base : ndarray of shape (n_models, n_scales)
        Log evidence without the part of the residual sum.
    rss : ndarray of shape (n_models, n_scales)
        Penalised residual sums of squares.
    left : ndarray of shape (n_models, n_scales, n_columns)
        What is left of each column's squared length, ridge included.
    cross : ndarray of shape (n_models, n_scales, n_columns)
        What is left of each column's product with the values.
    basis : ndarray of shape (n_models, n_scales, n_swept, n_columns)
        Products of the columns with the directions swept out.
    """

    included: Sets
    base: Array
    rss: Array
    left: Array
    cross: Array
    basis: Array


class Sweeper:
    """Grows models of one whitened problem.

    Parameters
    ----------
    problem : Problem
        Whitened data.
    scales : ndarray of shape (n_scales,)
        Prior scales gamma.
    floor : float
        Sum of squares added to the residuals.
    df : float
        Degrees of freedom of the evidence.
    """

    def __init__(self, problem: Problem, scales: Array, floor: float, df: float) -> None:
        slices = [problem.slices[term.name] for term in problem.terms]
        self.starts = np.array([place.start for place in slices], dtype=np.intp)
        self.widths = np.array([place.stop - place.start for place in slices], dtype=np.intp)
        self.gram, self.values = problem.gram, problem.cross
        self.total = problem.total + floor
        self.least_rss = _LEAST * self.total + 1e-300
        self.scales, self.df = scales, df
        self.log_scales = np.log(scales)

    def none(self) -> Swept:
        """Return the model without terms."""
        n_terms, n_columns, n_scales = len(self.widths), len(self.values), len(self.scales)
        left = np.diag(self.gram)[None, None, :] + (1.0 / self.scales**2)[None, :, None]
        return Swept(
            included=np.zeros((1, n_terms), dtype=bool),
            base=np.zeros((1, n_scales)),
            rss=np.full((1, n_scales), self.total),
            left=left,
            cross=np.broadcast_to(self.values, (1, n_scales, n_columns)).copy(),
            basis=np.zeros((1, n_scales, 0, n_columns)),
        )

    def sweep(self, included: Sets) -> Swept:
        """Sweep models from nothing, term by term."""
        swept = self.none()
        swept = self.take(swept, np.zeros(len(included), dtype=np.intp))
        order = np.argsort(~included, axis=1, kind="stable")
        sizes = included.sum(axis=1)
        for size in range(int(sizes.max(initial=0))):
            swept = self.add(swept, np.arange(len(included)), np.where(size < sizes, order[:, size], -1))
        return swept

    def log_evidence(self, swept: Swept) -> Array:
        """Log evidence of swept models by scale, shape (n_models, n_scales), up to a constant."""
        return np.asarray(swept.base - 0.5 * self.df * np.log(np.maximum(swept.rss, self.least_rss)))

    def look(self, swept: Swept, rows: Index, terms: Index) -> Array:
        """Log evidence of models with one term more, shape (n_grown, n_scales), without sweeping them.

        Parameters
        ----------
        swept : Swept
        rows, terms : ndarray of int, shape (n_grown,)
            Model to grow, and the term to add.
        """
        evidence = np.empty((len(rows), len(self.scales)))
        for width in np.unique(self.widths[terms]):
            mine = np.flatnonzero(self.widths[terms] == width)
            row, at = rows[mine], self.starts[terms[mine], None] + np.arange(width)
            log_pivot, drop = self._pivot(swept, row, at)
            rss = np.maximum(swept.rss[row] - drop, self.least_rss)
            evidence[mine] = swept.base[row] - width * self.log_scales - 0.5 * (log_pivot + self.df * np.log(rss))
        return evidence

    def _pivot(self, swept: Swept, row: Index, at: Index) -> tuple[Array, Array]:
        """Log determinant of the pivot block of added columns, and by how much they lower the residual sums."""
        width = at.shape[1]
        if width == 1:
            pivot = np.maximum(swept.left[row, :, at[:, 0]], _LEAST)
            return np.log(pivot), swept.cross[row, :, at[:, 0]] ** 2 / pivot
        basis = swept.basis[row[:, None], :, :, at].transpose(0, 2, 1, 3)
        block = self.gram[at[:, :, None], at[:, None, :]][:, None] - basis @ basis.swapaxes(-1, -2)
        places = np.arange(width)
        block[..., places, places] = np.maximum(swept.left[row[:, None], :, at].swapaxes(1, 2), _LEAST)
        cross = swept.cross[row[:, None], :, at].swapaxes(1, 2)
        solved = np.linalg.solve(block, cross[..., None])[..., 0]
        return np.linalg.slogdet(block)[1], (cross * solved).sum(axis=-1)

    def take(self, swept: Swept, rows: Index) -> Swept:
        """Pick models by place."""
        return Swept(
            swept.included[rows],
            swept.base[rows],
            swept.rss[rows],
            swept.left[rows],
            swept.cross[rows],
            swept.basis[rows],
        )

    def add(self, swept: Swept, rows: Index, terms: Index) -> Swept:
        """Add one term to each of some models; -1 adds nothing."""
        grown = self.take(swept, rows)
        included = grown.included.copy()
        adds = np.flatnonzero(terms >= 0)
        included[adds, terms[adds]] = True
        base, rss, left, cross, basis = grown.base, grown.rss, grown.left, grown.cross, grown.basis
        for column in range(int(self.widths[terms[adds]].max(initial=0))):
            live = adds[self.widths[terms[adds]] > column]
            at = self.starts[terms[live]] + column
            direction, lean, step = self._direction(left[live], cross[live], basis[live], at)
            if len(live) < len(rows):
                direction, lean, step = (_spread(part, live, len(rows)) for part in (direction, lean, step))
            base, rss = base - step, rss - lean**2
            left, cross = left - direction**2, cross - direction * lean[:, :, None]
            basis = np.concatenate([basis, direction[:, :, None, :]], axis=2)
        return Swept(included, base, rss, left, cross, basis)

    def _direction(self, left: Array, cross: Array, basis: Array, at: Index) -> tuple[Array, Array, Array]:
        """Products of all columns and of the values with the direction that one column adds, and its log evidence."""
        models = np.arange(len(at))
        root = np.sqrt(np.maximum(left[models, :, at], _LEAST))
        own = basis[models, :, :, at]
        direction = self.gram[at][:, None, :] - (own[:, :, None, :] @ basis)[:, :, 0, :]
        direction /= root[:, :, None]
        return direction, cross[models, :, at] / root, self.log_scales + np.log(root)


def _spread(part: Array, live: Index, count: int) -> Array:
    """Put the rows of some models among those of all, zeros elsewhere."""
    whole = np.zeros((count, *part.shape[1:]))
    whole[live] = part
    return whole
