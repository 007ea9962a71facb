"""Settings to model matrix, shared by `fit`, `plans` and `advise`.

Numeric factors and derived quantities are coded to -1..1 over their range, categorical factors by sum-to-zero contrasts,
ordered factors by orthogonal polynomial contrasts. With these codings a main effect is an average over the other factors'
ranges, so it keeps its meaning when interactions are added (Montgomery, Design and Analysis of Experiments, ch. 6; Draper
& Smith, Applied Regression Analysis, ch. 22 for the polynomials).
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from doe.model.choices import Value
from doe.model.errors import DataError, UsageError, did_you_mean, or_else
from doe.model.expression import Expression
from doe.model.factor import Factor
from doe.model.given import check_names
from doe.model.limit import Derived
from doe.model.model_words import MODELS
from doe.model.numbers import read_number

if TYPE_CHECKING:
    import pandas as pd

Array = npt.NDArray[Any]

_POWER = re.compile(r"(?P<name>\w+)\^2")


@dataclass(frozen=True, slots=True, order=True)
class Term:
    """One term of a model: a product of factors, or the square of one.

    Attributes
    ----------
    factors : tuple of str
        Factor or derived-quantity names, each once.
    is_square : bool
        Whether it is the curvature term of its one factor.
    """

    factors: tuple[str, ...]
    is_square: bool = False

    @property
    def name(self) -> str:
        """Spelling in tables: ``vents``, ``vents:driver``, ``vents^2``."""
        return ":".join(self.factors) + ("^2" if self.is_square else "")

    @property
    def is_main(self) -> bool:
        """Whether it is the main effect of one factor."""
        return len(self.factors) == 1 and not self.is_square

    @property
    def parents(self) -> tuple[Term, ...]:
        """The main effects that heredity asks for; none for a main effect itself."""
        return () if self.is_main else tuple(Term((name,)) for name in self.factors)


@dataclass(frozen=True, slots=True)
class Axis:
    """How one factor or derived quantity enters a model.

    Attributes
    ----------
    name : str
        Factor or quantity name.
    factor : Factor or None
        None for a derived quantity.
    low, high : float
        Range that is coded to -1..1; for levels 0 and the last index.
    contrasts : ndarray of shape (n_levels, n_columns) or None
        Coding of the levels; None for numbers.
    """

    name: str
    factor: Factor | None
    low: float
    high: float
    contrasts: Array | None

    @property
    def width(self) -> int:
        """Number of columns of the main effect."""
        return 1 if self.contrasts is None else self.contrasts.shape[1]

    @property
    def levels(self) -> tuple[str, ...]:
        """Level names; empty for numbers."""
        return tuple(self.factor.levels) if self.factor is not None and self.contrasts is not None else ()

    @property
    def has_curvature(self) -> bool:
        """Whether a square means anything: a number that takes more than two values."""
        if self.contrasts is not None:
            return False
        return self.factor is None or len(self.factor.grid(3)) > 2

    def code(self, values: Sequence[Any] | npt.NDArray[Any]) -> Array:
        """Code settings.

        Parameters
        ----------
        values : array-like of shape (n_rows,)
            Settings as stored: numbers, or level names.

        Returns
        -------
        ndarray of shape (n_rows, width)

        Raises
        ------
        DataError
            If a setting is no number or no level of the factor.
        """
        if self.contrasts is None:
            half = (self.high - self.low) / 2
            return ((self._numbers(values) - (self.low + half)) / half)[:, None]
        assert self.factor is not None  # only factors have levels
        index: dict[Any, float] = {level: place for place, level in enumerate(self.levels)}
        places = [index[value] if value in index else self.factor.position(value) for value in values]
        return self.contrasts[np.asarray(places, dtype=np.intp)]

    def _numbers(self, values: Sequence[Any] | npt.NDArray[Any]) -> Array:
        try:
            numbers = np.asarray(values, dtype=float)
        except (TypeError, ValueError):
            numbers = np.array([read_number(value, self.name) for value in values], dtype=float)
        if self.factor is not None and not np.isfinite(numbers).all():
            raise DataError(
                f"{self.name} has no value in {np.count_nonzero(~np.isfinite(numbers))} of {len(numbers)} rows."
            )
        return numbers


@dataclass(frozen=True, slots=True)
class Matrix:
    """A model matrix that knows which columns belong to which term.

    Attributes
    ----------
    values : ndarray of shape (n_rows, n_columns)
        Without the column of ones.
    terms : tuple of Term
        In column order.
    slices : mapping of str to slice
        Term name -> its columns.
    """

    values: Array
    terms: tuple[Term, ...]
    slices: Mapping[str, slice]


@dataclass(frozen=True, slots=True)
class Coding:
    """The coding of a set of factors and derived quantities.

    Attributes
    ----------
    factors : tuple of Factor
        All factors.
    derived : tuple of Derived
        Quantities that may be used as terms, each written in factors alone.
    axes : mapping of str to Axis
        One for each factor and quantity.
    unusable : mapping of str to str
        Quantities that cannot be terms, and why; limits may still use them.
    """

    factors: tuple[Factor, ...]
    derived: tuple[Derived, ...] = ()
    axes: Mapping[str, Axis] = field(init=False, repr=False, compare=False)
    unusable: Mapping[str, str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "factors", tuple(self.factors))
        object.__setattr__(self, "derived", _written_in_factors(self.derived))
        axes = {factor.name: _factor_axis(factor) for factor in self.factors}
        unusable = {}
        for quantity in self.derived:
            values = _corner_values(quantity, self.factors)
            low, high = (min(values), max(values)) if values else (-1.0, 1.0)
            if not values:
                unusable[quantity.name] = "cannot be computed at the ends of its factors' ranges"
            elif not low < high:
                unusable[quantity.name] = "is the same for all settings"
                low, high = low - 1.0, high + 1.0
            axes[quantity.name] = Axis(quantity.name, None, low, high, None)
        object.__setattr__(self, "axes", axes)
        object.__setattr__(self, "unusable", unusable)

    def term(self, name: str) -> Term:
        """Read a term as it is spelled in tables, its factors in the order of definition.

        Raises
        ------
        UsageError
            If it uses an unknown name, a factor twice, or squares what has no square.
        """
        square = _POWER.fullmatch(name.strip())
        names = [square["name"]] if square else [part.strip() for part in name.split(":")]
        for part in names:
            self._check_axis(part, f"Term '{name}'")
        if len(set(names)) < len(names):
            raise UsageError(f"Term '{name}' names a factor twice; write '{names[0]}^2' for curvature.")
        if square and not self.axes[names[0]].has_curvature:
            raise UsageError(
                f"Term '{name}': only numbers that take more than two values can be curved, not {names[0]}."
            )
        order = list(self.axes)
        return Term(tuple(sorted(names, key=order.index)), bool(square))

    def _check_axis(self, name: str, what: str) -> None:
        if name not in self.axes:
            raise UsageError(f"{what} uses '{name}', which is no factor{or_else(name, self.axes)}")
        if name in self.unusable:
            raise UsageError(f"{what} uses '{name}', which {self.unusable[name]}.")

    def terms(self, model: str | Sequence[str], names: Sequence[str] | None = None) -> tuple[Term, ...]:
        """List the terms of a model.

        Parameters
        ----------
        model : {"main", "two-factor", "quadratic"} or sequence of str
            Main effects; with all two-factor interactions; with curvature too; or exactly the terms named.
        names : sequence of str, optional
            Factors (or quantities) to build the model from; all factors by default.

        Raises
        ------
        UsageError
            If the model or one of the terms is unknown.
        """
        if not isinstance(model, str):
            return tuple(dict.fromkeys(self.term(name) for name in check_names("terms", model)))
        if model not in MODELS:
            hint = did_you_mean(model, MODELS)
            raise UsageError(f"terms is '{model}'; it must be main, two-factor, quadratic or a list of terms.{hint}")
        chosen = list(names) if names is not None else [factor.name for factor in self.factors]
        for name in chosen:
            self._check_axis(name, "The model")
        terms = [Term((name,)) for name in chosen]
        if model != "main":
            terms += [Term(pair) for pair in itertools.combinations(chosen, 2)]
        if model == "quadratic":
            terms += [Term((name,), True) for name in chosen if self.axes[name].has_curvature]
        return tuple(terms)

    def columns(self, settings: Mapping[str, Any] | pd.DataFrame) -> dict[str, Array]:
        """Code every axis once.

        Parameters
        ----------
        settings : mapping of str to array-like of shape (n_rows,)
            One entry per factor (a data frame will do).

        Returns
        -------
        dict of str to ndarray of shape (n_rows, width)
        """
        values: dict[str, Any] = {factor.name: np.asarray(settings[factor.name]) for factor in self.factors}
        for quantity in self.derived:
            known = {name: values[name] for name in quantity.parsed.names}
            values[quantity.name] = np.broadcast_to(quantity.parsed.evaluate(known), len(next(iter(values.values()))))
        return {name: axis.code(values[name]) for name, axis in self.axes.items()}

    def matrix(self, settings: Mapping[str, Any] | pd.DataFrame, terms: Sequence[Term]) -> Matrix:
        """Build the model matrix of `terms`, without the column of ones.

        Raises
        ------
        KeyError
            If `settings` lacks a factor.
        DataError
            If a setting is no number or no level, or a derived quantity cannot be computed.
        """
        coded = self.columns(settings)
        n_rows = len(next(iter(coded.values()))) if coded else 0
        blocks = [term_columns(coded, term) for term in terms]
        edges = np.cumsum([0, *(block.shape[1] for block in blocks)])
        slices = {term.name: slice(int(a), int(b)) for term, a, b in zip(terms, edges, edges[1:], strict=False)}
        for term, block in zip(terms, blocks, strict=True):
            if not np.isfinite(block).all():
                raise DataError(f"Term {term.name} cannot be computed for some of the settings.")
        values = np.hstack(blocks) if blocks else np.empty((n_rows, 0))
        return Matrix(values, tuple(terms), slices)


def swings(coding: Coding, term: Term) -> Iterator[tuple[tuple[tuple[int, int], ...], Array]]:
    """List the comparisons that may stand for a term: low to high, or each pair of levels, in every factor of it.

    For an interaction each is half the difference between the swing of one factor at two settings of the other (Box, Hunter &
    Hunter 2005, ch. 5), and so on for more factors; for curvature the only one is the change from the middle to either end.

    Yields
    ------
    tuple of (int, int)
        For each factor the places of the two ends or levels compared; empty for curvature.
    ndarray of shape (n_columns_of_term,)
        Coefficients on the term's coded columns.
    """
    if term.is_square:
        yield (), np.ones(1)
        return
    axes = [coding.axes[name] for name in term.factors]
    ends = [np.array([[-1.0], [1.0]]) if axis.contrasts is None else axis.contrasts for axis in axes]
    for chosen in itertools.product(*(itertools.combinations(range(len(rows)), 2) for rows in ends)):
        weights = np.ones(1)
        for rows, (start, end) in zip(ends, chosen, strict=True):
            weights = np.kron(weights, rows[end] - rows[start])
        yield chosen, weights / 2 ** (len(axes) - 1)


def term_columns(coded: Mapping[str, Array], term: Term) -> Array:
    """Return the columns of one term, shape (n_rows, n_columns): products of its factors' columns."""
    columns = coded[term.factors[0]]
    if term.is_square:
        return columns**2
    for name in term.factors[1:]:
        other = coded[name]
        width = columns.shape[1] * other.shape[1]  # not -1, which cannot be told when there are no rows
        columns = (columns[:, :, None] * other[:, None, :]).reshape(len(columns), width)
    return columns


