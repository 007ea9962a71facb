"""What the builders of catalogue plans hand on, and the checks that they share."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from doe.model.errors import UsageError, listed
from doe.model.factor import Factor
from doe.model.wording import counted, spaced
from doe.plans.frame import at
from doe.plans.layout import Array, Ints


@dataclass(frozen=True, slots=True)
class Draft:
    """A plan before its run order is drawn and its precision worked out.

    Attributes
    ----------
    title : str
        What it is, in the trade's words.
    values : ndarray of shape (n_runs, n_factors)
        Settings as plain numbers, in standard order.
    block : ndarray of shape (n_runs,)
        Block of each run, from 0.
    points : tuple of str
        Kind of each run: corner, centre, axial, edge, run.
    facts : mapping
        What is known of it by construction: resolution, words, generators, distance of axial points.
    notes : tuple of str
        Sentences for the reader.
    """

    title: str
    values: Array
    block: Ints
    points: tuple[str, ...]
    facts: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def n_runs(self) -> int:
        """Number of runs."""
        return len(self.values)


def one_block(n_runs: int) -> Ints:
    """Return block 0 for every run."""
    return np.zeros(n_runs, dtype=np.intp)


def is_two_level(factor: Factor) -> bool:
    """Tell whether a factor has two settings to plan with: a number with its ends, or two levels."""
    return factor.is_numeric or len(factor.levels) == 2


def has_middle(factor: Factor) -> bool:
    """Tell whether a factor is a number with a setting between its ends."""
    return factor.is_numeric and len(factor.grid(3)) == 3


def require_two_levels(factors: Sequence[Factor], what: str, instead: str = "kind='d-optimal'") -> None:
    """Check that every factor has two settings to plan with.

    Raises
    ------
    UsageError
        Naming the first that has more, and the plan to use instead.
    """
    for factor in factors:
        if not is_two_level(factor):
            raise UsageError(
                f"{factor.name} has {len(factor.levels)} levels, and {what} takes two of each factor; use {instead}."
            )


def require_numbers(factors: Sequence[Factor], what: str, instead: str) -> None:
    """Check that every factor is a number with at least three settings.

    Raises
    ------
    UsageError
        Naming the first that is not, and the plan to use instead.
    """
    for factor in factors:
        if not factor.is_numeric:
            raise UsageError(f"{factor.name} has levels, and {what} takes numbers only; use {instead}.")
        if len(factor.grid(3)) < 3:
            raise UsageError(
                f"{factor.name} takes only {counted(len(factor.grid(3)), 'value')}, and {what} needs its middle; use {instead}."
            )


def from_coded(factors: Sequence[Factor], coded: Array) -> Array:
    """Turn coded settings -1..1, shape (n_runs, n_factors), into plain numbers on each factor's own steps."""
    columns = []
    for factor, column in zip(factors, coded.T, strict=True):
        table = {place: at(factor, place) for place in np.unique(column)}
        columns.append([table[place] for place in column])
    return np.array(columns).T.reshape(coded.shape)


def off_step_notes(factors: Sequence[Factor], coded: Array, values: Array) -> tuple[str, ...]:
    """Say for which factors a coded setting had to move to a step of the factor."""
    names = []
    for factor, wanted, got in zip(factors, coded.T, values.T, strict=True):
        low, high = factor.span
        if factor.is_numeric and np.abs((got - low) / (high - low) * 2 - 1 - wanted).max() > 1e-6:
            names.append(factor.name)
    if not names:
        return ()
    return (f"Some settings of {listed(map(spaced, names), 'and')} were moved to the nearest step.",)


def centre_values(factors: Sequence[Factor], count: int) -> Array:
    """Return centre points: numbers in the middle, and two-level factors in turn at every combination of their levels."""
    switched = [place for place, factor in enumerate(factors) if not has_middle(factor)]
    corners = list(itertools.product((-1.0, 1.0), repeat=len(switched)))
    order = sorted(range(len(corners)), key=lambda place: bin(place ^ (place >> 1)).count("1") % 2)
    coded = np.zeros((count, len(factors)))
    for row in range(count):
        coded[row, switched] = _corner(corners, order, row)
    return from_coded(factors, coded)


def _corner(corners: Sequence[tuple[float, ...]], order: Sequence[int], row: int) -> tuple[float, ...]:
    """Take corners in opposite pairs, so that few centre points are still balanced."""
    pair, is_second = divmod(row, 2)
    corner = corners[order[pair % len(corners)]]
    return tuple(-value for value in corner) if is_second else corner
