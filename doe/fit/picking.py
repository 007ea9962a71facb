"""Picking in proportion to weights, with the least scatter of counts."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]
Index = npt.NDArray[np.intp]


def systematic_picks(weights: Array, count: int, rng: np.random.Generator) -> Index:
    """Pick places in proportion to their weights, in random order.

    Parameters
    ----------
    weights : ndarray of shape (n_places,)
        At least 0, not all 0, in any unit.
    count : int
    rng : numpy.random.Generator

    Returns
    -------
    ndarray of int, shape (count,)
        Each place comes as often as its share of `count` says, rounded up or down (systematic sampling: Cochran, W. G. (1977).
        Sampling Techniques, 3rd ed., chapter 8).
    """
    points = (np.arange(count) + rng.random()) / count * weights.sum()
    places = np.minimum(np.searchsorted(np.cumsum(weights), points), len(weights) - 1)
    return np.asarray(rng.permutation(places))
