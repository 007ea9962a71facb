"""Lasting settings that give the same derived quantity once the stand-in is taken away."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.space import kept
from doe.advise.standin import StandIn
from doe.model.choices import Settings, Value
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

MOST_LOOKED_AT = 1_000_000
"""Combinations of lasting settings up to which all are looked at."""

_CHUNK = 200_000
_FINE = 201
_STARTS = 48
_ROUNDS = 3
_LEAST_SCAN, _MOST_SCAN = 1000, 20_000
_KEPT = 20
_POOL = 500
ALIKE = 0.05
"""Share of the range of a factor without steps below which two settings of it are told as one, as where a drift is judged."""


@dataclass(frozen=True, slots=True)
class Equivalent:
    """One set of lasting settings.

    Attributes
    ----------
    settings : mapping of str to setting
        One entry per factor.
    value, mismatch : float
        The quantity there, and how much it differs from what is wanted, in the quantity's unit.
    """

    settings: Settings
    value: float
    mismatch: float


@dataclass(frozen=True, slots=True)
class Solved:
    """The nearest lasting settings.

    Attributes
    ----------
    wanted : float
        Value of the quantity that is to be kept.
    nearest : tuple of Equivalent
        Nearest first; at the same mismatch those with the least change of the lasting settings. What differs from one of
        them by less than `ALIKE` in factors without steps alone is left out. Empty where no lasting setting keeps the limits.
    is_exact : bool
        Whether every combination was looked at.
    """

    wanted: float
    nearest: tuple[Equivalent, ...]
    is_exact: bool


def solve(
    stand_in: StandIn,
    factors: Sequence[Factor],
    start: Mapping[str, Value],
    *,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    count: int = 5,
    most: int = MOST_LOOKED_AT,
    seed: int = 1,
) -> Solved:
    """Find the lasting settings that give the quantity of `start` with the stand-in taken away.

    Parameters
    ----------
    stand_in : StandIn
    factors : sequence of Factor
        All factors.
    start : mapping of str to setting
        What is to be made permanent, one entry per factor.
    limits : sequence of Limit
        Rules that the answer keeps.
    derived : sequence of Derived
        Quantities that the limits use.
    count : int
        How many to return at most.
    most : int
        Combinations up to which all are looked at; beyond, pairs of factors are scanned in turn from many starts.
    seed : int
        Of those starts.

    Returns
    -------
    Solved

    Raises
    ------
    DataError
        If the quantity cannot be computed at `start`.
    """
    wanted = float(stand_in.quantity.parsed.evaluate(dict(start)))
    if not math.isfinite(wanted):
        raise DataError(f"{stand_in.quantity.name} cannot be computed at these settings.")
    grid = _Grid(stand_in, tuple(factors), dict(start), tuple(limits), tuple(derived), wanted)
    is_exact = grid.size <= most
    chunks = grid.everything() if is_exact else grid.scanned(np.random.default_rng(seed), most)
    best = np.empty((0, len(grid.lasting)), dtype=np.intp)
    for places in chunks:
        best = grid.nearest(np.vstack([best, places]), max(count, _POOL))
    return Solved(wanted, tuple(grid.equivalent(row) for row in grid.distinct(best, count)), is_exact)


class _Grid:
    """All combinations of the lasting factors, the rest as it is and the stand-in taken away."""

    def __init__(
        self,
        stand_in: StandIn,
        factors: tuple[Factor, ...],
        start: Settings,
        limits: tuple[Limit, ...],
        derived: tuple[Derived, ...],
        wanted: float,
    ) -> None:
        self.stand_in, self.factors, self.limits, self.derived, self.wanted = stand_in, factors, limits, derived, wanted
        self.fixed: Settings = {**start, stand_in.factor.name: stand_in.to}
        self.lasting = stand_in.lasting
        self.values = [_settings_of(factor, start[factor.name], self._root(factor)) for factor in self.lasting]
        self.shape = tuple(len(values) for values in self.values)
        self.size = math.prod(self.shape)
        self._arrays = [
            np.array(values, dtype=object if isinstance(values[0], str) else float) for values in self.values
        ]
        self._scale = self._size()
        self._away = [
            self._distances(factor, values, start) for factor, values in zip(self.lasting, self.values, strict=True)
        ]

    @staticmethod
    def _distances(factor: Factor, values: Sequence[Value], start: Settings) -> Floats:
        low, high = factor.span
        here = factor.position(start[factor.name])
        if factor.kind == "categorical":
            return np.array([0.0 if value == start[factor.name] else 1.0 for value in values])
        return np.array([abs(factor.position(value) - here) for value in values]) / (high - low)

    def _root(self, factor: Factor) -> list[float]:
        """Return the settings of a factor without steps that hit the value by themselves, the other factors as they are."""
        if not factor.is_numeric or factor.step is not None:
            return []
        low, high = factor.span
        points = np.linspace(low, high, _FINE)
        known = {name: self.fixed[name] for name in self.stand_in.quantity.parsed.names if name != factor.name}

        def off(values: Floats) -> Floats:
            found = self.stand_in.quantity.parsed.evaluate({**known, factor.name: values})
            return np.broadcast_to(np.asarray(found, dtype=float), values.shape) - self.wanted

        gaps = off(points)
        left = points[:-1][np.sign(gaps[:-1]) * np.sign(gaps[1:]) < 0]
        right = left + (high - low) / (_FINE - 1)
        for _ in range(60 if len(left) else 0):
            middle = (left + right) / 2
            is_left = np.sign(off(middle)) == np.sign(off(left))
            left, right = np.where(is_left, middle, left), np.where(is_left, right, middle)
        return [float(value) for value in (left + right) / 2]

    def columns(self, places: Places) -> dict[str, Any]:
        """Return the settings of many combinations, one array per factor."""
        count = len(places)
        chosen = {
            factor.name: array[places[:, k]]
            for k, (factor, array) in enumerate(zip(self.lasting, self._arrays, strict=True))
        }
        return {
            name: chosen[name]
            if name in chosen
            else np.full(count, value, dtype=object if isinstance(value, str) else float)
            for name, value in self.fixed.items()
        }

    def measured(self, places: Places) -> Floats:
        """Return the quantity of many combinations, NaN where it cannot be computed."""
        columns = self.columns(places)
        known = {name: columns[name] for name in self.stand_in.quantity.parsed.names}
        with np.errstate(all="ignore"):
            values = np.asarray(self.stand_in.quantity.parsed.evaluate(known), dtype=float)
        return np.broadcast_to(values, (len(places),))

    def nearest(self, places: Places, count: int) -> Places:
        """Return the nearest combinations that keep every limit, in order."""
        places = np.unique(places, axis=0)
        values = self.measured(places)
        is_kept = np.isfinite(values)
        if self.limits:
            columns = self.columns(places)
            for limit in self.limits:
                is_kept &= kept(limit, columns, self.derived)
        places = places[is_kept]
        off = self._off(values[is_kept])  # not anew: of no combinations none tells that it is a level
        away = np.zeros(len(places))
        for k, table in enumerate(self._away):
            away += table[places[:, k]]
        order = np.lexsort((*places.T[::-1], _steady(away, 1.0), off))
        return places[order[:count]]

    def distinct(self, places: Places, count: int) -> list[Places]:
        """Return the first combinations of which none is nearly a copy of one before it."""
        chosen: list[Places] = []
        for row in places:
            if len(chosen) < count and not any(self._is_copy(row, other) for other in chosen):
                chosen.append(row)
        return chosen

    def _is_copy(self, one: Places, other: Places) -> bool:
        for factor, values, a, b in zip(self.lasting, self.values, one, other, strict=True):
            low, high = factor.span
            is_smooth = factor.is_numeric and factor.step is None
            apart = abs(factor.position(values[int(a)]) - factor.position(values[int(b)]))
            if apart and not (is_smooth and apart < ALIKE * (high - low)):
                return False
        return True

    def _off(self, values: Floats) -> Floats:
        return _steady(np.abs(values - self.wanted), self._scale)

    def _size(self) -> float:
        """Return how large the quantity is, here and at both ends of all ranges: what rounding is judged by."""
        ends = np.array([[0] * len(self.shape), [length - 1 for length in self.shape]], dtype=np.intp)
        sizes = np.abs([self.wanted, *self.measured(ends)])
        return float(np.max(sizes[np.isfinite(sizes)])) or 1.0

    def everything(self) -> Iterator[Places]:
        """Yield all combinations, a chunk at a time."""
        for first in range(0, self.size, _CHUNK):
            flat = np.arange(first, min(first + _CHUNK, self.size))
            yield np.stack(np.unravel_index(flat, self.shape), axis=1).astype(np.intp)

    def scanned(self, rng: np.random.Generator, most: int) -> Iterator[Places]:
        """Yield the best of pairwise scans, each around the best found from one start, until one is exact or none is left."""
        pairs = list(itertools.combinations(range(len(self.shape)), 2)) or [(0, 0)]
        room = min(max(most, _LEAST_SCAN), _MOST_SCAN)
        for start in self._starts(rng):
            here, is_hit = start, False
            for _ in range(_ROUNDS):
                before = here
                for pair in pairs:
                    found = self.nearest(np.vstack([self._scan(here, pair, rng, room), here[None, :]]), _KEPT)
                    yield found
                    here = found[0] if len(found) else here
                    is_hit |= bool(len(found)) and self._off(self.measured(found[:1]))[0] == 0
                if is_hit or (before == here).all():
                    break
            if is_hit:
                break

    def _starts(self, rng: np.random.Generator) -> Iterator[Places]:
        """Yield where to begin: where things are, then every value of each factor in turn, the others at random."""
        here = np.array([int(np.argmin(away)) for away in self._away], dtype=np.intp)
        yield here
        for k, size in enumerate(self.shape):
            for place in np.unique(np.linspace(0, size - 1, min(size, _STARTS)).round().astype(np.intp)):
                start = np.array([rng.integers(0, length) for length in self.shape], dtype=np.intp)
                start[k] = place
                yield start

    def _scan(self, here: Places, pair: tuple[int, int], rng: np.random.Generator, most: int) -> Places:
        """Return the combinations that differ from `here` in two factors only, thinned where they are too many."""
        one, two = pair
        first, second = np.arange(self.shape[one]), np.arange(self.shape[two])
        if len(first) * len(second) > most:
            room = max(2, most // max(len(first), 1))
            second = np.unique(np.append(rng.choice(second, min(room, len(second)), replace=False), here[two]))
            first = (
                first if len(first) * len(second) <= 2 * most else np.unique(rng.choice(first, 2 * most // len(second)))
            )
        a, b = (axis.ravel() for axis in np.meshgrid(first, second, indexing="ij"))
        rows = np.tile(here, (len(a), 1))
        rows[:, two] = b
        rows[:, one] = a
        return rows

    def equivalent(self, places: Places) -> Equivalent:
        """Return one combination as settings."""
        chosen = {
            factor.name: values[int(place)]
            for factor, values, place in zip(self.lasting, self.values, places, strict=True)
        }
        settings = {factor.name: {**self.fixed, **chosen}[factor.name] for factor in self.factors}
        value = float(self.stand_in.quantity.parsed.evaluate(settings))
        is_same = self._off(np.array([value]))[0] == 0
        return Equivalent(settings, value, 0.0 if is_same else value - self.wanted)


def _settings_of(factor: Factor, start: Value, roots: Sequence[float]) -> list[Value]:
    """Return every setting of a lasting factor; of one without steps a fine grid, where it is now, and what hits the value."""
    if not factor.is_numeric:
        return list(factor.levels)
    values = {*factor.grid(100_001 if factor.step is not None else _FINE), start, *map(factor.read, roots)}
    return sorted(values, key=factor.position)


def _steady(numbers: Floats, scale: float) -> Floats:
    """Round the noise of arithmetic away, so that ties are ties."""
    return np.asarray(np.round(numbers / scale, 10))
