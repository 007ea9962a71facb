"""Bench minutes of building variants one after another: from unit to variant, and from variant to variant.

The arithmetic that `doe.advise.effort` does for one move, tabulated for all steps at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from doe.model.choices import Value
from doe.model.effort import Effort, bare_setting, setting_minutes
from doe.model.factor import Factor
from doe.plans.layout import Array


@dataclass(frozen=True, slots=True)
class Steps:
    """What every step takes; infinite where a unit cannot go that way.

    Attributes
    ----------
    between : ndarray of shape (n_variants, n_variants)
        Minutes from one variant to another on the same unit.
    first : ndarray of shape (n_units, n_variants)
        Minutes from a unit's present state to a variant.
    new : ndarray of shape (n_variants,)
        Minutes to make a new unit with a variant's settings.
    changes : tuple of ndarray
        Number of settings that change, in the first two of these shapes.
    """

    between: Array
    first: Array
    new: Array
    changes: tuple[Array, Array]


def steps(
    factors: Sequence[Factor],
    variants: Sequence[Mapping[str, Value]],
    units: Sequence[Mapping[str, Any]],
    effort: Effort,
) -> Steps:
    """Tabulate every step.

    Parameters
    ----------
    factors : sequence of Factor
        All factors.
    variants : sequence of mapping
        Settings to be built, one entry per factor.
    units : sequence of mapping
        Present states; a factor without an entry has nothing fitted yet, as on a new unit.
    effort : Effort
        For a new unit.
    """
    n = len(variants)
    between, changed = np.zeros((n, n)), np.zeros((n, n))
    first, first_changed = np.zeros((len(units), n)), np.zeros((len(units), n))
    new = np.full(n, effort.new_unit_minutes)
    for factor in factors:
        wanted = [variant[factor.name] for variant in variants]
        minutes, moves = _table(factor, wanted, wanted)
        between, changed = between + minutes, changed + moves
        minutes, moves = _table(factor, [unit.get(factor.name) for unit in units], wanted)
        first, first_changed = first + minutes, first_changed + moves
        new = new + _table(factor, [None], wanted)[0][0]
    np.fill_diagonal(between, np.inf)
    return Steps(between, first, new, (changed, first_changed))


def _table(factor: Factor, starts: Sequence[Value | None], ends: Sequence[Value]) -> tuple[Array, Array]:
    """Return minutes and whether a setting changes, for one factor; equal settings are looked up once."""
    memory: dict[tuple[Value | None, Value], tuple[float, float]] = {}
    minutes, moves = np.zeros((len(starts), len(ends))), np.zeros((len(starts), len(ends)))
    for row, start in enumerate(starts):
        for column, end in enumerate(ends):
            if (start, end) not in memory:
                memory[start, end] = _step(factor, start, end)
            minutes[row, column], moves[row, column] = memory[start, end]
    return minutes, moves


def _step(factor: Factor, start: Value | None, end: Value) -> tuple[float, float]:
    if start is None:
        return setting_minutes(factor, bare_setting(factor), end), 0.0
    if not factor.can_go(start, end):
        return np.inf, 1.0
    return factor.change_minutes(start, end), float(start != end)
