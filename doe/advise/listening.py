"""Sessions with people: codes, a balanced order, and how well each person repeats."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

Order = tuple[int, ...]
"""Samples by number from 0, in the order in which one rater meets them."""

_DRAWS = 60


def williams_square(n_samples: int) -> tuple[Order, ...]:
    """Return orders balanced for position and for what comes just before.

    Over the rows each sample stands equally often in each place, and follows each other sample equally often: once for an
    even number of samples (as many rows as samples), twice for an odd one (twice as many rows).

    Parameters
    ----------
    n_samples : int
        At least 1.

    Returns
    -------
    tuple of tuple of int
        One row per rater.

    References
    ----------
    E. J. Williams (1949), Experimental designs balanced for the estimation of residual effects of treatments. Australian
    Journal of Scientific Research A 2(2), 149-168, doi:10.1071/CH9490149.
    """
    first = [0]
    low, high = 1, n_samples - 1
    while len(first) < n_samples:
        first.append(low)
        low += 1
        if len(first) < n_samples:
            first.append(high)
            high -= 1
    rows = [tuple((sample + shift) % n_samples for sample in first) for shift in range(n_samples)]
    return tuple(rows) if n_samples % 2 == 0 or n_samples == 1 else (*rows, *(row[::-1] for row in rows))


def balanced_orders(n_samples: int, n_raters: int, rng: np.random.Generator) -> tuple[Order, ...]:
    """Return one order per rater: rows of Williams squares with the samples and the rows shuffled.

    Raters beyond one square begin another; with fewer raters than rows the balance is as near as rows taken at random
    without repeating one can come.

    Parameters
    ----------
    n_samples, n_raters : int
        At least 1 each.
    rng : Generator
        Shuffles.
    """
    orders: list[Order] = []
    while len(orders) < n_raters:
        names = rng.permutation(n_samples)
        rows = williams_square(n_samples)
        orders += [tuple(int(names[sample]) for sample in rows[row]) for row in rng.permutation(len(rows))]
    return tuple(orders[:n_raters])


def orders_apart(variants: Sequence[str], n_raters: int, rng: np.random.Generator) -> tuple[Order, ...]:
    """Return the best of many balanced orders: hidden repeats away from each other, and no place kept by the same sample.

    A repeat that comes right after its like is heard as the same thing, and makes people look surer than they are. Every draw
    is as balanced as `balanced_orders` makes it; where all rows of a square are used, some neighbours are alike in any of them.

    Parameters
    ----------
    variants : sequence of str
        What each sample is; one that stands twice is repeated.
    n_raters : int
        At least 1.
    rng : Generator
        Draws.
    """
    draws = [balanced_orders(len(variants), n_raters, rng) for _ in range(_DRAWS)]
    return min(draws, key=lambda orders: (_alike_neighbours(orders, variants), _same_places(orders)))


def _alike_neighbours(orders: Sequence[Order], variants: Sequence[str]) -> int:
    pairs = (pair for order in orders for pair in itertools.pairwise(order))
    return sum(variants[first] == variants[second] for first, second in pairs)


def _same_places(orders: Sequence[Order]) -> int:
    """Count how often two raters have the same sample at the same place."""
    columns = zip(*orders, strict=True)
    return sum(first == second for column in columns for first, second in itertools.combinations(column, 2))


def balanced_pairs(n_samples: int, n_raters: int, rng: np.random.Generator) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Return every pair once per rater, in a balanced order, with the sides exchanged from rater to rater.

    Within a rater each pair begins with either sample by the fall of a coin; the next rater hears the pair the other way
    round, so that over two raters no sample gains by being first.
    """
    pairs = list(itertools.combinations(range(n_samples), 2))
    orders = balanced_orders(len(pairs), n_raters, rng)
    sheets: list[tuple[tuple[int, int], ...]] = []
    turned = rng.integers(0, 2, len(pairs))
    for rater, order in enumerate(orders):
        if rater and rater % 2 == 0:
            turned = rng.integers(0, 2, len(pairs))
        sheets.append(tuple(_side(pairs[pair], (int(turned[pair]) + rater) % 2 == 1) for pair in order))
    return tuple(sheets)


def _side(pair: tuple[int, int], is_turned: bool) -> tuple[int, int]:
    return (pair[1], pair[0]) if is_turned else pair


def three_digit_codes(count: int, rng: np.random.Generator) -> tuple[str, ...]:
    """Return different codes from 100 to 999, none with three like digits, which people take for a rank.

    Three-digit random codes are *common practice, no source*.

    Raises
    ------
    ValueError
        If more than 800 are wanted.
    """
    free = [str(number) for number in range(100, 1000) if len(set(str(number))) > 1]
    if count > 800:
        raise ValueError("at most 800 codes")
    return tuple(free[place] for place in rng.choice(len(free), count, replace=False))


@dataclass(frozen=True, slots=True)
class Repeatability:
    """How near one rater's grades of the same variant come to each other.

    Attributes
    ----------
    rater, outcome : str
        Who, and on which outcome.
    n_pairs : int
        Differences that it rests on.
    sd : float
        Standard deviation of one grade under repeatability conditions, in grades.
    """

    rater: str
    outcome: str
    n_pairs: int
    sd: float


def repeatability(grades: Sequence[tuple[str, str, str, float]]) -> tuple[Repeatability, ...]:
    """Work out each rater's repeatability from variants judged more than once.

    Parameters
    ----------
    grades : sequence of (rater, outcome, variant, grade)
        All grades of a session.

    Returns
    -------
    tuple of Repeatability
        One per rater and outcome with at least one variant judged twice. The pooled within-variant standard deviation: the
        square root of the summed squared deviations from each variant's own mean over their degrees of freedom; for pairs
        that is the root of sum(d^2) / 2n.

    References
    ----------
    ISO 5725-2:1994, Accuracy of measurement methods and results, 7.4: repeatability variance as the pooled within-cell
    variance.
    """
    cells: dict[tuple[str, str], dict[str, list[float]]] = {}
    for rater, outcome, variant, grade in grades:
        cells.setdefault((rater, outcome), {}).setdefault(variant, []).append(grade)
    found = []
    for (rater, outcome), by_variant in cells.items():
        squares, freedom = _within(by_variant)
        if freedom:
            found.append(Repeatability(rater, outcome, freedom, math.sqrt(squares / freedom)))
    return tuple(found)


def _within(by_variant: Mapping[str, Sequence[float]]) -> tuple[float, int]:
    """Return squared deviations from each variant's mean, and their degrees of freedom."""
    squares, freedom = 0.0, 0
    for values in by_variant.values():
        mean = sum(values) / len(values)
        squares += sum((value - mean) ** 2 for value in values)
        freedom += len(values) - 1
    return squares, freedom
