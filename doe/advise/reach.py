"""What can be built next: every variant within reach of some unit, or of a new one, and what it takes."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from doe.advise.effort import ChangeTables, change_tables
from doe.advise.space import Codes, Space, drawn_codes
from doe.model.choices import Settings
from doe.model.effort import Effort
from doe.model.errors import DataError
from doe.model.limit import Limit
from doe.model.names import NEW_UNIT
from doe.model.records import Unit

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

NEW = NEW_UNIT

MOST_COMBINATIONS = 200_000
"""Settings tried when looking for the limits that contradict each other."""

FEW_COMBINATIONS = 256
"""Settings tried first: nearly always one of them keeps the limits."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Where changes can start, and what each change takes.

    Attributes
    ----------
    space : Space
        All variants that could be asked for.
    starts : tuple of Unit or None
        Units that can be worked on, in order of preference where two take the same; None is a new unit.
    tables : tuple of ChangeTables
        One per start.
    effort : Effort
        For a new unit.
    bought : mapping of str to collection of str
        Levels already paid for, by factor.
    """

    space: Space
    starts: tuple[Unit | None, ...]
    tables: tuple[ChangeTables, ...]
    effort: Effort
    bought: Mapping[str, Collection[str]]

    def cheapest(self, codes: Codes) -> tuple[Array, Array, Ints]:
        """Find the start from which each variant takes the fewest minutes.

        Parameters
        ----------
        codes : ndarray of shape (n_variants, n_factors)

        Returns
        -------
        minutes, price : ndarray of shape (n_variants,)
            Infinite minutes where no start reaches the variant.
        start : ndarray of shape (n_variants,)
            Place in `starts`.
        """
        totals = [tables.total(codes) for tables in self.tables]
        minutes = np.stack([total[0] for total in totals])
        price = np.stack([total[1] for total in totals])
        start = np.argmin(minutes, axis=0)
        rows = np.arange(len(codes))
        return minutes[start, rows], price[start, rows], start

    def stands(self, codes: Codes, start: Ints) -> npt.NDArray[np.bool_]:
        """Tell which variants their start is at already, shape (n_variants,): a change may take no minutes, too."""
        nowhere = np.full(len(self.space.factors), -1, dtype=np.intp)
        states = np.array([nowhere if unit is None else self.space.code(unit.settings) for unit in self.starts])
        result: npt.NDArray[np.bool_] = (codes == states[start]).all(axis=1)
        return result

    @property
    def unit_names(self) -> tuple[str | None, ...]:
        """Names of the starts; None for a new unit."""
        return tuple(None if unit is None else unit.name for unit in self.starts)

    def built(self, start: int, code: Ints) -> Reach:
        """Return the reach once a variant is built: a unit stands at it, and its levels are paid for."""
        settings = self.space.settings(code)
        bought = {name: {*self.bought.get(name, ()), str(level)} for name, level in settings.items()}
        starts = [
            replace(unit, settings=settings, variant=None) if place == start and unit is not None else unit
            for place, unit in enumerate(self.starts)
        ]
        return replace(
            self, starts=tuple(starts), tables=_tables(self.space, starts, self.effort, bought), bought=bought
        )

    def name(self, start: int) -> str:
        """Return the name of a start as tables show it."""
        unit = self.starts[start]
        return NEW if unit is None else unit.name


def reach_from(
    space: Space,
    units: Sequence[Unit],
    effort: Effort,
    bought: Mapping[str, Collection[str]],
    *,
    only_unit: str | None = None,
    last_choice: str | None = None,
) -> Reach:
    """Collect the starts: every unit that carries settings and is not retired, and a new unit.

    Parameters
    ----------
    space : Space
        All variants that could be asked for.
    units : sequence of Unit
        Units that exist.
    effort : Effort
        For a new unit.
    bought : mapping of str to collection of str
        Levels already paid for, by factor.
    only_unit : str, optional
        Name of the only unit to work on; ``"new"`` for a new one.
    last_choice : str, optional
        Unit to leave alone where another takes the same minutes, because it carries the variant to keep.
    """
    ready = [unit for unit in units if not unit.retired and _is_complete(unit.settings, space)]
    ready.sort(key=lambda unit: unit.name == last_choice)
    starts: list[Unit | None] = [*ready, None]
    if only_unit is not None:
        starts = [start for start in starts if (NEW if start is None else start.name) == only_unit]
    return Reach(space, tuple(starts), _tables(space, starts, effort, bought), effort, bought)


def _tables(
    space: Space, starts: Sequence[Unit | None], effort: Effort, bought: Mapping[str, Collection[str]]
) -> tuple[ChangeTables, ...]:
    """Tabulate what every change takes from each start."""
    states = [None if start is None else dict(start.settings) for start in starts]
    return tuple(change_tables(space.factors, space.values, state, effort, bought) for state in states)


def _is_complete(settings: Mapping[str, object], space: Space) -> bool:
    return all(settings.get(factor.name) in values for factor, values in zip(space.factors, space.values, strict=True))


def check_limits(space: Space, seed: int = 1) -> None:
    """Check that some settings keep all limits.

    Each limit is tried alone, then with each other one, on the factors that they use only, so that the answer does not
    depend on the size of the whole space.

    Raises
    ------
    DataError
        Naming the limit that nothing keeps, or the two that nothing keeps together.
    """
    for limit in space.limits:
        if not _possible([limit], space, seed):
            raise DataError(f"No settings keep the limit '{limit.rule}' within the factors' ranges; loosen it.")
    for one, other in itertools.combinations(space.limits, 2):
        if not _possible([one, other], space, seed):
            raise DataError(
                f"No settings keep both limits '{one.rule}' and '{other.rule}'; loosen or remove one of them."
            )
    if len(space.limits) > 2 and not _possible(space.limits, space, seed):
        rules = "', '".join(limit.rule for limit in space.limits)
        raise DataError(f"No settings keep all the limits together: '{rules}'; loosen or remove one of them.")


def _possible(limits: Sequence[Limit], space: Space, seed: int) -> bool:
    used = _factors_used(limits, space)
    sizes = [count if factor.name in used else 1 for factor, count in zip(space.factors, space.shape, strict=True)]
    rng = np.random.default_rng(seed)
    if space.allowed(drawn_codes(sizes, FEW_COMBINATIONS, rng), limits).any():  # the usual case
        return True
    if np.prod(sizes, dtype=float) <= MOST_COMBINATIONS:
        codes = np.stack(np.unravel_index(np.arange(int(np.prod(sizes))), sizes), axis=1)
    else:
        codes = drawn_codes(sizes, MOST_COMBINATIONS, rng)
    return bool(space.allowed(codes, limits).any())


def _factors_used(limits: Sequence[Limit], space: Space) -> set[str]:
    """Follow derived quantities down to factors."""
    written = {quantity.name: quantity.parsed.names for quantity in space.derived}
    waiting = [name for limit in limits for name in limit.expression.names]
    used: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name in used:
            continue
        used.add(name)
        waiting.extend(written.get(name, ()))
    return used - set(written)


def settings_of(units: Sequence[Unit]) -> list[Settings]:
    """Return the present settings of the units that carry any."""
    return [dict(unit.settings) for unit in units if unit.settings]
