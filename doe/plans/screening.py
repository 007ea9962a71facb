"""Screening plans: Plackett-Burman, their mirror images, and definitive screening."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pandas as pd

from doe.model.errors import UsageError, listed, or_else
from doe.model.factor import Factor
from doe.model.wording import counted, spaced
from doe.plans.aberration import MOST_FACTORS, fraction_columns
from doe.plans.draft import Draft, from_coded, off_step_notes, one_block, require_two_levels
from doe.plans.frame import snapped, to_values
from doe.plans.hadamard import LARGEST, conference, hadamard
from doe.plans.layout import Array

MOST_DEFINITIVE = 12
"""Most numeric factors of a definitive screening plan."""

CONFERENCE_ORDERS = (4, 6, 8, 10, 12, 14, 16, 18, 20)
_MOST_SIGN_PATTERNS = 10


def plackett_burman(factors: Sequence[Factor], runs: int | None = None, blocks: int = 1) -> Draft:
    """Lay out main effects orthogonally in a multiple of 4 runs, up to 48 (Plackett & Burman 1946).

    Parameters
    ----------
    factors : sequence of Factor
        Fewer than runs, each with two settings to plan with.
    runs : int, optional
        A multiple of 4; by default the fewest that do.
    blocks : int
        1, or 2 while a column is left.

    Raises
    ------
    UsageError
        If a factor has more than two levels, or the runs or blocks do not fit; the nearest that do are named.
    """
    require_two_levels(factors, "a Plackett-Burman plan")
    n_factors = len(factors)
    least = _fewest_runs(n_factors)
    n_runs = least if runs is None else runs
    if n_runs % 4 or not least <= n_runs <= LARGEST:
        near = min(max(round(n_runs / 4) * 4, least), LARGEST)
        fits = f"the nearest has {near}" if least <= LARGEST else f"{LARGEST} runs hold {LARGEST - 1} factors"
        raise UsageError(
            f"A Plackett-Burman plan of {counted(n_factors, 'factor')} cannot have {counted(n_runs, 'run')}: {fits}, "
            "and kind='d-optimal' takes any number."
        )
    if blocks not in (1, 2) or n_factors + blocks > n_runs:
        raise UsageError(
            f"A Plackett-Burman plan of {counted(n_factors, 'factor')} in {n_runs} runs cannot have {blocks} blocks; "
            "use kind='d-optimal'."
        )
    coded = _orthogonal(n_factors + blocks - 1, n_runs)
    block = one_block(n_runs) if blocks == 1 else (coded[:, n_factors] < 0).astype(np.intp)
    title = f"Plackett-Burman plan, {n_runs} runs"
    return Draft(title, from_coded(factors, coded[:, :n_factors]), block, ("corner",) * n_runs)


def _fewest_runs(n_factors: int) -> int:
    return max(4, -(-(n_factors + 1) // 4) * 4)


def _orthogonal(n_factors: int, n_runs: int) -> Array:
    """Return orthogonal columns; where a regular fraction is one, the one of minimum aberration."""
    is_power = n_runs & (n_runs - 1) == 0
    if is_power and n_factors <= MOST_FACTORS:
        return fraction_columns(n_factors, n_runs)
    return hadamard(n_runs)[:, 1 : n_factors + 1].astype(float)


def mirrored_plan(factors: Sequence[Factor], runs: int | None = None, blocks: int = 1) -> Draft:
    """Lay out a Plackett-Burman plan and its mirror image, so that no main effect is mixed with any interaction of two.

    Parameters
    ----------
    factors : sequence of Factor
        Each with two settings to plan with.
    runs : int, optional
        A multiple of 8; by default the fewest that do.
    blocks : int
        1, or 2 for the plan and its image.

    Raises
    ------
    UsageError
        As `plackett_burman`, or if the runs or blocks do not fit; the nearest that do are named.
    """
    least = 2 * _fewest_runs(len(factors))
    if runs is not None and least <= 2 * LARGEST and (runs % 8 or not least <= runs <= 2 * LARGEST):
        near = min(max(round(runs / 8) * 8, least), 2 * LARGEST)
        raise UsageError(
            f"A fold-over plan of {counted(len(factors), 'factor')} cannot have {counted(runs, 'run')}; the nearest has {near}."
        )
    if blocks not in (1, 2):
        raise UsageError(f"A fold-over plan cannot have {blocks} blocks; it may have 2, or use kind='d-optimal'.")
    base = plackett_burman(factors, None if runs is None else runs // 2)
    values = np.vstack([base.values, mirror_values(factors, base.values, range(len(factors)))])
    n_runs = len(values)
    block = (np.arange(n_runs) >= n_runs // 2).astype(np.intp) if blocks == 2 else one_block(n_runs)
    return Draft(f"fold-over of a Plackett-Burman plan, {n_runs} runs", values, block, ("corner",) * n_runs)


def fold_over(factors: Sequence[Factor], existing: pd.DataFrame, fold: Sequence[str] = ()) -> Draft:
    """Mirror runs that exist: every factor, or only those named, at the other side of its middle.

    Mirroring all factors frees main effects from two-factor interactions; mirroring one frees that factor and all its
    interactions (Box, Hunter & Hunter 2005, sec. 6.8).

    Parameters
    ----------
    factors : sequence of Factor
        All factors.
    existing : DataFrame
        The runs to mirror.
    fold : sequence of str
        Factors to mirror; all by default.

    Raises
    ------
    UsageError
        If a name is no factor, or a factor to mirror has more than two levels without being a number.
    """
    names = [factor.name for factor in factors]
    for name in fold:
        if name not in names:
            raise UsageError(f"fold names '{name}', which is no factor{or_else(name, names)}")
    places = [place for place, name in enumerate(names) if not fold or name in fold]
    require_two_levels([factors[place] for place in places], "a fold-over", "fold= with the other factors")
    values = mirror_values(factors, to_values(factors, existing, "Existing run"), places)
    what = "all factors" if len(places) == len(names) else listed([spaced(names[place]) for place in places], "and")
    return Draft(f"fold-over on {what}", values, one_block(len(values)), ("corner",) * len(values))


def mirror_values(factors: Sequence[Factor], values: Array, places: Sequence[int]) -> Array:
    """Return settings with the factors at `places` at the other side of their middle."""
    mirrored = values.copy()
    for place in places:
        low, high = factors[place].span
        flipped = low + high - values[:, place]
        if factors[place].is_numeric:
            flipped = np.array([float(snapped(factors[place], number)) for number in flipped])
        mirrored[:, place] = flipped
    return mirrored


def definitive(factors: Sequence[Factor], centre: int | None = None) -> Draft:
    """Lay out a definitive screening plan: mirrored pairs that each leave one factor in the middle, and the centre.

    Main effects are clear of every second-order term (Jones & Nachtsheim 2011, J. Qual. Technol. 43, 1-15, from conference
    matrices after Xiao, Lin & Bai 2012, ibid. 44, 1-7). Two-level factors take a level in place of the middle, opposite in
    the two runs of a pair, and the centre is run twice (Jones & Nachtsheim 2013, ibid. 45, 121-129).

    Parameters
    ----------
    factors : sequence of Factor
        3 to 12 numbers, any two-level factors mixed in, up to 20 in all.
    centre : int, optional
        Centre runs: 1 by default, and 2 with two-level factors; no fewer.

    Raises
    ------
    UsageError
        If a factor has more than two levels, there are too few or too many, or too few centre runs are asked for.
    """
    require_two_levels(factors, "a definitive screening plan")
    switched = [place for place, factor in enumerate(factors) if len(factor.grid(3)) < 3]
    numbers = [place for place in range(len(factors)) if place not in switched]
    _check_definitive(len(numbers), len(factors))
    order = next(size for size in CONFERENCE_ORDERS if size >= len(factors))
    pairs = conference(order).astype(float)[:, : len(factors)]
    columns = [*numbers, *switched]  # two-level factors take the last columns
    half = np.empty_like(pairs)
    half[:, columns] = pairs
    zeros = {place: int(np.flatnonzero(half[:, place] == 0)[0]) for place in switched}
    least = 2 if switched else 1
    n_centre = centre if centre is not None else least
    if n_centre < least:
        which = " with two-level factors" if switched else ""
        raise UsageError(f"centre is {centre}; a definitive screening plan{which} needs {least} or more.")
    middle = np.zeros((n_centre, len(factors)))
    middle[:, switched] = np.where(np.arange(n_centre) % 2 == 0, 1.0, -1.0)[:, None]
    coded = _filled(half, zeros, middle)
    values = from_coded(factors, coded)
    points = ("edge",) * (2 * order) + ("centre",) * n_centre
    title = f"definitive screening plan, {len(coded)} runs"
    return Draft(title, values, one_block(len(coded)), points, {}, off_step_notes(factors, coded, values))


def _check_definitive(n_numbers: int, n_factors: int) -> None:
    if n_numbers < 3:
        are = "is" if n_numbers == 1 else "are"
        raise UsageError(
            f"A definitive screening plan needs at least 3 factors with a middle, and there {are} {n_numbers}; "
            "use kind='d-optimal' with model='quadratic'."
        )
    if n_numbers > MOST_DEFINITIVE or n_factors > CONFERENCE_ORDERS[-1]:
        raise UsageError(
            f"A definitive screening plan takes up to {MOST_DEFINITIVE} numbers and {CONFERENCE_ORDERS[-1]} factors in all, "
            f"and there are {n_numbers} and {n_factors}; use kind='d-optimal'."
        )


def _filled(half: Array, zeros: dict[int, int], middle: Array) -> Array:
    """Give two-level factors a level where the pair leaves them in the middle: the signs with the largest determinant."""
    best, largest = None, -np.inf
    free = min(len(zeros), _MOST_SIGN_PATTERNS)
    for signs in itertools.product((1.0, -1.0), repeat=free):
        tried = half.copy()
        for (place, row), sign in zip(zeros.items(), (*signs, *(1.0,) * (len(zeros) - free)), strict=True):
            tried[row, place] = sign
        coded = np.vstack([tried, -tried, middle])
        size = np.linalg.slogdet(coded.T @ coded)[1]
        if size > largest + 1e-9:
            best, largest = coded, size
    assert best is not None  # at least one sign pattern is always tried
    return best
