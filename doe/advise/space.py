"""The settings worth considering, held as small integer codes so that many variants are one array."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.coding import Coding, Term, term_columns
from doe.grids import summed_grids
from doe.model.choices import Settings, Value
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, derive
from doe.model.sums import sums

Array = npt.NDArray[np.floating[Any]]
Codes = npt.NDArray[np.intp]

MOST_VALUES = 13
"""Settings considered of one factor, beside those that exist already."""

MOST_SEEN = 12
"""Variants, the latest, of which single changes are made up for where settings must add up to a number."""


@dataclass(frozen=True, slots=True)
class Space:
    """All variants that could be asked for, as a grid.

    Attributes
    ----------
    coding : Coding
        Of all factors and derived quantities.
    values : tuple of tuple of setting
        Considered settings of each factor, in order.
    limits : tuple of Limit
        Rules that every variant keeps.
    derived : tuple of Derived
        Quantities that the limits use.
    """

    coding: Coding
    values: tuple[tuple[Value, ...], ...]
    limits: tuple[Limit, ...] = ()
    derived: tuple[Derived, ...] = ()
    _codes: tuple[dict[Value, int], ...] = field(init=False, repr=False, compare=False)
    _arrays: tuple[npt.NDArray[Any], ...] = field(init=False, repr=False, compare=False)
    _coded: tuple[Array, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        set_ = object.__setattr__
        set_(self, "_codes", tuple({value: place for place, value in enumerate(values)} for values in self.values))
        set_(self, "_arrays", tuple(_array(values) for values in self.values))
        axes = [self.coding.axes[factor.name] for factor in self.factors]
        coded = [axis.code(values).astype(np.float32) for axis, values in zip(axes, self.values, strict=True)]
        set_(self, "_coded", tuple(coded))

    @property
    def factors(self) -> tuple[Factor, ...]:
        """All factors, in the order of the code columns."""
        return self.coding.factors

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of considered settings of each factor."""
        return tuple(len(values) for values in self.values)

    @property
    def size(self) -> int:
        """Number of variants on the grid, before limits."""
        return math.prod(self.shape)

    def code(self, settings: Mapping[str, Value]) -> Codes:
        """Return the code of one variant, shape (n_factors,).

        Raises
        ------
        DataError
            If a setting is not among the considered ones.
        """
        codes = []
        for factor, known in zip(self.factors, self._codes, strict=True):
            if settings.get(factor.name) not in known:
                raise DataError(f"{factor.name} is {settings.get(factor.name)!r}; it {factor.allowed()}.")
            codes.append(known[settings[factor.name]])
        return np.array(codes, dtype=np.intp)

    def settings(self, code: Iterable[int]) -> Settings:
        """Return the settings of one code."""
        return {
            factor.name: values[int(place)]
            for factor, values, place in zip(self.factors, self.values, code, strict=True)
        }

    def columns(self, codes: Codes) -> dict[str, npt.NDArray[Any]]:
        """Return the settings of many codes: factor name -> array of shape (n_variants,)."""
        return {
            factor.name: values[codes[:, place]]
            for place, (factor, values) in enumerate(zip(self.factors, self._arrays, strict=True))
        }

    def everything(self) -> Codes:
        """Return all codes of the grid, shape (size, n_factors); limits not looked at."""
        return np.stack(np.unravel_index(np.arange(self.size), self.shape), axis=1)

    def allowed(self, codes: Codes, limits: Sequence[Limit] | None = None) -> npt.NDArray[np.bool_]:
        """Tell which variants keep all limits, or some of them; one that cannot be computed breaks its limit."""
        limits = self.limits if limits is None else limits
        keeps = np.ones(len(codes), dtype=bool)
        if not limits or not len(codes):
            return keeps
        columns = self.columns(codes)
        for limit in limits:
            keeps &= kept(limit, columns, self.derived)
        return keeps

    def matrix(self, codes: Codes, terms: Sequence[Term]) -> Array:
        """Return the model matrix with a leading column of ones, shape (n_variants, 1 + n_columns)."""
        coded = {
            factor.name: table[codes[:, place]]
            for place, (factor, table) in enumerate(zip(self.factors, self._coded, strict=True))
        }
        used = {name for term in terms for name in term.factors}
        if any(quantity.name in used for quantity in self.coding.derived):
            columns = derive(self.columns(codes), self.coding.derived)
            for quantity in self.coding.derived:
                values = np.broadcast_to(np.asarray(columns[quantity.name], dtype=float), (len(codes),))
                coded[quantity.name] = self.coding.axes[quantity.name].code(values).astype(np.float32)
        ones = np.ones((len(codes), 1), dtype=np.float32)
        return np.hstack([ones, *(term_columns(coded, term) for term in terms)])


def make_space(
    coding: Coding,
    seen: Sequence[Mapping[str, Value]] = (),
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] | None = None,
) -> Space:
    """Build the grid: evenly spread settings of each factor, those that make a sum where limits want one, and all that exist.

    Parameters
    ----------
    coding : Coding
        Of all factors and derived quantities.
    seen : sequence of mapping
        Settings of units and variants that exist.
    limits : sequence of Limit
        Rules that every variant keeps.
    derived : sequence of Derived, optional
        Quantities that the limits use; by default those of the coding.
    """
    derived = tuple(coding.derived if derived is None else derived)
    summed = summed_grids(sums(coding.factors, limits, derived), MOST_VALUES, seen[-MOST_SEEN:])
    values = []
    for factor in coding.factors:
        found = {settings[factor.name] for settings in seen if factor.name in settings}
        usual = summed.get(factor.name) or factor.grid(MOST_VALUES)
        values.append(tuple(sorted({*usual, *found}, key=factor.position)))
    return Space(coding, tuple(values), tuple(limits), derived)


def drawn_codes(sizes: Sequence[int], count: int, rng: np.random.Generator) -> Codes:
    """Draw codes at random, shape (count, n_factors), each column from 0 to below its size; limits not looked at."""
    return np.stack([rng.integers(size, size=count) for size in sizes], axis=1).astype(np.intp)


def usable_as_terms(derived: Sequence[Derived], factors: Sequence[Factor]) -> tuple[Derived, ...]:
    """Return the quantities that can stand as terms, written in factors: those that are a number at all settings or some."""
    chosen: list[Derived] = []
    for quantity in derived:
        with contextlib.suppress(UsageError, DataError):
            chosen.append(Coding(tuple(factors), (*chosen, quantity)).derived[-1])
    return tuple(chosen)


def kept(limit: Limit, columns: Mapping[str, Any], derived: Sequence[Derived]) -> npt.NDArray[np.bool_]:
    """Tell which variants keep one limit; shape (n_variants,)."""
    count = len(next(iter(columns.values())))
    try:
        with np.errstate(all="ignore"):
            answer = limit.expression.evaluate(derive(columns, derived))
    except DataError:
        return np.zeros(count, dtype=bool)
    return np.broadcast_to(np.asarray(answer, dtype=bool), (count,))


def _array(values: Sequence[Value]) -> npt.NDArray[Any]:
    return np.array(values, dtype=object if any(isinstance(value, str) for value in values) else float)
