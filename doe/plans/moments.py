"""Mean of f(x)f(x)' over the region that a plan should predict in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doe.coding import Axis, Coding
from doe.grids import left_to
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.sums import Sum, sums
from doe.plans.candidates import Region, grid_pool, limited_places
from doe.plans.layout import Array, Layout, keeps

_DRAWS = 4000


def region_moments(layout: Layout, region: Region, seed: int = 1) -> Array:
    """Return the moment matrix of the model over the region, shape (n_columns, n_columns).

    Numbers count evenly over their range (or their steps), levels evenly. Without limits it is exact, factor by factor;
    with limits or derived quantities it is the mean over settings drawn at random, evenly among those that keep them; NaN
    where none is found.
    """
    if region.limits or layout.derived:
        rows = layout.rows(sample(layout.coding, region.limits, _DRAWS, np.random.default_rng(seed)))
        return np.asarray(rows.T @ rows / len(rows)) if len(rows) else np.full((layout.n_columns,) * 2, np.nan)
    moments = np.ones((layout.n_columns, layout.n_columns))
    for name, place in layout.places.items():
        moments *= _axis_moments(layout.coding.axes[name], place, layout)
    return moments


def sample(coding: Coding, limits: Sequence[Limit], count: int, rng: np.random.Generator) -> Array:
    """Draw settings evenly from all that keep the limits, shape (count or fewer, n_factors); fewer if hardly any do.

    Of settings that must add up to a number, one takes what the others leave. Where none is met all the same, the limited
    factors are drawn from their grid.
    """
    found: list[Array] = []
    rules = sums(coding.factors, limits, coding.derived)
    for _ in range(50):
        values = made_up(coding, rules, _drawn(coding, count, rng))
        found.append(values[keeps(coding, limits, values)])
        if sum(map(len, found)) >= count:
            break
    if any(map(len, found)):
        return np.concatenate(found)[:count]
    pool, values = grid_pool(coding, limits, rng), _drawn(coding, count, rng)
    if not len(pool):
        return values[:0]
    values[:, list(limited_places(coding, limits))] = pool[rng.integers(len(pool), size=count)]
    return values


def made_up(coding: Coding, rules: Sequence[Sum], values: Array) -> Array:
    """Return settings, shape (n, n_factors), in which one factor of each rule takes what the others leave; NaN if it cannot."""
    places = {factor.name: place for place, factor in enumerate(coding.factors)}
    result = values.copy()
    for rule in rules:
        result[:, places[rule.rest.name]] = left_to(rule, {name: result[:, place] for name, place in places.items()})
    return result


def _drawn(coding: Coding, count: int, rng: np.random.Generator) -> Array:
    return np.stack([_evenly(factor, count, rng) for factor in coding.factors], axis=1)


def _evenly(factor: Factor, count: int, rng: np.random.Generator) -> Array:
    if factor.is_numeric and factor.step is None:
        return rng.uniform(*factor.span, size=count)
    settings = np.array([factor.position(value) for value in factor.grid(10**9)])
    return settings[rng.integers(len(settings), size=count)]


def _axis_moments(axis: Axis, place: slice, layout: Layout) -> Array:
    """Return the mean of the product of what each two columns owe to one axis."""
    values, weights = _nodes(axis)
    coded = np.hstack([np.ones((len(values), 1)), values])
    own = np.where((layout.pieces >= place.start) & (layout.pieces < place.stop), layout.pieces - place.start + 1, 0)
    parts = np.prod(coded[:, own], axis=2)
    return np.asarray(parts.T @ (parts * weights[:, None]))


def _nodes(axis: Axis) -> tuple[Array, Array]:
    """Return coded settings of one axis and their weights: every level or step, else Gauss-Legendre points."""
    factor = axis.factor
    if axis.contrasts is not None:
        return axis.contrasts, np.full(len(axis.contrasts), 1 / len(axis.contrasts))
    if factor is not None and factor.step is not None:
        values = axis.code(factor.grid(10**9))
        return values, np.full(len(values), 1 / len(values))
    points, weights = np.polynomial.legendre.leggauss(8)
    return points[:, None], weights / 2
