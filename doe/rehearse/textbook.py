"""Textbook ways of working, to compare with: no model of ours in any of them."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from doe.advise.worth import worth
from doe.model.choices import Settings
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.rehearse.strategies import Step, rng_for
from doe.rehearse.world import Move, World

Array = npt.NDArray[np.float64]

MOST_DRAWS = 500
"""Designs drawn at random in search of one that keeps the limits."""


def observed_worth(world: World) -> dict[str, float]:
    """Return the worth of each variant's plain mean readings."""
    outcomes = [truth.outcome for truth in world.bench.truths]
    return {
        variant: float(worth(outcomes, [np.array([values[outcome.name]]) for outcome in outcomes])[0])
        for variant, values in world.observed().items()
    }


def best_observed(world: World) -> str | None:
    """Return the variant with the best mean readings."""
    found = observed_worth(world)
    return max(found, key=lambda name: found[name]) if found else None


def cheapest_move(world: World, settings: Settings, rounds: int = 1) -> Move:
    """Return the move that builds a variant in the fewest minutes: on a unit that can still go there, or on a new one."""
    options = [Move(None, settings, rounds)]
    for unit in world.units:
        move = Move(unit.name, settings, rounds)
        try:
            world.minutes_for(move)
        except DataError:
            continue
        options.append(move)
    return min(options, key=world.minutes_for)


def drawn(world: World, draw: Callable[[], Settings]) -> Settings:
    """Draw designs until one keeps the limits; where none does, stay at the variant with the best readings."""
    for _ in range(MOST_DRAWS):
        settings = draw()
        if world.bench.allows(settings):
            return settings
    return dict(world.variants[str(best_observed(world))])


def first_reading(world: World) -> Move | None:
    """Return the move that reads the unit as it stands, while nothing has been read."""
    if world.rows:
        return None
    unit = world.units[0]
    return Move(unit.name, dict(unit.settings), 1)


@dataclass
class OneFactorAtATime:
    """Change one factor, keep the change if the reading is better, go on with the next factor.

    Three settings of a number (both ends and the middle), every level otherwise; in a random order of factors, over and
    over; the second time round with finer settings, then with more readings.
    """

    name: str = "one factor at a time"
    kept: str | None = None
    _plan: Iterator[tuple[Factor, int]] | None = field(default=None, repr=False)
    _seen: list[Settings] = field(default_factory=list, repr=False)

    def step(self, world: World, hours_left: float) -> Step:
        """Compare the last trial with what was kept, then change the next factor."""
        opening = first_reading(world)
        if opening is not None:
            return Step(None, (opening,))
        if self.kept is None:
            self.kept = best_observed(world)
            self._seen = [dict(settings) for settings in world.variants.values()]
        else:
            values, tried = observed_worth(world), str(world.rows[-1]["variant"])
            self.kept = tried if values[tried] > values[self.kept] else self.kept
        settings = self._next(world)
        self._seen.append(settings)
        return Step(self.kept, (cheapest_move(world, settings),))

    def _next(self, world: World) -> Settings:
        if self._plan is None:
            self._plan = _factor_levels(world)
        base = world.variants[str(self.kept)]
        for factor, finer in itertools.islice(self._plan, 2000):
            for value in factor.grid(finer):
                settings = {**base, factor.name: value}
                if settings not in self._seen and world.bench.allows(settings):
                    return settings
        return dict(base)


def _factor_levels(world: World) -> Iterator[tuple[Factor, int]]:
    rng = rng_for(world, 1)
    factors = list(world.bench.setup.factors)
    for finer in itertools.chain((3, 5), itertools.repeat(13)):
        for place in rng.permutation(len(factors)):
            factor = factors[place]
            others = 2 if factor.is_numeric else len(factor.levels) - 1
            yield from [(factor, finer)] * (others if finer == 3 else 1)


@dataclass
class RandomVariants:
    """Build variants drawn at random; keep the one with the best readings."""

    name: str = "random variants"
    _rng: np.random.Generator | None = field(default=None, repr=False)

    def step(self, world: World, hours_left: float) -> Step:
        """Draw the next variant."""
        opening = first_reading(world)
        if opening is not None:
            return Step(None, (opening,))
        rng = self._rng = self._rng or rng_for(world, 2)
        factors = world.bench.setup.factors
        settings = drawn(world, lambda: {factor.name: _any(factor.grid(13), rng) for factor in factors})
        return Step(best_observed(world), (cheapest_move(world, settings),))


@dataclass
class CheapestChange:
    """Of five single changes drawn at random make the one that takes the fewest minutes, from where the bench stands."""

    name: str = "cheapest random change"
    _rng: np.random.Generator | None = field(default=None, repr=False)

    def step(self, world: World, hours_left: float) -> Step:
        """Draw changes of the best variant so far and make the cheapest."""
        opening = first_reading(world)
        if opening is not None:
            return Step(None, (opening,))
        rng = self._rng = self._rng or rng_for(world, 3)
        best = best_observed(world)
        base = world.variants[str(best)]
        moves = [cheapest_move(world, drawn(world, lambda: _changed(world, base, rng))) for _ in range(5)]
        return Step(best, (min(moves, key=world.minutes_for),))


def _changed(world: World, base: Settings, rng: np.random.Generator) -> Settings:
    """Change one factor of a design at random."""
    factor = world.bench.setup.factors[int(rng.integers(len(base)))]
    others = [value for value in factor.grid(13) if value != base[factor.name]]
    return {**base, factor.name: _any(others, rng)}


def _any(values: Sequence[object], rng: np.random.Generator):  # type: ignore[no-untyped-def]
    return values[int(rng.integers(len(values)))]
