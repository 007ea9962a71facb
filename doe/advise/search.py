"""Searching a grid of settings that is too large to list."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.space import Codes, Space, drawn_codes
from doe.model.patience import checkpoint

Floats = npt.NDArray[np.floating[Any]]

N_RANDOM = 4_000
MOST_CENTRES = 12
N_CLIMBERS = 24
MOST_ROUNDS = 12


def pool(space: Space, centres: Codes, rng: np.random.Generator) -> Codes:
    """Return variants to start a search from: near what exists, and anywhere.

    Parameters
    ----------
    space : Space
    centres : ndarray of shape (n_centres, n_factors)
        Variants that exist; all their single changes are included, for a dozen of them at most.
    rng : numpy Generator

    Returns
    -------
    ndarray of shape (n_variants, n_factors)
        All keep the limits.
    """
    near = [single_changes(space, centre) for centre in centres[-MOST_CENTRES:]]
    anywhere = drawn_codes(space.shape, N_RANDOM, rng)
    codes = unique(space, np.vstack([centres, *near, anywhere]).astype(np.intp))
    return codes[space.allowed(codes)]


def single_changes(space: Space, centre: npt.NDArray[np.intp]) -> Codes:
    """Return every variant that differs from one in one factor, shape (n_changes, n_factors)."""
    changes = []
    for place, size in enumerate(space.shape):
        others = np.delete(np.arange(size), centre[place])
        block = np.repeat(centre[None], size - 1, axis=0)
        block[:, place] = others
        changes.append(block)
    return np.vstack(changes)


def climb(space: Space, score: Callable[[Codes], Floats], start: Codes) -> Codes:
    """Improve the best of some variants by single changes until none of them gets better.

    Parameters
    ----------
    space : Space
    score : callable
        Codes of shape (n_variants, n_factors) -> score of shape (n_variants,), higher is better.
    start : ndarray of shape (n_variants, n_factors)
        Variants to start from.

    Returns
    -------
    ndarray of shape (n_variants, n_factors)
        Every variant looked at, the starting ones included; all keep the limits if the starting ones do.
    """
    seen, scores = start, score(start)
    expanded: set[int] = set()
    for _ in range(MOST_ROUNDS):
        checkpoint()
        order = np.argsort(-scores, kind="stable")[:N_CLIMBERS]
        keys = numbered(space, seen[order])
        fresh = order[[int(key) not in expanded for key in keys]]
        if not len(fresh):
            break
        expanded.update(int(key) for key in keys)
        found = unique(space, np.vstack([single_changes(space, seen[place]) for place in fresh]))
        found = found[space.allowed(found)]
        found = found[~np.isin(numbered(space, found), numbered(space, seen))]
        if not len(found):
            continue
        seen, scores = np.vstack([seen, found]), np.concatenate([scores, score(found)])
    return seen


def numbered(space: Space, codes: Codes) -> npt.NDArray[np.int64]:
    """Return one whole number per variant; above 2^63 variants the numbers wrap but stay nearly unique."""
    result = np.zeros(len(codes), dtype=np.int64)
    with np.errstate(over="ignore"):
        for place, size in enumerate(space.shape):
            result = result * size + codes[:, place]
    return result


def unique(space: Space, codes: Codes) -> Codes:
    """Drop repeated variants."""
    _, first = np.unique(numbered(space, codes), return_index=True)
    return codes[np.sort(first)]
