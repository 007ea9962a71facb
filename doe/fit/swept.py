"""Evidence of many models that grow from each other, by bordering triangular factors a column at a time.

The evidence of a model with ridge system ``A = X'X + I / gamma**2 = LL'`` needs its determinant and residual sum. With a
column x more, the factor gets one row more (Golub & Van Loan, Matrix Computations, 4th ed., sec. 4.2):

    w = L**-1 X'x,   root**2 = x'x + 1 / gamma**2 - w'w,   value = (x'y - w'L**-1 X'y) / root

so the determinant grows by ``root**2`` and the residual sum falls by ``value**2``. The rows of ``L**-1`` are carried, since
they are bordered alike (the new one is ``(-w'L**-1, 1) / root``) and make w a plain sum of products: one pass over arrays
that hold all models and prior scales.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
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
    """Models with their factors, `size` rows each.

    Attributes
    ----------
    included : ndarray of bool, shape (n_models, n_terms)
    columns : ndarray of int, shape (size, n_models)
        Columns in the order of the factor's rows; the number of columns where a model has fewer.
    inverse : tuple of ndarray of shape (place + 1, n_scales, n_models)
        Rows of the inverse of the lower factor, up to the diagonal.
    values : ndarray of shape (size, n_scales, n_models)
        The inverse times the products with the values.
    base : ndarray of shape (n_scales, n_models)
        Log evidence without the part of the residual sum.
    rss : ndarray of shape (n_scales, n_models)
        Penalised residual sums of squares.
    """

    included: Sets
    columns: Index
    inverse: tuple[Array, ...]
    values: Array
    base: Array
    rss: Array


@dataclass(frozen=True, slots=True)
class _Border:
    """What one column more adds to each model: w, root and value as above; the new `base` and `rss`."""

    products: Array
    root: Array
    value: Array
    base: Array
    rss: Array


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
        self.blank = len(problem.cross)  # stands for no column
        self.gram = np.zeros((self.blank + 1, self.blank + 1))
        self.gram[:-1, :-1] = problem.gram
        self.values = np.append(problem.cross, 0.0)
        self.total = problem.total + floor
        self.least_rss = _LEAST * self.total + 1e-300
        self.scales, self.df = scales, df
        self.log_scales = np.log(scales)[:, None]
        self.squares = np.diag(self.gram) + 1.0 / np.asarray(scales)[:, None] ** 2

    def none(self) -> Swept:
        """Return the model without terms."""
        n_scales = len(self.scales)
        return Swept(
            included=np.zeros((1, len(self.widths)), dtype=bool),
            columns=np.empty((0, 1), dtype=np.intp),
            inverse=(),
            values=np.empty((0, n_scales, 1)),
            base=np.zeros((n_scales, 1)),
            rss=np.full((n_scales, 1), self.total),
        )

    def sweep(self, included: Sets) -> Swept:
        """Factorise models from nothing, term by term."""
        swept = self.take(self.none(), np.zeros(len(included), dtype=np.intp))
        order = np.argsort(~included, axis=1, kind="stable")
        sizes = included.sum(axis=1)
        for size in range(int(sizes.max(initial=0))):
            swept = self.add(swept, np.where(size < sizes, order[:, size], -1))
        return swept

    def log_evidence(self, swept: Swept | _Border) -> Array:
        """Log evidence of models by scale, shape (n_scales, n_models), up to a constant."""
        return np.asarray(swept.base - 0.5 * self.df * np.log(np.maximum(swept.rss, self.least_rss)))

    def look(self, swept: Swept, rows: Index, terms: Index) -> Array:
        """Log evidence of models with one term more, shape (n_scales, n_grown).

        Parameters
        ----------
        swept : Swept
        rows, terms : ndarray of int, shape (n_grown,)
            Model to grow, and the term to add.
        """
        evidence = np.empty((len(self.scales), len(rows)))
        widths = self.widths[terms]
        for width in np.flatnonzero(np.bincount(widths)):
            mine = np.flatnonzero(widths == width)
            parents, starts = self.take(swept, rows[mine]), self.starts[terms[mine]]
            for offset in range(width - 1):
                parents = self._bordered(parents, starts + offset)
            evidence[:, mine] = self.log_evidence(self._border(parents, starts + width - 1))
        return evidence

    def take(self, swept: Swept, rows: Index) -> Swept:
        """Pick models by place."""
        return Swept(
            included=swept.included.take(rows, axis=0),
            columns=swept.columns.take(rows, axis=1),
            inverse=tuple(row.take(rows, axis=2) for row in swept.inverse),
            values=swept.values.take(rows, axis=2),
            base=swept.base.take(rows, axis=1),
            rss=swept.rss.take(rows, axis=1),
        )

    def add(self, swept: Swept, terms: Index) -> Swept:
        """Add one term to each model; -1 adds nothing."""
        adds = np.flatnonzero(terms >= 0)
        included = swept.included.copy()
        included[adds, terms[adds]] = True
        widths = np.where(terms >= 0, self.widths[terms], 0)
        for offset in range(int(widths.max(initial=0))):
            swept = self._bordered(swept, np.where(offset < widths, self.starts[terms] + offset, self.blank))
        return replace(swept, included=included)

    def _border(self, swept: Swept, at: Index) -> _Border:
        """Work out what column `at`, shape (n_models,), adds to each model; a blank one adds nothing."""
        cross = self.gram.take(swept.columns * len(self.gram) + at)
        products = np.empty(swept.values.shape)
        for place, row in enumerate(swept.inverse):
            np.einsum("jsn,jn->sn", row, cross[: place + 1], out=products[place])
        pivot = np.maximum(self.squares.take(at, axis=1) - np.einsum("jsn,jsn->sn", products, products), _LEAST)
        cost = self.log_scales + 0.5 * np.log(pivot)
        is_blank = at == self.blank
        if is_blank.any():
            pivot[:, is_blank], cost[:, is_blank] = 1.0, 0.0
        root = np.sqrt(pivot)
        value = (self.values.take(at) - np.einsum("jsn,jsn->sn", products, swept.values)) / root
        return _Border(products, root, value, swept.base - cost, swept.rss - value**2)

    def _bordered(self, swept: Swept, at: Index) -> Swept:
        """Add column `at`, shape (n_models,), to each model; a blank one adds nothing."""
        border = self._border(swept, at)
        size = len(swept.inverse)
        row = np.zeros((size + 1, *border.root.shape))
        for place, above in enumerate(swept.inverse):
            row[: place + 1] -= border.products[place] * above
        row[size] = 1.0
        row /= border.root
        return Swept(
            included=swept.included,
            columns=np.concatenate([swept.columns, at[None, :]]),
            inverse=(*swept.inverse, row),
            values=np.concatenate([swept.values, border.value[None]]),
            base=border.base,
            rss=border.rss,
        )
