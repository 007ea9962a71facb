"""Which unit carries which run, where a factor can only be changed by building a new unit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.wording import counted
from doe.plans.arrangement import Arrangement, default_units
from doe.plans.layout import Array, Ints, Layout


def rebuild_places(factors: Sequence[Factor]) -> list[int]:
    """Return the places of the factors that stay the same on a unit."""
    return [place for place, factor in enumerate(factors) if factor.way == "rebuild"]


def units_to_plan(layout: Layout, runs: int, asked: int | None) -> int | None:
    """Choose how many units an optimal plan is spread over; None where no factor needs a rebuild.

    Raises
    ------
    UsageError
        If the number asked for does not fit.
    """
    factors = layout.coding.factors
    if not rebuild_places(factors):
        if asked is not None:
            raise UsageError(f"units is {asked}, but no factor needs a rebuild; leave units out.")
        return None
    slices = layout.slices
    widths = [slices[term.name].stop - slices[term.name].start for term in layout.terms]
    count = default_units(factors, layout.terms, widths, runs) if asked is None else asked
    least = default_units(factors, layout.terms, widths, 10**6)
    assert count is not None and least is not None  # there is a rebuild factor
    needed = least - 2
    if asked is not None and not min(needed, runs) <= asked <= runs:
        raise UsageError(
            f"units is {asked}; the terms that only change with a rebuild need {needed}, and {counted(runs, 'run')} can use "
            f"{runs} at most."
        )
    return count


def tells_units(factors: Sequence[Factor], values: Array, arrangement: Arrangement) -> bool:
    """Whether a plan has to say which unit carries which run: its settings alone would have some share one, or not share it."""
    places = rebuild_places(factors)
    could_share = bool(places) and len(np.unique(values[:, places], axis=0)) < len(values)
    return arrangement.unit is not None and (arrangement.shares_units or could_share)


def units_of(factors: Sequence[Factor], values: Array, asked: int | None) -> Ints | None:
    """Assign given runs to units: one for each combination of rebuild settings, or several where more are asked for.

    A unit is halved by the parity of its runs' places: of a factorial in standard order that is the interaction of all
    factors, so that each of them still changes on both halves.

    Raises
    ------
    UsageError
        If fewer units are asked for than there are combinations, or more than runs.
    """
    places = rebuild_places(factors)
    if not places:
        if asked is not None:
            raise UsageError(f"units is {asked}, but no factor needs a rebuild; leave units out.")
        return None
    _, unit = np.unique(values[:, places], axis=0, return_inverse=True)
    unit = np.asarray(unit).reshape(-1).astype(np.intp)
    n_units = int(unit.max()) + 1
    if asked is None:
        return unit
    if not n_units <= asked <= len(values):
        raise UsageError(
            f"units is {asked}; the plan has {counted(n_units, 'combination')} of rebuild settings in "
            f"{counted(len(values), 'run')}, so it must be {n_units} to {len(values)}."
        )
    while n_units < asked:  # halve the unit that carries most
        largest = int(np.argmax(np.bincount(unit)))
        rows = np.flatnonzero(unit == largest)
        unit[rows[[place.bit_count() % 2 == 1 for place in range(len(rows))]]] = n_units
        n_units += 1
    return unit
