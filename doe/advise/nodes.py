"""Evenly spread normal deviates: a few dozen that do the work of thousands drawn at random.

Sobol's sequence by its direction numbers, since the library that has it takes longer to import than a whole choice takes.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

Floats = npt.NDArray[np.floating[Any]]

_BITS = 30
_POLYNOMIALS: tuple[tuple[int, int, tuple[int, ...]], ...] = (
    (0, 0, ()), (1, 0, (1,)), (2, 1, (1, 3)), (3, 1, (1, 3, 1)), (3, 2, (1, 1, 1)), (4, 1, (1, 1, 3, 3)),
    (4, 4, (1, 3, 5, 13)), (5, 2, (1, 1, 5, 5, 17)),
)  # fmt: skip
"""Degree, coefficients and first direction numbers of each dimension (Joe, S. and Kuo, F. Y. (2008). Constructing Sobol
sequences with better two-dimensional projections. SIAM J. Sci. Comput. 30, 2635-2654; their table new-joe-kuo-6)."""


def sobol_points(n_points: int, n_dimensions: int) -> Floats:
    """Return the first points of Sobol's sequence, shape (n_points, n_dimensions), in 0..1, the origin first.

    Eight dimensions at most.
    """
    order = np.arange(n_points)
    gray = order ^ (order >> 1)
    columns = []
    for degree, coefficients, first in _POLYNOMIALS[:n_dimensions]:
        directions = _directions(degree, coefficients, first)
        bits = np.zeros(n_points, dtype=np.int64)
        for place, direction in enumerate(directions):
            bits ^= np.where((gray >> place) & 1, direction, 0)
        columns.append(bits / 2**_BITS)
    return np.stack(columns, axis=1)


def _directions(degree: int, coefficients: int, first: tuple[int, ...]) -> list[int]:
    numbers = list(first) if degree else [1] * _BITS
    for place in range(degree, _BITS if degree else 0):
        value = numbers[place - degree] ^ (numbers[place - degree] << degree)
        for step in range(1, degree):
            value ^= ((coefficients >> (degree - 1 - step)) & 1) * (numbers[place - step] << step)
        numbers.append(value)
    return [number << (_BITS - 1 - place) for place, number in enumerate(numbers)]


@lru_cache(maxsize=32)
def normal_nodes(n_nodes: int, n_dimensions: int) -> Floats:
    """Return standard normal nodes with their mirror images, shape (2 n_nodes, n_dimensions).

    Parameters
    ----------
    n_nodes : int
        A power of two, so that the points are balanced.
    n_dimensions : int
        Beyond eight, columns are shuffled copies of the first.
    """
    points = sobol_points(n_nodes, min(n_dimensions, len(_POLYNOMIALS))) + 0.5 / n_nodes
    rng = np.random.default_rng(8)
    extra = [rng.permutation(points[:, 0]) for _ in range(n_dimensions - points.shape[1])]
    nodes = ndtri(np.column_stack([points, *extra]))
    nodes /= np.sqrt(np.mean(nodes**2, axis=0))
    return np.vstack([nodes, -nodes])
