"""Response surface plans: central composite and Box-Behnken."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from doe.model.errors import UsageError, listed
from doe.model.factor import Factor
from doe.model.wording import capital, counted, number
from doe.plans.aberration import minimum_aberration, signs_of
from doe.plans.draft import Draft, from_coded, off_step_notes, one_block, require_numbers
from doe.plans.layout import Array, Ints
from doe.plans.two_level import block_runs

MOST_COMPOSITE = 10
_CUBES = {2: 4, 3: 8, 4: 16, 5: 16, 6: 32, 7: 64, 8: 64, 9: 128, 10: 128}
"""Runs of the smallest cube of resolution V or more."""

_INSTEAD = "kind='i-optimal' with model='quadratic'"
_MOST_CENTRE = 8
_NEAR_ROTATABLE = 0.05

_PAIRS = {
    3: ((0, 1), (0, 2), (1, 2)),
    4: ((0, 1), (2, 3), (0, 3), (1, 2), (0, 2), (1, 3)),
    5: ((0, 1), (1, 2), (2, 3), (3, 4), (0, 4), (0, 2), (1, 3), (2, 4), (0, 3), (1, 4)),
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)),
}
"""Factors that vary together while the others stay in the middle (Box & Behnken 1960, Technometrics 2, 455-475)."""

_BEHNKEN_CENTRE = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}
_BEHNKEN_BLOCKS = {3: 1, 4: 3, 5: 2, 6: 2, 7: 2}


def central_composite(
    factors: Sequence[Factor], *, is_faced: bool = False, blocks: int = 1, centre: int | None = None
) -> Draft:
    """Lay out corners, axial points and the centre for a quadratic model (Box & Wilson 1951).

    The range of each factor is never left: where axial points stand out beyond the corners, they take the ends of the range
    and the corners move in. Unblocked, the axial distance makes the plan rotatable, (corner runs)^(1/4); in blocks it makes
    blocks orthogonal to the model (Box & Hunter 1957, Ann. Math. Stat. 28, 195-241).

    Parameters
    ----------
    factors : sequence of Factor
        2 to 10 numbers.
    is_faced : bool
        Whether axial points lie on the faces, so that each factor has three settings only.
    blocks : int
        1, or one for the axial points and 1, 2, 4 ... for the corners.
    centre : int, optional
        Centre runs, in each block if there are several.

    Raises
    ------
    UsageError
        If a factor is no number, or their count or the blocks do not fit.
    """
    what = "a face-centred plan" if is_faced else "a central composite plan"
    require_numbers(factors, what, _INSTEAD)
    n_factors = len(factors)
    if n_factors not in _CUBES:
        raise UsageError(
            f"{capital(what)} takes 2 to {MOST_COMPOSITE} factors, and there are {n_factors}; use {_INSTEAD}."
        )
    if blocks > 1:
        return _blocked_composite(factors, is_faced, blocks, centre)
    cube = signs_of(minimum_aberration(n_factors, _CUBES[n_factors]), _CUBES[n_factors])
    distance = 1.0 if is_faced else len(cube) ** 0.25
    n_centre = centre if centre is not None else (3 if is_faced else 5)
    if n_centre < 1 and _needs_centre(n_factors, distance):
        raise UsageError(
            "A rotatable plan of so few factors cannot tell curvature from the mean without a centre run; use centre=1 or more."
        )
    block = one_block(len(cube) + 2 * n_factors + n_centre)
    return _composite(factors, cube, distance, n_centre, block, what)


def _needs_centre(n_factors: int, distance: float) -> bool:
    """Tell whether all other points lie on one sphere."""
    return math.isclose(distance**2, n_factors, rel_tol=1e-9)


def _composite(factors: Sequence[Factor], cube: Array, distance: float, n_centre: int, block: Ints, what: str) -> Draft:
    n_factors = len(factors)
    axial = np.vstack([distance * np.eye(n_factors), -distance * np.eye(n_factors)])
    coded = np.vstack([cube, axial, np.zeros((n_centre, n_factors))]) / max(1.0, distance)
    points = ("corner",) * len(cube) + ("axial",) * len(axial) + ("centre",) * n_centre
    values = from_coded(factors, coded)
    notes = off_step_notes(factors, coded, values)
    if distance > 1:
        share = number(100 / distance)
        notes = (f"Axial points take the ends of each range, corners {share} % of the way from the middle.", *notes)
    title = f"{what.removeprefix('a ')}, {len(coded)} runs"
    return Draft(title, values, block, points, {"axial_distance": distance}, notes)


def _blocked_composite(factors: Sequence[Factor], is_faced: bool, blocks: int, centre: int | None) -> Draft:
    n_factors = len(factors)
    cube_blocks = blocks - 1
    if is_faced:
        raise UsageError(
            "A face-centred plan has no orthogonal blocks; use kind='central-composite', or kind='i-optimal'."
        )
    columns = minimum_aberration(n_factors, _CUBES[n_factors])
    cube = signs_of(columns, _CUBES[n_factors])
    cube_block, lost = block_runs(columns, len(cube), cube_blocks)
    if cube_block is None or lost:
        fits = [size + 1 for size in (1, 2, 4, 8) if not _loses(columns, len(cube), size)]
        raise UsageError(
            f"A central composite plan of {counted(n_factors, 'factor')} cannot have {blocks} blocks; it may have "
            f"{listed(fits)}, and kind='i-optimal' takes any number."
        )
    in_cube, in_axial = (centre, centre) if centre is not None else _centres(n_factors, len(cube), cube_blocks)
    distance = orthogonal_distance(n_factors, len(cube), in_cube * cube_blocks, in_axial)
    rows = np.concatenate(
        [
            cube_block,
            np.full(2 * n_factors, cube_blocks),
            np.repeat(np.arange(cube_blocks), in_cube),
            np.full(in_axial, cube_blocks),
        ]
    )
    n_centre = in_cube * cube_blocks + in_axial
    return _composite(factors, cube, distance, n_centre, rows.astype(np.intp), "a central composite plan")


def _loses(columns: Sequence[int], n_runs: int, blocks: int) -> bool:
    block, lost = block_runs(columns, n_runs, blocks)
    return block is None or bool(lost)


def orthogonal_distance(n_factors: int, n_cube: int, centre_in_cube: int, centre_in_axial: int) -> float:
    """Return the axial distance that makes blocks orthogonal (Box & Hunter 1957): equal shares of squares and of runs."""
    return math.sqrt(n_cube * (2 * n_factors + centre_in_axial) / (2 * (n_cube + centre_in_cube)))


def _centres(n_factors: int, n_cube: int, cube_blocks: int) -> tuple[int, int]:
    """Choose the fewest centre runs, three at least, whose orthogonal distance is within 5 % of the rotatable one."""
    rotatable = n_cube**0.25
    choices = [
        (abs(orthogonal_distance(n_factors, n_cube, inner * cube_blocks, outer) / rotatable - 1), inner, outer)
        for inner, outer in itertools.product(range(1, _MOST_CENTRE + 1), repeat=2)
        if inner * cube_blocks + outer >= 3
    ]
    near = [choice for choice in choices if choice[0] <= _NEAR_ROTATABLE] or [min(choices)]
    _, inner, outer = min(near, key=lambda choice: (choice[1] * cube_blocks + choice[2], choice[0]))
    return inner, outer


def box_behnken(factors: Sequence[Factor], blocks: int = 1, centre: int | None = None) -> Draft:
    """Lay out small factorials in two or three factors at a time, the others in the middle (Box & Behnken 1960).

    Parameters
    ----------
    factors : sequence of Factor
        3 to 7 numbers.
    blocks : int
        1, or 3 for four factors, 2 for five to seven; these are orthogonal to the model.
    centre : int, optional
        Centre runs in all: 3 for three and four factors, else 6.

    Raises
    ------
    UsageError
        If a factor is no number, or their count, the blocks or the centre runs do not fit.
    """
    what = "a Box-Behnken plan"
    require_numbers(factors, what, _INSTEAD)
    n_factors = len(factors)
    if n_factors not in _PAIRS:
        raise UsageError(f"{capital(what)} takes 3 to 7 factors, and there are {n_factors}; use {_INSTEAD}.")
    if blocks not in (1, _BEHNKEN_BLOCKS[n_factors]):
        fits = f"it may have {_BEHNKEN_BLOCKS[n_factors]}" if n_factors > 3 else "it has none"
        raise UsageError(
            f"A Box-Behnken plan of {n_factors} factors cannot have {blocks} blocks; {fits}, and kind='i-optimal' takes any "
            "number."
        )
    n_centre = centre if centre is not None else _BEHNKEN_CENTRE[n_factors]
    if n_centre < 1 or n_centre % blocks:
        raise UsageError(
            f"centre is {n_centre}; a Box-Behnken plan in {counted(blocks, 'block')} needs {blocks}, {2 * blocks} or more."
        )
    edges, edge_block = _edges(n_factors, blocks)
    coded = np.vstack([edges, np.zeros((n_centre, n_factors))])
    block = np.concatenate([edge_block, np.arange(n_centre) % blocks]).astype(np.intp)
    values = from_coded(factors, coded)
    points = ("edge",) * len(edges) + ("centre",) * n_centre
    return Draft(
        f"Box-Behnken plan, {len(coded)} runs", values, block, points, {}, off_step_notes(factors, coded, values)
    )


def _edges(n_factors: int, blocks: int) -> tuple[Array, Ints]:
    rows, block = [], []
    groups = _PAIRS[n_factors]
    for place, group in enumerate(groups):
        for signs in itertools.product((-1.0, 1.0), repeat=len(group)):
            row = np.zeros(n_factors)
            row[list(group)] = signs
            rows.append(row)
            by_sign = len(group) == 3  # half of each cube in each block; pairs go into a block whole
            block.append(int(math.prod(signs) > 0) if by_sign else place * blocks // len(groups))
    return np.array(rows), np.array(block if blocks > 1 else [0] * len(rows), dtype=np.intp)
