"""Full and fractional factorials, and the blocks and aliases that go with them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

import numpy as np

from doe.model.errors import UsageError, listed
from doe.model.factor import Factor
from doe.model.wording import counted, spoken
from doe.plans.aberration import (
    MOST_FACTORS,
    MOST_RUNS,
    minimum_aberration,
    parities,
    signs_of,
    word_lengths,
)
from doe.plans.draft import Draft, from_coded, is_two_level, one_block, require_two_levels
from doe.plans.layout import Ints

MOST_FULL = 4096
"""Largest full factorial that is laid out."""

_BEAM = 60


def full(factors: Sequence[Factor], model: str = "main", blocks: int = 1) -> Draft:
    """Lay out every combination: numbers at both ends (and the middle for a quadratic model), every level.

    Raises
    ------
    UsageError
        If there are more than 4096 combinations, or the blocks do not fit.
    """
    grids = [_full_grid(factor, model) for factor in factors]
    n_runs = math.prod(len(grid) for grid in grids)
    if n_runs > MOST_FULL:
        raise UsageError(
            f"A full factorial of these factors has {n_runs} runs; the most laid out is {MOST_FULL}. "
            "Use kind='fraction' or kind='d-optimal'."
        )
    combinations = list(itertools.product(*reversed(grids)))  # the first factor changes fastest: standard order
    values = np.array(combinations)[:, ::-1]
    is_regular = all(len(grid) == 2 for grid in grids)
    block = one_block(n_runs)
    notes: tuple[str, ...] = ()
    if blocks > 1:
        if not is_regular:
            raise UsageError("Blocks of a full factorial need two settings of every factor; use kind='d-optimal'.")
        columns = tuple(1 << place for place in range(len(factors)))
        block, notes = _blocked(columns, n_runs, blocks, factors)
    product = f"{' × '.join(str(len(grid)) for grid in grids)} = " if len(grids) > 1 else ""
    title = f"full factorial, {product}{n_runs} runs"
    return Draft(title, values, block, ("corner",) * n_runs, {}, notes)


def _full_grid(factor: Factor, model: str) -> list[float]:
    if not factor.is_numeric:
        return [float(place) for place in range(len(factor.levels))]
    return [float(value) for value in factor.grid(3 if model == "quadratic" else 2)]


def fraction_sizes(n_factors: int) -> tuple[int, ...]:
    """List the run counts of regular fractions for so many factors, smallest first."""
    smallest = 1 << max(2, n_factors.bit_length())
    sizes = [1 << power for power in range(2, MOST_RUNS.bit_length())]
    return tuple(size for size in sizes if size >= smallest and size < 1 << n_factors)


def fraction(factors: Sequence[Factor], runs: int | None = None, blocks: int = 1) -> Draft:
    """Lay out a regular two-level fraction of minimum aberration.

    Parameters
    ----------
    factors : sequence of Factor
        At most 15, each with two settings to plan with.
    runs : int, optional
        A power of two up to 128; by default the fewest that keep main effects clear of two-factor interactions.
    blocks : int
        1, 2, 4 or 8; blocks take the place of high-order interactions.

    Raises
    ------
    UsageError
        If a factor has more than two levels, or the runs or blocks do not fit; the nearest that do are named.
    """
    require_two_levels(factors, "a two-level fraction")
    n_factors = len(factors)
    if n_factors > MOST_FACTORS:
        raise UsageError(
            f"A two-level fraction takes up to {MOST_FACTORS} factors, and there are {n_factors}; "
            "use kind='plackett-burman' or kind='d-optimal'."
        )
    n_runs = runs if runs is not None else _smallest_clear(n_factors)
    _check_size(n_factors, n_runs)
    if n_runs == 1 << n_factors:
        return full(factors, "main", blocks)
    columns = minimum_aberration(n_factors, n_runs)
    block, notes = (one_block(n_runs), ()) if blocks == 1 else _blocked(columns, n_runs, blocks, factors)
    words = word_lengths(np.array(columns), n_runs)
    resolution = int(np.flatnonzero(words)[0]) + 1
    facts = {
        "resolution": resolution,
        "word_lengths": tuple(int(count) for count in words),
        "generators": generators(factors, columns),
        "aliases": alias_strings(factors, columns),
    }
    title = f"two-level fraction 2^({n_factors}-{n_factors - int(math.log2(n_runs))}), resolution {roman(resolution)}"
    values = from_coded(factors, signs_of(columns, n_runs))
    return Draft(title, values, block, ("corner",) * n_runs, facts, notes)


def _smallest_clear(n_factors: int) -> int:
    """Return the fewest runs with resolution IV: at least twice the number of factors."""
    return min(1 << n_factors, max(4, 1 << (2 * n_factors - 1).bit_length()))


def _check_size(n_factors: int, n_runs: int) -> None:
    sizes = (*fraction_sizes(n_factors), 1 << n_factors)
    if n_runs in sizes:
        return
    near = min(sizes, key=lambda size: (abs(math.log2(size / max(n_runs, 1))), size))
    raise UsageError(
        f"A two-level fraction of {counted(n_factors, 'factor')} cannot have {counted(n_runs, 'run')}; the nearest has "
        f"{near}, and kind='d-optimal' takes any number."
    )


def roman(number: int) -> str:
    """Write a resolution as the trade does.

    Examples
    --------
    >>> roman(3), roman(4), roman(9)
    ('III', 'IV', 'IX')
    """
    numerals = ("", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII", "XIII", "XIV", "XV")
    return numerals[number]


def _product(factors: Sequence[Factor], column: int) -> str:
    return ":".join(factors[place].name for place in range(column.bit_length()) if column >> place & 1)


def generators(factors: Sequence[Factor], columns: Sequence[int]) -> tuple[str, ...]:
    """Write how each added factor follows from the basic ones: ``feet = vents:rings:wool``."""
    return tuple(
        f"{factor.name} = {_product(factors, column)}"
        for factor, column in zip(factors, columns, strict=True)
        if column.bit_count() > 1
    )


def alias_strings(factors: Sequence[Factor], columns: Sequence[int]) -> tuple[str, ...]:
    """Write which main effects and two-factor interactions share a column: ``vents + rings:wool + feet:driver``."""
    groups: dict[int, list[str]] = {}
    for factor, column in zip(factors, columns, strict=True):
        groups.setdefault(column, []).append(factor.name)
    for first, second in itertools.combinations(range(len(factors)), 2):
        name = f"{factors[first].name}:{factors[second].name}"
        groups.setdefault(columns[first] ^ columns[second], []).append(name)
    return tuple(" + ".join(group) for group in groups.values() if len(group) > 1)


def _blocked(
    columns: Sequence[int], n_runs: int, blocks: int, factors: Sequence[Factor]
) -> tuple[Ints, tuple[str, ...]]:
    """Assign runs to blocks, and say what the blocks hide.

    Raises
    ------
    UsageError
        If the number of blocks is no power of two, or no columns are left for them.
    """
    block, lost = block_runs(columns, n_runs, blocks)
    if block is None:
        fits = [size for size in (2, 4, 8, 16) if block_runs(columns, n_runs, size)[0] is not None]
        may = f"it may have {listed(fits)}" if fits else f"use {n_runs * 2} runs"
        raise UsageError(
            f"A two-level plan of {counted(len(factors), 'factor')} in {n_runs} runs cannot have {blocks} blocks; {may}, "
            "and kind='d-optimal' takes any number."
        )
    names = [spoken(f"{factors[first].name}:{factors[second].name}") for first, second in lost]
    return block, (f"The difference between blocks cannot be told from {listed(names, 'and')}.",) if names else ()


def block_runs(columns: Sequence[int], n_runs: int, blocks: int) -> tuple[Ints | None, list[tuple[int, int]]]:
    """Assign runs to blocks by columns that cost no main effect, and as few two-factor interactions as possible.

    Returns
    -------
    block : ndarray of shape (n_runs,) or None
        None if so many blocks cannot be had.
    lost : list of tuple of int
        Pairs of factors whose interaction the blocks hide.
    """
    if blocks == 1:
        return one_block(n_runs), []
    if blocks < 1 or blocks & (blocks - 1) or blocks * 2 > n_runs:
        return None, []
    cost = _block_costs(columns, n_runs)
    span, basis = _cheapest_span(cost, blocks.bit_length() - 1)
    if cost[list(span)][:, 0].any():
        return None, []
    bits = parities(n_runs)[list(basis)]
    block = (bits * (1 << np.arange(len(basis)))[:, None]).sum(axis=0).astype(np.intp)
    pairs = itertools.combinations(range(len(columns)), 2)
    return block, [(first, second) for first, second in pairs if columns[first] ^ columns[second] in span]


def _block_costs(columns: Sequence[int], n_runs: int) -> Ints:
    """Count, for each column of the sign table, the main effects and the interactions of two and three factors on it."""
    cost = np.zeros((n_runs, 3), dtype=np.intp)
    for order in range(3):
        for group in itertools.combinations(columns, order + 1):
            product = 0
            for column in group:
                product ^= column
            cost[product, order] += 1
    return cost


def _cheapest_span(cost: Ints, n_basis: int) -> tuple[frozenset[int], tuple[int, ...]]:
    """Grow sets of columns closed under products, keeping the cheapest at each size."""
    beam: Mapping[frozenset[int], tuple[int, ...]] = {frozenset(): ()}
    for _ in range(n_basis):
        grown: dict[frozenset[int], tuple[int, ...]] = {}
        for span, basis in beam.items():
            for column in range(1, len(cost)):
                if column not in span:
                    larger = span | {column} | {column ^ other for other in span}
                    grown.setdefault(frozenset(larger), (*basis, column))
        ranked = sorted(grown, key=lambda span: (tuple(cost[list(span)].sum(axis=0)), sorted(span)))
        beam = {span: grown[span] for span in ranked[:_BEAM]}
    return next(iter(beam.items()))


def two_level_only(factors: Sequence[Factor]) -> bool:
    """Tell whether every factor has two settings to plan with."""
    return all(is_two_level(factor) for factor in factors)
