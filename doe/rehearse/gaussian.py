"""A Gaussian process with expected improvement, plain and per minute: the usual black-box way."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.gain import expected_excess
from doe.advise.reach import Reach, reach_from
from doe.advise.search import pool
from doe.advise.space import Space, make_space
from doe.coding import Coding
from doe.model.numbers import minutes_in
from doe.rehearse.strategies import Step, rng_for
from doe.rehearse.textbook import drawn, first_reading, observed_worth
from doe.rehearse.world import Move, World

Array = npt.NDArray[np.float64]

MOST_CANDIDATES = 2_000
FIRST = 3
"""Variants drawn at random before the process is fitted."""


@dataclass
class GaussianProcess:
    """Fit scikit-learn's Gaussian process (Matern 5/2, one length per column, white noise) to the worth of mean readings.

    Candidates are every single change of what exists and a random sample of all designs; the next is the one with the
    largest expected improvement over the best fitted value (Jones, Schonlau & Welch 1998), or per minute of its effort.
    """

    per_minute: bool = False
    name: str = ""
    _rng: np.random.Generator | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        self.name = self.name or ("gaussian process per minute" if self.per_minute else "gaussian process")

    def step(self, world: World, hours_left: float) -> Step:
        """Fit the process and ask for the next variant."""
        opening = first_reading(world)
        if opening is not None:
            return Step(None, (opening,))
        rng = self._rng = self._rng or rng_for(world, 6)
        setup = world.bench.setup
        seen = list(world.variants.values())
        space = make_space(Coding(tuple(setup.factors)), seen, setup.limits, setup.derived)
        values = observed_worth(world)
        names = list(values)
        reach = reach_from(space, world.units, setup.effort, {})
        if len(names) <= FIRST:
            best = max(values, key=lambda name: values[name])
            settings = drawn(world, lambda: space.settings([int(rng.integers(size)) for size in space.shape]))
            return Step(best, (_move(space, reach, space.code(settings)),))
        codes = np.array([space.code(world.variants[name]) for name in names])
        y = np.array([values[name] for name in names])
        model = fitted_process(inputs_of(space, codes), y)
        known = model.predict(inputs_of(space, codes))
        found = pool(space, codes, rng)[:MOST_CANDIDATES]
        minutes = reach.cheapest(found)[0] + setup.effort.session_minutes + setup.effort.reading_minutes
        mean, sd = model.predict(inputs_of(space, found), return_std=True)
        score = expected_excess(mean - known.max(), sd)
        score = np.where(minutes <= minutes_in(hours_left), score / (minutes if self.per_minute else 1.0), -1.0)
        chosen = found[int(score.argmax())]
        return Step(names[int(known.argmax())], (_move(space, reach, chosen),))


def _move(space: Space, reach: Reach, code: npt.NDArray[np.intp]) -> Move:
    start = reach.starts[int(reach.cheapest(code[None])[2][0])]
    return Move(None if start is None else start.name, space.settings(code), 1)


def inputs_of(space: Space, codes: npt.NDArray[np.intp]) -> Array:
    """Return the coded columns of designs, one or more a factor, shape (n_designs, n_columns)."""
    return np.asarray(space.matrix(codes, space.coding.terms("main"))[:, 1:], dtype=float)


def fitted_process(X: Array, y: Array) -> Any:
    """Return scikit-learn's Gaussian process, fitted to values of shape (n_designs,)."""
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    kernel = ConstantKernel(1.0, (0.05, 20.0)) * Matern(np.full(X.shape[1], 2.0), (0.3, 30.0), nu=2.5)
    kernel += WhiteKernel(0.1, (1e-3, 2.0))
    model = GaussianProcessRegressor(kernel, normalize_y=True, random_state=1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # a length at its bound is no news here
        return model.fit(X, y)