def sum_contrasts(n_levels: int) -> Array:
    """Sum-to-zero contrasts, shape (n_levels, n_levels - 1); for two levels -1 and 1, as a numeric factor."""
    if n_levels == 2:
        return np.array([[-1.0], [1.0]])
    return np.vstack([np.eye(n_levels - 1), -np.ones(n_levels - 1)])


def polynomial_contrasts(n_levels: int) -> Array:
    """Orthogonal polynomial contrasts, shape (n_levels, n_levels - 1), each column scaled to largest size 1."""
    powers = np.vander(np.linspace(-1, 1, n_levels), increasing=True)
    q, r = np.linalg.qr(powers)
    columns = q[:, 1:] * np.sign(np.diag(r)[1:])
    return np.asarray(columns / np.abs(columns).max(axis=0))


def _factor_axis(factor: Factor) -> Axis:
    low, high = factor.span
    if factor.is_numeric:
        return Axis(factor.name, factor, low, high, None)
    make = polynomial_contrasts if factor.kind == "ordered" else sum_contrasts
    return Axis(factor.name, factor, low, high, make(len(factor.levels)))


def _written_in_factors(derived: Sequence[Derived]) -> tuple[Derived, ...]:
    known: dict[str, Expression] = {}
    flat = []
    for quantity in derived:
        expression = quantity.parsed.inlined(known)
        known[quantity.name] = expression
        flat.append(quantity if expression is quantity.parsed else replace(quantity, expression=expression.text))
    return tuple(flat)


_MOST_WITH_MIDDLE, _MOST_CORNERS = 8, 50_000
"""Factors of a quantity up to which the middles are looked at too, and corners of the rest looked at."""


def _corner_values(quantity: Derived, factors: Sequence[Factor]) -> list[float]:
    """Values where its factors are low, middle or high: their range is exact where it is monotone in each."""
    known = {factor.name: factor for factor in factors}
    used = sorted(quantity.parsed.names)
    for name in used:
        if name not in known:
            raise UsageError(
                f"Derived quantity '{quantity.name}' uses '{name}', which is no factor of this model{or_else(name, known)}"
            )
    ends: list[tuple[Value, ...]] = [known[name].grid(3 if len(used) <= _MOST_WITH_MIDDLE else 2) for name in used]
    corners = list(itertools.islice(itertools.product(*ends), _MOST_CORNERS))
    columns = {name: np.array(column) for name, column in zip(used, zip(*corners, strict=True), strict=True)}
    values = np.broadcast_to(np.asarray(quantity.parsed.evaluate(columns), dtype=float), len(corners))
    return [float(value) for value in values[np.isfinite(values)]]  # not so with a division by zero at one end
