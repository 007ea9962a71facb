"""The model matrix as index arithmetic, so that many plans at once can be coded and changed one setting at a time.

`Coding.matrix` codes one table; the search for an optimal plan codes thousands of tables that differ in one cell. A
`Layout` is compiled from a `Coding`: every model column is a product of a few columns of the coded axes, in exactly the
order of `Coding.matrix`.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.coding import Coding, Term
from doe.model.limit import Derived, Limit

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each column of a model comes from.

    Settings are held as plain numbers, shape (..., n_factors): the value of a numeric factor, the index of a level.

    Attributes
    ----------
    coding : Coding
        Factors and derived quantities.
    terms : tuple of Term
        The model, without the column of ones.
    places : mapping of str to slice
        Axis name -> its columns among the coded ones; column 0 is the constant 1. Every factor has one, and each derived
        quantity that a term names: the others would be computed for nothing.
    order : mapping of str to int
        Factor name -> its place among the settings.
    pieces : ndarray of shape (n_columns, n_pieces)
        For each model column (ones first) the coded columns whose product it is.
    touched : tuple of ndarray
        For each factor the model columns that change with it.
    """

    coding: Coding
    terms: tuple[Term, ...]
    places: Mapping[str, slice] = field(init=False, repr=False)
    order: Mapping[str, int] = field(init=False, repr=False)
    pieces: Ints = field(init=False, repr=False)
    touched: tuple[Ints, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        named_in_terms = {name for term in self.terms for name in term.factors}
        axes = {
            name: axis for name, axis in self.coding.axes.items() if axis.factor is not None or name in named_in_terms
        }
        edges = 1 + np.cumsum([0, *(axis.width for axis in axes.values())])
        places = {name: slice(int(a), int(b)) for name, a, b in zip(axes, edges, edges[1:], strict=False)}
        object.__setattr__(self, "places", places)
        order = {factor.name: place for place, factor in enumerate(self.coding.factors)}
        object.__setattr__(self, "order", order)
        object.__setattr__(self, "pieces", _pieces(self.terms, places))
        object.__setattr__(self, "touched", tuple(self._touched(factor.name) for factor in self.coding.factors))

    @property
    def n_columns(self) -> int:
        """Number of model columns, that of ones included."""
        return len(self.pieces)

    @property
    def slices(self) -> dict[str, slice]:
        """Term name -> its model columns."""
        widths = [len(_term_pieces(term, self.places)) for term in self.terms]
        edges = 1 + np.cumsum([0, *widths])
        return {term.name: slice(int(a), int(b)) for term, a, b in zip(self.terms, edges, edges[1:], strict=False)}

    @property
    def derived(self) -> dict[str, Derived]:
        """Derived quantities that terms name."""
        return {quantity.name: quantity for quantity in self.coding.derived if quantity.name in self.places}

    def axes_of(self, factor: str) -> tuple[str, ...]:
        """Name the axes that change with a factor: its own, and the derived quantities written in it."""
        return (factor, *(name for name, quantity in self.derived.items() if factor in quantity.parsed.names))

    def _touched(self, factor: str) -> Ints:
        columns = {place for name in self.axes_of(factor) for place in range(*self.places[name].indices(10**9))}
        return np.flatnonzero(np.isin(self.pieces, sorted(columns)).any(axis=1))

    def code(self, values: Array, names: Sequence[str] | None = None) -> Array:
        """Code settings on all axes, or on some.

        Parameters
        ----------
        values : ndarray of shape (..., n_factors)
            Settings.
        names : sequence of str, optional
            Axes to code, in the order of `places`; all by default, with the constant 1 in front.

        Returns
        -------
        ndarray of shape (..., n_coded)
        """
        wanted = list(self.places) if names is None else list(names)
        parts = [np.ones((*values.shape[:-1], 1))] if names is None else []
        parts += [self._axis(name, values) for name in wanted]
        return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=-1)

    def _axis(self, name: str, values: Array) -> Array:
        axis = self.coding.axes[name]
        if axis.factor is None:
            return self._derived(name, values)[..., None]
        column = values[..., self.order[name]]
        if axis.contrasts is not None:
            return axis.contrasts[column.astype(np.intp)]
        half = (axis.high - axis.low) / 2
        return ((column - (axis.low + half)) / half)[..., None]

    def recode(self, coded: Array, values: Array, factor: int) -> None:
        """Bring the coded axes of settings up to date, in place, after one factor changed."""
        for name in self.axes_of(self.coding.factors[factor].name):
            coded[..., self.places[name]] = self.code(values, (name,))

    def _derived(self, name: str, values: Array) -> Array:
        quantity = self.derived[name]
        axis = self.coding.axes[name]
        with np.errstate(all="ignore"):
            number = np.asarray(quantity.parsed.evaluate(named(self.coding, values)), dtype=float)
        half = (axis.high - axis.low) / 2
        return np.broadcast_to((number - (axis.low + half)) / half, values.shape[:-1])

    def expand(self, coded: Array, columns: Ints | None = None) -> Array:
        """Multiply coded axes into model columns, shape (..., n_columns) or those asked for."""
        pieces = self.pieces if columns is None else self.pieces[columns]
        product = coded[..., pieces[:, 0]]
        for piece in pieces.T[1:]:
            product = product * coded[..., piece]
        return product

    def rows(self, values: Array) -> Array:
        """Return the model matrix of settings, the column of ones first."""
        return self.expand(self.code(values))


def _pieces(terms: Sequence[Term], places: Mapping[str, slice]) -> Ints:
    rows: list[tuple[int, ...]] = [(0,)]
    for term in terms:
        rows.extend(_term_pieces(term, places))
    longest = max(len(row) for row in rows)
    return np.array([(*row, *(0,) * (longest - len(row))) for row in rows], dtype=np.intp)


def _term_pieces(term: Term, places: Mapping[str, slice]) -> list[tuple[int, ...]]:
    names = term.factors * 2 if term.is_square else term.factors
    return list(itertools.product(*(range(*places[name].indices(10**9)) for name in names)))


def named(coding: Coding, values: Array) -> dict[str, Any]:
    """Return settings by factor name, levels spelled out, as rules read them."""
    return {
        factor.name: values[..., place]
        if factor.is_numeric
        else np.asarray(factor.levels)[values[..., place].astype(np.intp)]
        for place, factor in enumerate(coding.factors)
    }


def keeps(coding: Coding, limits: Sequence[Limit], values: Array) -> Flags:
    """Tell which settings keep all limits; a rule that cannot be computed there counts as broken.

    Parameters
    ----------
    coding : Coding
        Factors and the derived quantities that rules may use.
    limits : sequence of Limit
        The rules.
    values : ndarray of shape (..., n_factors)
        Settings as numbers.

    Returns
    -------
    ndarray of bool, shape (...)
    """
    kept = np.ones(values.shape[:-1], dtype=bool)
    if not limits:
        return kept
    known = named(coding, values)
    with np.errstate(all="ignore"):
        for quantity in coding.derived:
            known[quantity.name] = quantity.parsed.evaluate(known)
        for limit in limits:
            kept &= np.asarray(limit.expression.evaluate(known), dtype=bool)
    return kept
