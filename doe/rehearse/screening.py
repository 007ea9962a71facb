"""The textbook's screening route: a two-level plan on all factors, the best predicted variant, its confirmation."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.space import Codes, Space, make_space
from doe.advise.worth import worth
from doe.coding import Coding
from doe.model.choices import Settings
from doe.model.numbers import minutes_in
from doe.plans.hadamard import LARGEST, hadamard
from doe.rehearse.benches import designs
from doe.rehearse.strategies import Step, rng_for
from doe.rehearse.textbook import best_observed, cheapest_move
from doe.rehearse.world import Move, World

Array = npt.NDArray[np.float64]

_FIRST_ROW_12 = (1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1)


def two_level_plan(n_factors: int) -> Array:
    """Return a saturated two-level screening plan, shape (n_runs, n_factors), entries -1 and 1.

    Eight runs for up to seven factors, four more for each four more (Plackett, R. L. and Burman, J. P. (1946). The design of
    optimum multifactorial experiments. Biometrika 33, 305-325); of more than 47 the power of two that has room.
    """
    if 7 < n_factors <= 11:
        rows = [np.roll(_FIRST_ROW_12, shift) for shift in range(11)]
        return np.vstack([*rows, -np.ones(11)])[:, :n_factors]
    n_runs = max(8, 4 * (n_factors // 4 + 1))
    made = hadamard(n_runs if n_runs <= LARGEST else 1 << n_factors.bit_length())
    return np.asarray(made[:, 1 : n_factors + 1], dtype=float)


@dataclass
class Screening:
    """Run a two-level plan in a cheap order, fit main effects, build the best predicted variant, build it once more.

    Afterwards it refits and builds the best predicted variant not built yet, until the time is up. In a run of the plan that
    would break a limit, factors are put back to where the first unit has them until it keeps them.
    """

    name: str = "screening plan"
    _plan: list[Settings] | None = field(default=None, repr=False)
    _queue: list[Settings] = field(default_factory=list, repr=False)

    def step(self, world: World, hours_left: float) -> Step:
        """Take the cheapest run left of the plan, or act on its analysis."""
        if self._plan is None:
            self._plan = self._settings(world)
        if self._plan:
            moves = [cheapest_move(world, settings) for settings in self._plan]
            place = int(np.argmin([world.minutes_for(move) for move in moves]))
            self._plan.pop(place)
            return Step(best_observed(world), (moves[place],))
        declared, wanted = self._predicted(world)
        if not self._queue:
            self._queue = [wanted, wanted]
        settings = self._queue.pop()
        is_second = not self._queue
        move = Move(None, settings, 1) if is_second else cheapest_move(world, settings, 2)
        if is_second and world.minutes_for(move) > minutes_in(hours_left):
            move = cheapest_move(world, settings, 2)
        return Step(declared, (move,))

    def _settings(self, world: World) -> list[Settings]:
        """Put the two levels to the ends of each range; of several unordered levels, two drawn at random."""
        rng = rng_for(world, 4)
        ends = []
        for factor in world.bench.setup.factors:
            grid = factor.grid(13)
            pair = (grid[0], grid[-1])
            if factor.kind == "categorical":
                first, second = rng.choice(len(grid), 2, replace=False)
                pair = (grid[int(first)], grid[int(second)])
            ends.append((factor.name, pair))
        return [
            _put_back(world, {name: pair[int(sign > 0)] for (name, pair), sign in zip(ends, row, strict=True)})
            for row in two_level_plan(len(ends))
        ]

    def _predicted(self, world: World) -> tuple[str, Settings]:
        """Return the built variant and the design not built yet, or any where all are, that are predicted best."""
        setup, names = world.bench.setup, list(world.variants)
        space = make_space(Coding(tuple(setup.factors)), list(world.variants.values()), setup.limits, setup.derived)
        fitted = _main_effects(world, space)

        def score(some: Codes) -> Any:
            return _predicted_worth(world, space, fitted, some)

        built = np.array([space.code(world.variants[name]) for name in names])
        codes = designs(space, score, built)
        known = {tuple(code) for code in built}
        order = np.argsort(-score(codes), kind="stable")
        new = next((place for place in order if tuple(codes[place]) not in known), order[0])
        return names[int(score(built).argmax())], space.settings(codes[new])


def _put_back(world: World, settings: Settings) -> Settings:
    """Put factors back to where the first unit has them, one after another, until the limits are kept."""
    for name, value in world.bench.start.items():
        if world.bench.allows(settings):
            break
        settings = {**settings, name: value}
    return settings


def _main_effects(world: World, space: Space) -> list[Array]:
    """Least squares of each outcome's mean readings on main effects, one coefficient array per outcome."""
    observed = world.observed()
    names = list(observed)
    codes = np.array([space.code(world.variants[name]) for name in names])
    X = space.matrix(codes, space.coding.terms("main")).astype(float)
    fitted = []
    for truth in world.bench.truths:
        y = np.array([observed[name][truth.outcome.name] for name in names])
        fitted.append(np.linalg.lstsq(X, y, rcond=None)[0])
    return fitted


def _predicted_worth(world: World, space: Space, fitted: list[Array], codes: npt.NDArray[np.intp]) -> Any:
    X = space.matrix(codes, space.coding.terms("main")).astype(float)
    return worth([truth.outcome for truth in world.bench.truths], [X @ coefficients for coefficients in fitted])
