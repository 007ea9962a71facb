"""Plans that spread runs over the whole region, for outcomes whose shape is not known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.distance import cdist

from doe.coding import Coding
from doe.model.errors import UsageError
from doe.model.factor import Factor, tidy
from doe.model.limit import Limit
from doe.model.sums import sums
from doe.model.wording import counted
from doe.plans.draft import Draft, one_block
from doe.plans.frame import snapped
from doe.plans.layout import Array, Ints, keeps
from doe.plans.moments import made_up, sample

_SWAPS = 6000
_HYPERCUBES = 20
_CANDIDATES = 2000
_PASSES = 20


def latin_hypercube(coding: Coding, runs: int, seed: int, limits: Sequence[Limit] = ()) -> Draft:
    """Lay out a Latin hypercube: each factor's range in `runs` equal slices, one run in each (McKay et al. 1979).

    Of many random ones, the one whose nearest two runs are farthest apart, improved by exchanging settings between runs
    (Morris & Mitchell 1995, J. Stat. Plan. Inference 43, 381-402). Levels are used equally often, as nearly as they can be.

    Raises
    ------
    UsageError
        If there are limits, which would break the slices.
    """
    if limits:
        raise UsageError(f"A Latin hypercube cannot keep the limit '{limits[0].rule}'; use kind='maximin'.")
    rng = np.random.default_rng(seed)
    factors = coding.factors
    settings = _settings(factors, runs)
    best, farthest = None, -1.0
    for _ in range(_HYPERCUBES):
        places = np.stack([rng.permutation(runs) for _ in factors], axis=1)
        nearest = _nearest(_unit(factors, _sliced(settings, places)))
        if nearest > farthest:
            best, farthest = places, nearest
    assert best is not None  # at least one hypercube is always drawn
    values = _sliced(settings, _swapped(factors, settings, best, rng))
    return Draft(f"Latin hypercube, {runs} runs", values, one_block(runs), ("run",) * runs)


def _settings(factors: Sequence[Factor], runs: int) -> Array:
    """Return the setting of each slice, shape (runs, n_factors): from the low end to the high end; levels in equal shares."""
    columns = []
    for factor in factors:
        low, high = factor.span
        if factor.is_numeric:
            columns.append(
                [float(snapped(factor, low + (high - low) * place / max(runs - 1, 1))) for place in range(runs)]
            )
        else:
            columns.append([float(place * len(factor.levels) // runs) for place in range(runs)])
    return np.array(columns).T


def _sliced(settings: Array, places: Ints) -> Array:
    """Turn the slices of each run, shape (runs, n_factors), into settings."""
    return settings[places, np.arange(settings.shape[1])]


def _unit(factors: Sequence[Factor], values: Array) -> Array:
    """Scale numbers and ordered levels to 0..1, and unordered levels to corners one apart."""
    parts = []
    for factor, column in zip(factors, values.T, strict=True):
        low, high = factor.span
        if factor.kind == "categorical":
            parts.append(np.eye(len(factor.levels))[column.astype(np.intp)] / np.sqrt(2))
        else:
            parts.append(((column - low) / (high - low))[:, None])
    return np.hstack(parts)


def _nearest(points: Array) -> float:
    distance = cdist(points, points)
    return float(distance[np.triu_indices(len(points), 1)].min()) if len(points) > 1 else 0.0


def _swapped(factors: Sequence[Factor], settings: Array, places: Ints, rng: np.random.Generator) -> Ints:
    """Exchange one factor's setting between two runs wherever that spreads the runs."""
    runs = len(places)
    now = _crowding(_unit(factors, _sliced(settings, places)))
    for _ in range(min(_SWAPS, 200_000 // max(runs, 1))):
        factor = rng.integers(len(factors))
        one, two = rng.integers(runs, size=2)
        tried = places.copy()
        tried[[one, two], factor] = tried[[two, one], factor]
        crowding = _crowding(_unit(factors, _sliced(settings, tried)))
        if crowding < now:
            places, now = tried, crowding
    return places


def _crowding(points: Array) -> float:
    """Return Morris & Mitchell's criterion, dominated by the nearest pairs."""
    distance = cdist(points, points)[np.triu_indices(len(points), 1)]
    return float(np.sum(np.maximum(distance, 1e-6) ** -10.0))


def maximin(coding: Coding, runs: int, seed: int, limits: Sequence[Limit] = (), existing: Array | None = None) -> Draft:
    """Spread runs so that the nearest two are as far apart as can be (Johnson, Moore & Ylvisaker 1990).

    Runs are chosen among settings drawn evenly from all that keep the limits, the farthest from those chosen so far first
    (Kennard & Stone 1969), then exchanged one at a time while that widens the smallest distance.

    Raises
    ------
    UsageError
        If the factors have, or the limits leave, fewer settings than runs.
    """
    rng = np.random.default_rng(seed)
    candidates = _candidates(coding, limits, rng)
    if len(candidates) < runs:
        there_are = "The limits leave" if limits else "The factors have"
        way_out = "loosen them or ask for fewer runs" if limits else "ask for fewer runs"
        raise UsageError(
            f"{there_are} {counted(len(candidates), 'combination')} of settings, fewer than {runs} runs; {way_out}."
        )
    points = _unit(coding.factors, candidates)
    held = None if existing is None or not len(existing) else _unit(coding.factors, existing)
    chosen = _farthest_first(points, runs, held)
    values = candidates[_exchanged(points, chosen, held)]
    return Draft(f"space-filling plan, {runs} runs", values, one_block(runs), ("run",) * runs)


def _candidates(coding: Coding, limits: Sequence[Limit], rng: np.random.Generator) -> Array:
    drawn = sample(coding, limits, _CANDIDATES, rng)
    values = np.empty_like(drawn)
    for place, factor in enumerate(coding.factors):
        low, high = factor.span
        values[:, place] = drawn[:, place]
        if factor.is_numeric and factor.step is None:
            thousandths = np.round((drawn[:, place] - low) / (high - low) * 1000)
            values[:, place] = [tidy(low + count * (high - low) / 1000) for count in thousandths]
    values = made_up(coding, sums(coding.factors, limits, coding.derived), values)
    return np.unique(values[keeps(coding, limits, values)], axis=0)


def _farthest_first(points: Array, runs: int, held: Array | None) -> list[int]:
    centre = points.mean(axis=0)
    if held is None:
        chosen = [int(np.argmax(np.linalg.norm(points - centre, axis=1)))]
        distance = np.linalg.norm(points - points[chosen[0]], axis=1)
    else:
        chosen, distance = [], cdist(points, held).min(axis=1)
    while len(chosen) < runs:
        chosen.append(int(np.argmax(distance)))
        distance = np.minimum(distance, np.linalg.norm(points - points[chosen[-1]], axis=1))
        distance[chosen[-1]] = -1.0  # once only, also where all that is left exists
    return chosen


def _exchanged(points: Array, chosen: list[int], held: Array | None) -> list[int]:
    """Move a run of the nearest pair to the candidate farthest from all others, while that helps."""
    for _ in range(_PASSES * len(chosen)):
        among = points[chosen] if held is None else np.vstack([points[chosen], held])
        distance = cdist(points[chosen], among)
        np.fill_diagonal(distance, np.inf)
        worst = int(np.argmin(distance.min(axis=1)))
        others = np.delete(among, worst, axis=0)
        reach = cdist(points, others).min(axis=1) if len(others) else np.ones(len(points))
        best = int(np.argmax(reach))
        if reach[best] <= distance[worst].min() + 1e-12:
            break
        chosen[worst] = best
    return chosen
