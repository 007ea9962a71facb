"""Simulated benches: a setup, a truth, a first unit, and for some a history.

Six families, drawn at random from a seed and kept only if there is something to find. All are harder than the model that
advice is built on: every build is a little off, readings drift over a session, some are outliers, grades are whole numbers,
and in each bench one effect is no polynomial.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.search import climb, pool
from doe.advise.space import Codes, Space, make_space
from doe.advise.worth import worth
from doe.coding import Coding
from doe.model.choices import Settings, Value
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.model.sums import made_up, sums
from doe.rehearse.nature import FAMILIES, Family, draw_truth
from doe.rehearse.truth import Truth

Array = npt.NDArray[np.float64]
EFFORT = Effort(new_unit_minutes=150, session_minutes=15, reading_minutes=6)
FACTORS: tuple[Factor, ...] = (
    Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", kind="continuous", low=0, high=60, step=5, unit="%", minutes=8),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"], minutes=25),
    Factor("feet", kind="ordered", levels=["soft", "middle", "hard"], minutes=10),
    Factor("tube", kind="continuous", low=20, high=60, step=5, unit="mm", way="down", minutes=15),
    Factor("grille", kind="categorical", levels=["cloth", "mesh"], minutes=5),
)
OUTCOMES: tuple[Outcome, ...] = (
    Outcome("bass", kind="measured", unit="dB", goal="hit", target=0, worst=6, matters=1.0),
    Outcome("echo", kind="rated", scale=(1, 7), goal="lower", best=1.5, worst=6, matters=0.5),
    Outcome("clarity", kind="measured", unit="dB", goal="raise", best=12, worst=0, matters=1.0),
)
WARMTH = Outcome("warmth", kind="rated", scale=(1, 7), goal="raise", best=6.5, worst=2, matters=0.5)
RATERS = ("Ann", "Ben", "Cleo")
MOST_LISTED = 100_000
"""Designs up to which a grid is listed; beyond it is searched."""

HARD_ENOUGH = 0.06
"""Most settings, as a share of all, that may be within 90 % of the best."""


@dataclass(frozen=True)
class Bench:
    """One simulated tuning job.

    Attributes
    ----------
    family : str
    seed : int
    setup : Setup
    truths : tuple of Truth
        One per outcome.
    start : dict
        Settings of the one unit that exists.
    history : tuple of dict
        Settings of variants built one after another before work starts, the last of them on the unit.
    raters : tuple of str
    passive_twin : tuple of str
        Family ``together``: the active factor, and the passive one that always moved with it.
    """

    family: Family
    seed: int
    setup: Setup
    truths: tuple[Truth, ...]
    start: Settings
    history: tuple[Settings, ...] = ()
    raters: tuple[str, ...] = RATERS[:1]
    passive_twin: tuple[str, str] | None = None

    def true_worth(self, settings: Mapping[str, Sequence[Any] | npt.NDArray[Any]]) -> Array:
        """Return the worth of designs, averaged over nothing but the truth: no build offset, no reading."""
        outcomes = [truth.outcome for truth in self.truths]
        return np.asarray(worth(outcomes, [truth.mean(settings) for truth in self.truths]))

    def worth_of(self, settings: Settings) -> float:
        """Return the true worth of one design."""
        return float(self.true_worth({name: [value] for name, value in settings.items()})[0])

    def allows(self, settings: Settings) -> bool:
        """Tell whether a design keeps the limits."""
        return not broken_limits(settings, self.setup.limits, self.setup.derived)

    @cached_property
    def best_worth(self) -> float:
        """True worth of the best design of the whole grid."""
        return float(self.grid_worths.max())

    @cached_property
    def grid_worths(self) -> Array:
        """True worth of every design of the grid; of a grid too large to list, of a sample and of what a search finds."""
        space = make_space(
            Coding(tuple(self.setup.factors), tuple(self.setup.derived)), [self.start], self.setup.limits
        )

        def score(some: Codes) -> Array:
            return self.true_worth(space.columns(some))

        return score(designs(space, score, space.code(self.start)[None]))


def designs(space: Space, score: Callable[[Codes], npt.NDArray[Any]], near: Codes) -> Codes:
    """Return the designs of a grid that keep the limits: all, or of a grid too large to list a sample and what a search finds.

    Parameters
    ----------
    space : Space
    score : callable
        Codes of shape (n_designs, n_factors) -> score of shape (n_designs,), higher is better.
    near : ndarray of shape (n_designs, n_factors)
        Where a search begins, beside anywhere.
    """
    if space.size <= MOST_LISTED:
        codes = space.everything()
        return codes[space.allowed(codes)]
    return climb(space, score, pool(space, near, np.random.default_rng(1)))


@lru_cache(maxsize=8)
def bench(family: Family, seed: int) -> Bench:
    """Draw one bench.

    Parameters
    ----------
    family : {"main", "interaction", "curved", "together", "noisy", "nothing"}
    seed : int
        The same seed gives the same bench.

    Raises
    ------
    RuntimeError
        If no bench worth playing turns up in 400 draws.
    """
    rng = np.random.default_rng([seed, FAMILIES.index(family)])
    for _ in range(400):
        drawn = _draw(family, seed, rng)
        if family == "nothing" or is_worth_playing(drawn):
            return drawn
    raise RuntimeError(f"no bench of family {family} for seed {seed}")


def is_worth_playing(bench: Bench, hard_enough: float = HARD_ENOUGH) -> bool:
    """Tell whether the start is poor, something good exists, and it is not to be had almost anywhere."""
    best = bench.best_worth
    if best < 0.6 or not 0.03 * best < bench.worth_of(bench.start) < 0.6 * best:
        return False
    return float(np.mean(bench.grid_worths >= 0.9 * best)) <= hard_enough


def _draw(family: Family, seed: int, rng: np.random.Generator) -> Bench:
    factors = _pick_factors(rng)
    outcomes = _pick_outcomes(family, rng)
    raters = RATERS[: int(rng.integers(2, 4))] if family == "noisy" else RATERS[: int(rng.integers(1, 3))]
    twin = _pick_twin(factors, rng) if family == "together" else None
    active = _pick_active(family, factors, twin, rng)
    truths = tuple(draw_truth(family, outcome, active, rng) for outcome in outcomes)
    start = first_unit(factors, (), (), rng)
    history = _moved_together(factors, start, twin, rng) if twin else ()
    setup = Setup(f"{family} {seed}", "", factors, outcomes, EFFORT)
    return Bench(family, seed, setup, truths, history[-1] if history else start, history, raters, twin)


def _pick_factors(rng: np.random.Generator) -> tuple[Factor, ...]:
    count = int(rng.integers(5, len(FACTORS) + 1))
    chosen = set(rng.choice(len(FACTORS), count, replace=False).tolist())
    return tuple(factor for place, factor in enumerate(FACTORS) if place in chosen)


def _pick_outcomes(family: Family, rng: np.random.Generator) -> tuple[Outcome, ...]:
    if family == "noisy":
        return (OUTCOMES[1], WARMTH)[: int(rng.integers(1, 3))]
    count = int(rng.choice([1, 2, 3], p=[0.3, 0.4, 0.3]))
    chosen = sorted(rng.choice(3, count, replace=False).tolist())
    return tuple(OUTCOMES[place] for place in chosen)


def _pick_twin(factors: Sequence[Factor], rng: np.random.Generator) -> tuple[str, str] | None:
    free = [factor.name for factor in factors if factor.way == "either"]
    if len(free) < 2:
        return None
    first, second = rng.choice(len(free), 2, replace=False)
    return free[int(first)], free[int(second)]


def _pick_active(
    family: Family, factors: Sequence[Factor], twin: tuple[str, str] | None, rng: np.random.Generator
) -> list[Factor]:
    if family == "nothing":
        return []
    order = [factors[place] for place in rng.permutation(len(factors))]
    if family == "curved":  # at least one that can be curved comes first
        order.sort(key=lambda factor: not factor.is_numeric)
    if twin:
        order = [factor for factor in order if factor.name != twin[1]]
        order.sort(key=lambda factor: factor.name != twin[0])
    return order[: int(rng.integers(2, 4))]


def first_unit(
    factors: Sequence[Factor], limits: Sequence[Limit], derived: Sequence[Derived], rng: np.random.Generator
) -> Settings:
    """Draw a first unit that leaves one-way factors some way to go and keeps the limits, if any of 500 does."""
    settings: Settings = {}
    rules = sums(factors, limits, derived)
    for _ in range(500):
        settings = made_up({factor.name: _first_setting(factor, rng) for factor in factors}, rules)
        if not broken_limits(settings, limits, derived):
            break
    return settings


def _first_setting(factor: Factor, rng: np.random.Generator) -> Value:
    grid = factor.grid(13)
    if factor.way == "up":
        grid = grid[: max(1, len(grid) // 2)]
    elif factor.way == "down":
        grid = grid[len(grid) // 2 :]
    return grid[int(rng.integers(len(grid)))]


def _moved_together(
    factors: Sequence[Factor], start: Settings, twin: tuple[str, str], rng: np.random.Generator
) -> tuple[Settings, ...]:
    """Build a history of six to eight variants in which two factors always moved together, and a third now and then."""
    known = {factor.name: factor for factor in factors}
    ends = {name: (known[name].grid(13)[0], known[name].grid(13)[-1]) for name in twin}
    others = [factor for factor in factors if factor.name not in twin and factor.way == "either"]
    history = []
    now = dict(start)
    for step in range(int(rng.integers(6, 9))):
        side = step % 2
        now = {**now, **{name: ends[name][side] for name in twin}}
        if others and step % 3 == 2:
            other = others[int(rng.integers(len(others)))]
            grid = other.grid(13)
            now = {**now, other.name: grid[int(rng.integers(len(grid)))]}
        history.append(now)
    return tuple(history)
