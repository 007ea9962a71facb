"""Sequential simplex: step away from the worst of a handful of variants."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt

from doe.model.choices import Settings, Value
from doe.model.factor import Factor
from doe.rehearse.strategies import Step
from doe.rehearse.textbook import best_observed, cheapest_move, observed_worth
from doe.rehearse.world import World

Array = npt.NDArray[np.float64]

SIZE = 0.5
"""Edge of the first simplex, as a share of each range."""

MOST_HALVINGS = 6
"""Steps halved until they end at a design that keeps the limits."""


@dataclass
class Simplex:
    """The basic simplex of Spendley, Hext and Himsworth (1962, Technometrics 4, 441-461): one vertex more than factors.

    The worst vertex is mirrored at the centre of the others; if the mirror image is the worst again, the second worst is
    mirrored. Positions are rounded to settings that exist; unordered levels count by their place in the list. A step that
    would break a limit is halved until it keeps them.
    """

    name: str = "sequential simplex"
    _vertices: list[tuple[Array, str]] = field(default_factory=list, repr=False)
    _asked: list[Array] = field(default_factory=list, repr=False)
    _last: str | None = None

    def step(self, world: World, hours_left: float) -> Step:
        """Build the next vertex."""
        factors = world.bench.setup.factors
        if self._asked and world.rows:
            self._vertices.append((self._asked.pop(), str(world.rows[-1]["variant"])))
        is_first = len(self._vertices) < len(factors) + 1
        point = self._starting(world, len(self._vertices)) if is_first else self._mirrored(world)
        self._asked.append(point)
        return Step(best_observed(world), (cheapest_move(world, _settings(world, point)),))

    def _starting(self, world: World, place: int) -> Array:
        base = _position(world, dict(world.bench.start))
        if place == 0:
            return base
        point = base.copy()
        point[place - 1] += SIZE if base[place - 1] < 0.5 else -SIZE
        return _within(world, point, base)

    def _mirrored(self, world: World) -> Array:
        values = observed_worth(world)
        order = sorted(range(len(self._vertices)), key=lambda place: values[self._vertices[place][1]])
        leaving = order[1] if self._vertices[order[0]][1] == self._last else order[0]
        point, _ = self._vertices.pop(leaving)
        centre = np.mean([other for other, _ in self._vertices], axis=0)
        self._last = str(len(world.variants) + 1)
        return _within(world, np.clip(2 * centre - point, 0, 1), centre)


def _within(world: World, point: Array, home: Array) -> Array:
    """Return a point, or the first half-way back home whose design keeps the limits; the start if there is none."""
    for _ in range(MOST_HALVINGS):
        if world.bench.allows(_settings(world, point)):
            return point
        point = (point + home) / 2
    return _position(world, world.bench.start)


def _position(world: World, settings: Settings) -> Array:
    """Return a design on 0..1 per factor."""
    result = []
    for factor in world.bench.setup.factors:
        low, high = factor.span
        result.append((factor.position(settings[factor.name]) - low) / (high - low))
    return np.array(result)


def _settings(world: World, point: Array) -> Settings:
    """Return the nearest design."""
    settings: Settings = {}

    def miss(factor: Factor, wanted: float, value: Value) -> float:
        return abs(factor.position(value) - wanted)

    for factor, place in zip(world.bench.setup.factors, np.clip(point, 0, 1), strict=True):
        low, high = factor.span
        wanted = low + place * (high - low)
        settings[factor.name] = min(factor.grid(13), key=partial(miss, factor, wanted))
    return settings
