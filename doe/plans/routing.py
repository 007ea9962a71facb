"""The order to build variants in: from settings, units and effort to paths and minutes."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from doe.model.choices import Settings, Value
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.given import check_each, check_frame, check_one, check_whole
from doe.model.records import Unit
from doe.model.stated import is_empty, label_text, stated_units
from doe.model.wording import counted
from doe.plans.bench import Steps, steps
from doe.plans.frame import BLOCK, UNIT
from doe.plans.layout import Array
from doe.plans.paths import Solved, Tell, cheapest_paths
from doe.plans.tours import NEW, Paths, Steepness

_TIE_CHANGE = 1e-5
_TIE_NEW = 1e-4
"""Minutes added for each setting that changes and for each new unit, so that of equal routes the calmer one is taken."""


@dataclass(frozen=True, slots=True)
class Errand:
    """What is to be built, from where.

    Attributes
    ----------
    factors : tuple of Factor
        All factors.
    variants : tuple of dict
        Settings to be built.
    labels : tuple of str or None
        Unit that a variant is tied to, if any.
    block : tuple of int
        Blocks are built one after another.
    units : tuple of Unit
        Units that can be worked on.
    effort : Effort
        For new units.
    new_units : int or None
        Most new units.
    retired : frozenset of str
        Names of units that nothing can be built on any more; no new one is called so.
    """

    factors: tuple[Factor, ...]
    variants: tuple[Settings, ...]
    labels: tuple[str | None, ...]
    block: tuple[int, ...]
    units: tuple[Unit, ...]
    effort: Effort
    new_units: int | None
    retired: frozenset[str]

    @property
    def new_is_last_resort(self) -> bool:
        """Whether the minutes of a new unit are not known, so that one is made only where there is no other way."""
        return self.effort.new_unit_minutes == 0


def errand(
    table: pd.DataFrame,
    factors: Sequence[Factor],
    units: pd.DataFrame | Sequence[Unit] | None,
    effort: Effort | None,
    new_units: int | None = None,
) -> Errand:
    """Read what is to be built.

    Raises
    ------
    UsageError
        If a factor has no column.
    DataError
        If a setting is not allowed, of a variant or of a unit, or some runs have a block and others none.
    """
    check_frame("table", table, "variant")
    if new_units is not None:
        new_units = check_whole("new_units", new_units)
    if effort is not None:
        check_one("effort", effort, Effort)
    known = tuple(factors)
    variants = tuple(read_rows(known, table, "Variant"))
    labels = tuple(label_of(cell) for cell in table[UNIT]) if UNIT in table.columns else (None,) * len(variants)
    every = read_units(known, units)
    ready = tuple(unit for unit in every if not unit.retired)
    retired = frozenset(unit.name for unit in every if unit.retired)
    return Errand(known, variants, labels, _blocks(table), ready, effort or Effort(), new_units, retired)


def _blocks(table: pd.DataFrame) -> tuple[int, ...]:
    """Return the place of each run's block in their order: that of numbers, also where they are written as text."""
    named = [place for place, cell in enumerate(table[BLOCK]) if not is_empty(cell)] if BLOCK in table.columns else []
    if not named:
        return (0,) * len(table)
    if len(named) < len(table):
        place = next(place for place in range(len(table)) if place not in named)
        raise DataError(f"Run {place + 1} has no block, and others have one; give it one, or leave the column out.")
    numbers = pd.to_numeric(table[BLOCK], errors="coerce")
    codes, _ = pd.factorize(table[BLOCK] if numbers.isna().any() else numbers, sort=True)
    return tuple(int(code) for code in codes)


def label_of(cell: object) -> str | None:
    """Return what a cell names; None where it is empty, or asks for a new one."""
    label = "" if is_empty(cell) else label_text(cell)
    return None if label in ("", "new") else label


def read_rows(factors: Sequence[Factor], table: pd.DataFrame, what: str) -> list[Settings]:
    """Read settings row by row; all factors need a value.

    Raises
    ------
    UsageError
        If a factor has no column.
    DataError
        If a setting is not allowed; the message names the row.
    """
    for factor in factors:
        if factor.name not in table.columns:
            raise UsageError(f"The table has no column for {factor.name}.")
    names = (
        [label_text(cell) for cell in table["variant"]]
        if "variant" in table.columns
        else [str(row + 1) for row in range(len(table))]
    )
    rows: list[Settings] = []
    for name, record in zip(names, table.to_dict("records"), strict=True):
        try:
            rows.append({factor.name: factor.read(record[factor.name]) for factor in factors})
        except DataError as err:
            raise DataError(f"{what} {name}: {err}") from None
    return rows


