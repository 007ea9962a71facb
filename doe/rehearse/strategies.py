"""Ways of working at the bench: ours, and textbook ones to compare with."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np

from doe.advise.advice import Advice
from doe.advise.recommend import recommend
from doe.advise.twin import rows_of
from doe.rehearse.world import Move, World


@dataclass(frozen=True, slots=True)
class Step:
    """What a strategy makes of the readings so far.

    Attributes
    ----------
    declared : str or None
        Variant that it would keep if work stopped now.
    moves : tuple of Move
        What it does in the next session; empty to stop.
    chance_left : float or None
        Its own statement that something better by what matters is left, if it makes one.
    worth : pair of float, optional
        Ends of the 95 % interval that it states for the worth of that variant, if it states one.
    chance_better : float or None
        Its own statement that the first build of the session will be better than that variant, if it makes one.
    """

    declared: str | None
    moves: tuple[Move, ...]
    chance_left: float | None = None
    worth: tuple[float, float] | None = None
    chance_better: float | None = None


class Strategy(Protocol):
    """A way of working; it may keep notes, and sees the readings but never the truth."""

    name: str

    def step(self, world: World, hours_left: float) -> Step:
        """Look at the readings so far and decide."""


@dataclass
class Advised:
    """Do what `doe.recommend` says.

    Attributes
    ----------
    told : bool
        Whether it is told which terms are real: the frontier, out of reach for anyone who has to find out.
    count : int
        Suggestions to follow per session.
    """

    name: str = "advised"
    told: bool = False
    count: int = 1
    seed: int = 1
    last: Advice | None = field(default=None, repr=False)

    def step(self, world: World, hours_left: float) -> Step:
        """Ask for the next change."""
        setup = world.bench.setup
        terms = {truth.outcome.name: truth.real_terms for truth in world.bench.truths} if self.told else None
        self.last = advice = recommend(
            world.frame() if world.rows else None, setup.factors, setup.outcomes, units=world.units,
            effort=setup.effort, limits=setup.limits, derived=setup.derived, hours=hours_left, seed=self.seed,
            terms=terms, count=self.count,
        )  # fmt: skip
        declared = advice.best.get("variant")
        rows = rows_of(advice.table)
        moves = tuple(_move(world, row) for row in rows)
        worth = (float(advice.best["low"]), float(advice.best["high"])) if advice.best else None
        return Step(declared, moves, advice.chance_left, worth, _chance_better(declared, rows))


def _chance_better(declared: str | None, rows: list[dict[str, Any]]) -> float | None:
    """Return the chance told for the first suggestion, if it is to build something that has not been built."""
    is_new = declared is not None and bool(rows) and rows[0]["kind"] in ("improve", "learn")
    return float(rows[0]["chance_better"]) if is_new else None


def _move(world: World, row: dict[str, Any]) -> Move:
    settings = {factor.name: factor.read(row[factor.name]) for factor in world.bench.setup.factors}
    return Move(None if row["unit"] == "new" else str(row["unit"]), settings, int(row["readings"]))


def rng_for(world: World, salt: int) -> np.random.Generator:
    """Return a strategy's own source of randomness on one bench."""
    return np.random.default_rng([world.bench.seed, salt, 5])
