"""Searching a grid of settings that is too large to list."""

from __future__ import annotations

import itertools
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
        Variants that exist; their neighbours are included, for a dozen of them at most.
    rng : numpy Generator

    Returns
    -------
    ndarray of shape (n_variants, n_factors)
        All keep the limits.
    """
    near = neighbours(space, centres[-MOST_CENTRES:])
    anywhere = drawn_codes(space.shape, N_RANDOM, rng)
    codes = unique(space, np.vstack([centres, near, anywhere]).astype(np.intp))
    return codes[space.allowed(codes)]


def neighbours(space: Space, centres: Codes) -> Codes:
    """Return the variants that keep the limits and differ from a centre in one factor.

    Of a factor that limits let move with others only, as where settings must add up to a number, those that differ in two.

    Parameters
    ----------
    space : Space
    centres : ndarray of shape (n_centres, n_factors)

    Returns
    -------
    ndarray of shape (n_variants, n_factors)
        Some may be there more than once.
    """
    near = np.vstack([np.empty((0, len(space.shape)), dtype=np.intp), *(single_changes(space, one) for one in centres)])
    kept = space.allowed(near)
    if kept.all():
        return near
    of_factor = np.repeat(np.arange(len(space.shape)), np.array(space.shape) - 1)
    pairs = []
    for centre, alone in zip(centres, kept.reshape(len(centres), -1), strict=True):
        stuck = np.setdiff1d(of_factor, of_factor[alone])
        pairs += [double_changes(space, centre, one, other) for one, other in itertools.combinations(stuck, 2)]
    both = np.vstack([near[:0], *pairs])
    return np.vstack([near[kept], both[space.allowed(both)]])


def single_changes(space: Space, centre: npt.NDArray[np.intp]) -> Codes:
    """Return every variant that differs from one in one factor, shape (n_changes, n_factors)."""
    changes = []
    for place, size in enumerate(space.shape):
        others = np.delete(np.arange(size), centre[place])
        block = np.repeat(centre[None], size - 1, axis=0)
        block[:, place] = others
        changes.append(block)
    return np.vstack(changes)


def double_changes(space: Space, centre: npt.NDArray[np.intp], one: int, other: int) -> Codes:
    """Return every variant that differs from one in two factors, shape (n_changes, n_factors)."""
    first, second = (np.delete(np.arange(space.shape[place]), centre[place]) for place in (one, other))
    changes = np.repeat(centre[None], len(first) * len(second), axis=0)
    changes[:, one], changes[:, other] = np.repeat(first, len(second)), np.tile(second, len(first))
    return changes


def climb(space: Space, score: Callable[[Codes], Floats], start: Codes) -> Codes:
    """Improve the best of some variants by changes to neighbours until none of them gets better.

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
        found = unique(space, neighbours(space, seen[fresh]))
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
