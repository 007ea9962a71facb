"""Evidence of many models that grow from each other, by extending triangular factors a column at a time.

The evidence of a model with ridge system ``A = X'X + I / gamma**2`` needs its determinant and residual sum. A larger model's
Cholesky factor is its parent's with one row more (Golub & Van Loan, Matrix Computations, 4th ed., sec. 4.2), so only that
row is computed - element by element, for all models and prior scales at once.
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
    """Models with their factors.

    Attributes
    ----------
    included : ndarray of bool, shape (n_models, n_terms)
    columns : tuple of ndarray of int, shape (n_models,)
        Columns in the order of the factor's rows; -1 where a model has fewer.
    rows : tuple of tuple of ndarray of shape (n_scales, n_models)
        Lower factor, row by row, diagonal last.
    values : tuple of ndarray of shape (n_scales, n_models)
        The row that belongs to the values.
    base : ndarray of shape (n_scales, n_models)
        Log evidence without the part of the residual sum.
    rss : ndarray of shape (n_scales, n_models)
        Penalised residual sums of squares.
    """

    included: Sets
    columns: tuple[Index, ...]
    rows: tuple[tuple[Array, ...], ...]
    values: tuple[Array, ...]
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
        n_columns = len(problem.cross)
        self.gram = np.zeros((n_columns + 1, n_columns + 1))  # the last row and column stand for no column
        self.gram[:-1, :-1] = problem.gram
        self.values = np.append(problem.cross, 0.0)
        self.total = problem.total + floor
        self.least_rss = _LEAST * self.total + 1e-300
        self.scales, self.df = scales, df
        self.log_scales = np.log(scales)[:, None]
        self.ridge = (1.0 / np.asarray(scales) ** 2)[:, None]

    def none(self) -> Swept:
        """Return the model without terms."""
        n_scales = len(self.scales)
        empty = np.zeros((1, len(self.widths)), dtype=bool)
        return Swept(empty, (), (), (), np.zeros((n_scales, 1)), np.full((n_scales, 1), self.total))

    def sweep(self, included: Sets) -> Swept:
        """Factorise models from nothing, term by term."""
        swept = self.take(self.none(), np.zeros(len(included), dtype=np.intp))
        order = np.argsort(~included, axis=1, kind="stable")
        sizes = included.sum(axis=1)
        for size in range(int(sizes.max(initial=0))):
            swept = self.add(swept, np.arange(len(included)), np.where(size < sizes, order[:, size], -1))
        return swept

    def log_evidence(self, swept: Swept) -> Array:
        """Log evidence of models by scale, shape (n_models, n_scales), up to a constant."""
        return np.asarray((swept.base - 0.5 * self.df * np.log(np.maximum(swept.rss, self.least_rss))).T)

    def look(self, swept: Swept, rows: Index, terms: Index) -> Array:
        """Log evidence of models with one term more, shape (n_grown, n_scales).

        Parameters
        ----------
        swept : Swept
        rows, terms : ndarray of int, shape (n_grown,)
            Model to grow, and the term to add.
        """
        evidence = np.empty((len(rows), len(self.scales)))
        for width in np.unique(self.widths[terms]):
            mine = np.flatnonzero(self.widths[terms] == width)
            parents = self.take(swept, rows[mine])
            _, _, base, rss = self._extended(parents, self.starts[terms[mine]], int(width))
            evidence[mine] = (base - 0.5 * self.df * np.log(np.maximum(rss, self.least_rss))).T
        return evidence

    def take(self, swept: Swept, rows: Index) -> Swept:
        """Pick models by place."""
        return Swept(
            swept.included[rows],
            tuple(column[rows] for column in swept.columns),
            tuple(tuple(entry[:, rows] for entry in row) for row in swept.rows),
            tuple(value[:, rows] for value in swept.values),
            swept.base[:, rows],
            swept.rss[:, rows],
        )

    def add(self, swept: Swept, rows: Index, terms: Index) -> Swept:
        """Add one term to each of some models; -1 adds nothing."""
        grown = self.take(swept, rows)
        included = grown.included.copy()
        adds = terms >= 0
        included[np.flatnonzero(adds), terms[adds]] = True
        width = int(self.widths[terms[adds]].max(initial=0))
        widths = np.where(adds, self.widths[terms], 0)
        new_rows, new_values, base, rss = self._extended(grown, np.where(adds, self.starts[terms], -1), width, widths)
        starts = np.where(adds, self.starts[terms], -1)
        added = tuple(np.where(column < widths, starts + column, -1) for column in range(width))
        return Swept(included, grown.columns + added, grown.rows + new_rows, grown.values + new_values, base, rss)

    def _extended(
        self, swept: Swept, starts: Index, width: int, widths: Index | None = None
    ) -> tuple[tuple[tuple[Array, ...], ...], tuple[Array, ...], Array, Array]:
        """Add up to `width` columns from `starts` to every model; `widths` says to how many of them each is entitled."""
        rows, values, base, rss = list(swept.rows), list(swept.values), swept.base, swept.rss
        columns = list(swept.columns)
        for offset in range(width):
            at = starts + offset if widths is None else np.where(offset < widths, starts + offset, -1)
            row: list[Array] = []
            for place, column in enumerate(columns):
                entry = self.gram[at, column][None, :] - _product(row, rows[place])
                row.append(entry / rows[place][place])
            is_none = at < 0
            pivot = np.maximum(self.gram[at, at][None, :] + self.ridge - _product(row, row), _LEAST)
            root = np.sqrt(np.where(is_none, 1.0, pivot) if is_none.any() else pivot)
            value = (self.values[at][None, :] - _product(row, values)) / root
            cost = self.log_scales + np.log(root)
            base = base - (np.where(is_none, 0.0, cost) if is_none.any() else cost)
            rss = rss - value**2
            rows.append((*row, root))
            values.append(value)
            columns.append(at)
        return tuple(rows[len(swept.rows) :]), tuple(values[len(swept.values) :]), base, rss


def _product(a: list[Array], b: tuple[Array, ...] | list[Array]) -> Array | float:
    """Sum of products, as far as the shorter list goes."""
    total: Array | float = 0.0
    for x, y in zip(a, b, strict=False):
        total = total + x * y
    return total
