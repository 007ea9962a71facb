"""Regular two-level fractions of minimum aberration, found by search.

A fraction in N = 2^k runs assigns factors to distinct columns of the N x N sign table; a column is a number 1..N-1 whose bits
name the basic factors that it multiplies. A set of factors whose columns combine to zero is a word of the defining relation.
Of two fractions the one with fewer shortest words has less aberration (Fries & Hunter 1980, Technometrics 22, 601-608). The
search adds one factor at a time and keeps a few hundred of the best classes at each size, told apart by their word lengths
with each factor left out in turn (after Chen, Sun & Wu 1993, Int. Stat. Rev. 61, 131-145).
"""

from __future__ import annotations

from functools import cache
from math import comb

import numpy as np
import numpy.typing as npt

from doe.plans.layout import Array, Ints

MOST_FACTORS = 15
MOST_RUNS = 128

_WIDTH = 160
_CANDIDATES = 4000

Words = npt.NDArray[np.int64]


@cache
def minimum_aberration(n_factors: int, n_runs: int) -> tuple[int, ...]:
    """Return the columns of a minimum-aberration fraction, the basic factors first.

    Parameters
    ----------
    n_factors : int
        At least log2(n_runs), at most 15 and fewer than `n_runs`.
    n_runs : int
        4, 8, 16, 32, 64 or 128.

    Returns
    -------
    tuple of int
        One column per factor.
    """
    n_basic = n_runs.bit_length() - 1
    basic = tuple(1 << place for place in range(n_basic))
    if n_factors <= n_basic:
        return basic[:n_factors]
    beam = np.array([basic], dtype=np.intp)
    for _ in range(n_factors - n_basic):
        beam = _grown(beam, n_runs)
    return tuple(int(column) for column in beam[_clearest(beam)])


def parities(n_runs: int) -> npt.NDArray[np.uint8]:
    """Return the sign table as bits, shape (n_columns, n_runs): 1 where a column is at its low side."""
    bits = (np.arange(n_runs)[:, None] >> np.arange(n_runs.bit_length())) & 1
    return np.asarray((bits @ bits.T) & 1, dtype=np.uint8)


def word_lengths(columns: Ints, n_runs: int) -> Words:
    """Count the words of the defining relation by length.

    By the identity of MacWilliams: the number of words of length j is the mean, over the runs, of the Krawtchouk polynomial
    K_j at the number of factors that are low in the run.

    Parameters
    ----------
    columns : ndarray of shape (..., n_factors)
        Fractions.
    n_runs : int
        Runs of the fraction.

    Returns
    -------
    ndarray of shape (..., n_factors)
        Words of length 1, 2, ..., n_factors.
    """
    low = parities(n_runs)[columns].sum(axis=-2, dtype=np.int64)
    return _words_from_lows(low, columns.shape[-1], n_runs)


def _words_from_lows(low: Words, n_factors: int, n_runs: int) -> Words:
    flat = low.reshape(-1, n_runs)
    places = flat + (n_factors + 1) * np.arange(len(flat))[:, None]
    counts = np.bincount(places.ravel(), minlength=len(flat) * (n_factors + 1)).reshape(-1, n_factors + 1)
    words = counts @ krawtchouk(n_factors) // n_runs
    return np.asarray(words[:, 1:].reshape(*low.shape[:-1], n_factors))


@cache
def krawtchouk(n: int) -> Words:
    """Return the Krawtchouk polynomials K_j(w), shape (n + 1, n + 1): row w, column j."""
    return np.array(
        [
            [sum((-1) ** i * comb(w, i) * comb(n - w, j - i) for i in range(j + 1)) for j in range(n + 1)]
            for w in range(n + 1)
        ]
    )


def _grown(beam: Ints, n_runs: int) -> Ints:
    """Add one factor to each fraction in every way, and keep the best classes."""
    n_factors = beam.shape[1] + 1
    table = parities(n_runs)
    low = table[beam].sum(axis=1, dtype=np.int64)[:, None, :] + table[None, 1:, :]
    words = _words_from_lows(low, n_factors, n_runs).reshape(-1, n_factors)
    parent, added = np.divmod(np.arange(len(words)), n_runs - 1)
    is_new = ~(beam[parent] == (added + 1)[:, None]).any(axis=1)
    order = np.flatnonzero(is_new)[np.lexsort(words[is_new].T[::-1])][:_CANDIDATES]
    grown = np.concatenate([beam[parent[order]], added[order, None] + 1], axis=1)
    return grown[_distinct(grown, words[order], n_runs)]


def _distinct(grown: Ints, words: Words, n_runs: int) -> Ints:
    """Return the places of the first of each class; a class has the same words, also with each factor left out in turn."""
    n_factors = grown.shape[1]
    left_out = np.stack([np.delete(grown, place, axis=1) for place in range(n_factors)], axis=1)
    letters = word_lengths(left_out, n_runs)
    seen: dict[bytes, int] = {}
    for place, (own, parts) in enumerate(zip(words, letters, strict=True)):
        key = own.tobytes() + parts[np.lexsort(parts.T[::-1])].tobytes()
        seen.setdefault(key, place)
        if len(seen) == _WIDTH:
            break
    return np.array(sorted(seen.values()), dtype=np.intp)


def _clearest(beam: Ints) -> int:
    """Among the fractions with the same fewest words, return the one with the most two-factor interactions of their own."""
    n_runs = 1 << int(beam[0].max()).bit_length()
    words = word_lengths(beam, n_runs)
    tied = [place for place in range(len(beam)) if (words[place] == words[0]).all()]
    return max(tied, key=lambda place: (_clear_pairs(beam[place]), -place))


def _clear_pairs(columns: Ints) -> int:
    first, second = np.triu_indices(len(columns), 1)
    products = columns[first] ^ columns[second]
    names, counts = np.unique(products, return_counts=True)
    return int(np.sum((counts == 1) & ~np.isin(names, columns)))


def fraction_columns(n_factors: int, n_runs: int) -> Array:
    """Return the signs of a minimum-aberration fraction, shape (n_runs, n_factors), basic factors first."""
    return signs_of(minimum_aberration(n_factors, n_runs), n_runs)


def signs_of(columns: tuple[int, ...], n_runs: int) -> Array:
    """Return the signs of columns of the sign table, shape (n_runs, n_columns): -1 for a basic factor that is low.

    A product of basic factors gets its true sign, so that ``E = ABC`` holds and not its negative.
    """
    bits = (np.arange(n_runs)[:, None] >> np.arange(n_runs.bit_length() - 1)) & 1
    basic = 2.0 * bits - 1
    members = (np.array(columns)[:, None] >> np.arange(basic.shape[1])) & 1
    return np.asarray(np.prod(np.where(members[None] == 1, basic[:, None, :], 1.0), axis=2))