def read_units(factors: Sequence[Factor], units: pd.DataFrame | Sequence[Unit] | None) -> list[Unit]:
    """Read the units with their present state; a factor that a unit does not carry yet is left out.

    Raises
    ------
    DataError
        If a state is not allowed, a unit is named twice, or a frame does not name them.
    """
    if units is None:
        return []
    if isinstance(units, pd.DataFrame):
        found = stated_units(units, factors)
    else:
        check_each("units", units, Unit)
        found = list(units)
    read = [Unit(unit.name, _state(factors, unit), unit.variant, unit.retired, unit.note) for unit in found]
    names = [unit.name for unit in read]
    for name in names:
        if names.count(name) > 1:
            raise DataError(f"Unit '{name}' is listed twice.")
    return read


def _state(factors: Sequence[Factor], unit: Unit) -> dict[str, Value]:
    state: dict[str, Value] = {}
    for factor in factors:
        cell = unit.settings.get(factor.name)
        if is_empty(cell):
            continue
        try:
            state[factor.name] = factor.read(cell)
        except DataError as err:
            raise DataError(f"Unit {unit.name}: {err}") from None
    return state


def minutes_of(table: Steps, paths: Paths) -> list[list[float]]:
    """Return the minutes of every step of every path."""
    found = []
    for start, variants in paths:
        begin = table.new[variants[0]] if start == NEW else table.first[start, variants[0]]
        found.append([float(begin), *(float(table.between[a, b]) for a, b in itertools.pairwise(variants))])
    return found


def costs_of(job: Errand, table: Steps) -> Steepness:
    """Return the costs that a route is chosen by.

    Minutes, a little for ties, much for a new unit of unknown minutes, and more for each unit that begins with runs which are
    to share one: a second one is begun only where there is no other way.
    """
    labels, block = np.array(job.labels, dtype=object), np.array(job.block)
    between = table.between + _TIE_CHANGE * table.changes[0]
    between[labels[:, None] != labels[None, :]] = np.inf
    between[block[:, None] > block[None, :]] = np.inf
    first = table.first + _TIE_CHANGE * table.changes[1]
    names = np.array([unit.name for unit in job.units], dtype=object)
    if len(names):
        is_tied = np.isin(labels.astype(str), names.astype(str)) & np.array(
            [label is not None for label in labels], dtype=bool
        )
        first[(names[:, None] != labels[None, :]) & is_tied[None, :]] = np.inf
    extra = _last_resort(between, first) if job.new_is_last_resort else 0.0
    is_shared = np.array([label is not None and job.labels.count(label) > 1 for label in job.labels], dtype=bool)
    apart = np.where(is_shared, 2.0 * _last_resort(between, first, table.new), 0.0)
    return Steepness(between, first + apart, table.new + _TIE_NEW + extra + apart, job.new_units)


def _last_resort(*minutes: Array) -> float:
    """Return more than any route takes that is made of such steps."""
    finite = [float(part[np.isfinite(part)].max()) for part in minutes if np.isfinite(part).any()]
    return 1.0 + 2.0 * max(finite, default=0.0) * max(1, len(minutes[0]))


def find_route(
    job: Errand, *, seconds: float, seed: int, tell: Tell | None = None, is_exact: bool = True
) -> tuple[Solved, Steps, float]:
    """Find the route that takes the fewest bench minutes.

    Returns
    -------
    Solved, Steps, float
        The paths (costs include ties and last resorts), the minutes of every step, and the fewest minutes that any route takes.

    Raises
    ------
    UsageError
        If some variant cannot be built with the units at hand and the new ones allowed.
    """
    table = steps(job.factors, job.variants, [unit.settings for unit in job.units], job.effort)
    costs = costs_of(job, table)
    solved = cheapest_paths(costs, seconds=seconds, seed=seed, tell=tell, is_exact=is_exact)
    if solved is None:
        raise UsageError(_cannot(job, costs))
    minutes = sum(map(sum, minutes_of(table, solved.paths)))
    return solved, table, max(0.0, minutes - max(0.0, solved.cost - solved.bound))


def _cannot(job: Errand, costs: Steepness) -> str:
    stuck = [
        place
        for place in range(costs.n)
        if not np.isfinite(costs.first[:, place]).any() and not np.isfinite(costs.between[:, place]).any()
    ]
    if len(stuck) > (job.new_units or 0):
        return (
            f"{counted(len(stuck), 'variant')} can only be built on a new unit, but new_units allows {job.new_units}; allow "
            f"{len(stuck)} or leave new_units out."
        )
    at_hand = f"{counted(len(job.units), 'unit')} and {counted(job.new_units or 0, 'new unit')}"
    reasons = "one-way steps, or the units that runs name," if any(job.labels) else "one-way steps"
    return f"The variants cannot all be built with {at_hand}: {reasons} stand in the way; allow more new units."
