"""Which run belongs to which block and to which unit, and what that does to the information of a plan.

A block (a session, say) shifts all its runs by the same unknown amount: a fixed effect. A unit that carries several runs
shifts them too, but units are drawn from a population: a random effect, as whole plots are in a split-plot plan. Runs that
exist already count as a group of their own with a random shift, since weeks may lie between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doe.coding import Term
from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.wording import counted
from doe.plans.layout import Array, Ints

UNIT_RATIO = 1.0
"""Variance between units over variance between runs of one unit, assumed while it is unknown (Goos & Jones 2011, ch. 10)."""

SHIFT_RATIO = 1.0
"""Variance of the shift since the existing runs over variance between runs; our choice, no source."""


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Blocks and units of the runs.

    Attributes
    ----------
    block : ndarray of shape (n_runs,)
        Block of each new run, from 0.
    unit : ndarray of shape (n_runs,) or None
        Unit of each new run, from 0; None where every run may have a unit of its own.
    n_existing : int
        Runs there already.
    """

    block: Ints
    unit: Ints | None = None
    n_existing: int = 0

    @property
    def n_runs(self) -> int:
        """New runs."""
        return len(self.block)

    @property
    def n_blocks(self) -> int:
        """Blocks of the new runs."""
        return int(self.block.max()) + 1

    @property
    def n_units(self) -> int:
        """Units of the new runs; as many as runs where none is shared."""
        return self.n_runs if self.unit is None else int(self.unit.max()) + 1

    @property
    def shares_units(self) -> bool:
        """Whether some unit carries more than one new run."""
        return self.unit is not None and self.n_units < self.n_runs

    def beside(self) -> tuple[Array, Array, Array]:
        """Return the columns beside the model.

        Returns
        -------
        new : ndarray of shape (n_runs, n_beside)
            For the new runs.
        old : ndarray of shape (n_existing, n_beside)
            For those that exist.
        penalty : ndarray of shape (n_beside,)
            0 for fixed effects, variance within over variance between for random ones.
        """
        parts, penalties = [self._padded(_effects(self.block, self.n_blocks))], [np.zeros(self.n_blocks - 1)]
        if self.n_existing:
            parts.append(np.concatenate([np.zeros(self.n_runs), np.ones(self.n_existing)])[:, None])
            penalties.append(np.array([1 / SHIFT_RATIO]))
        if self.unit is not None and self.shares_units:
            parts.append(self._padded(np.eye(self.n_units)[self.unit]))
            penalties.append(np.full(self.n_units, 1 / UNIT_RATIO))
        columns = np.hstack(parts)
        return columns[: self.n_runs], columns[self.n_runs :], np.concatenate(penalties)

    def _padded(self, columns: Array) -> Array:
        return np.vstack([columns, np.zeros((self.n_existing, columns.shape[1]))])

    def rows_of_units(self) -> tuple[Ints, ...]:
        """Return the new runs of each unit."""
        unit = np.arange(self.n_runs) if self.unit is None else self.unit
        return tuple(np.flatnonzero(unit == place) for place in range(self.n_units))


def _effects(block: Ints, n_blocks: int) -> Array:
    """Return contrasts between blocks, shape (n_runs, n_blocks - 1)."""
    contrasts = np.vstack([np.eye(n_blocks - 1), -np.ones(n_blocks - 1)])
    return contrasts[block]


def arrange(n_runs: int, blocks: int, units: int | None, n_existing: int) -> Arrangement:
    """Spread runs over blocks of nearly equal size, and each block over the units."""
    block = np.sort(np.arange(n_runs) % blocks).astype(np.intp)
    unit = None if units is None else (np.arange(n_runs) % units).astype(np.intp)
    return Arrangement(block, unit, n_existing)


def check_blocks(n_runs: int, blocks: int, session_runs: int | None) -> None:
    """Check that blocks are not empty, and no larger than a session.

    Raises
    ------
    UsageError
        Naming the number of blocks that works; or the size of a session, where none does.
    """
    most = max(1, n_runs // 2)
    if not 1 <= blocks <= most:
        raise UsageError(f"blocks is {blocks}; with {counted(n_runs, 'run')} it must be 1 to {most}.")
    size = -(-n_runs // blocks)
    if session_runs is not None and size > session_runs:
        need = -(-n_runs // session_runs)
        way_out = f"use blocks={need}" if need <= most else f"let it hold {-(-n_runs // most)} or more"
        raise UsageError(
            f"{counted(n_runs, 'run')} in {counted(blocks, 'block')} make blocks of {size}, but a session holds "
            f"{session_runs}; {way_out}."
        )


def default_units(factors: Sequence[Factor], terms: Sequence[Term], widths: Sequence[int], n_runs: int) -> int | None:
    """Choose how many units to build: two more than what the rebuild factors' terms need, so that units can be compared.

    Returns
    -------
    int or None
        None where no factor needs a rebuild.
    """
    rebuild = {factor.name for factor in factors if factor.way == "rebuild"}
    if not rebuild:
        return None
    needed = 1 + sum(width for term, width in zip(terms, widths, strict=True) if set(term.factors) <= rebuild)
    return min(n_runs, needed + 2)
