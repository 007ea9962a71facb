"""Playing strategies on benches, paired and seeded, and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from doe.model.numbers import minutes_in
from doe.model.wording import MOVES
from doe.rehearse.benches import Bench, bench
from doe.rehearse.gaussian import GaussianProcess
from doe.rehearse.nature import Family
from doe.rehearse.screening import Screening
from doe.rehearse.simplex import Simplex
from doe.rehearse.strategies import Advised, Step, Strategy
from doe.rehearse.textbook import CheapestChange, OneFactorAtATime, RandomVariants
from doe.rehearse.world import Move, World, start

GOOD = 0.9
"""A declared variant is right from this share of the best attainable worth on."""

HOURS = 24.0

CHANCE_BANDS = {"small": (0.0, 0.25), "middling": (0.25, 0.5), "good": (0.5, 1.01)}
"""Chances of being better, from and up to, that are counted together."""

STRATEGIES: Mapping[str, Callable[[], Strategy]] = {
    "advised": Advised,
    "told which terms are real": lambda: Advised(name="told which terms are real", told=True),
    "one factor at a time": OneFactorAtATime,
    "random variants": RandomVariants,
    "cheapest random change": CheapestChange,
    "screening plan": Screening,
    "sequential simplex": Simplex,
    "gaussian process": GaussianProcess,
    "gaussian process per minute": lambda: GaussianProcess(per_minute=True),
}


@dataclass(frozen=True, slots=True)
class Play:
    """One strategy on one bench.

    Attributes
    ----------
    trace : tuple of dict
        One per decision: ``minutes`` spent before it, ``declared`` variant, its true worth as a ``share`` of the best,
        ``chance_left`` as the strategy states it, ``held`` (whether the true worth of the declared variant as built lies in
        the interval stated; None without one), ``variants`` built so far.
    world : World
        The bench as it was left.
    hours : float
        Time there was.
    chances : tuple of (float, bool)
        Chances told that the next build will be better than the variant declared, with whether it was.
    """

    trace: tuple[dict[str, Any], ...]
    world: World
    hours: float
    chances: tuple[tuple[float, bool], ...] = ()

    @property
    def is_right(self) -> bool:
        """Whether the variant declared last is right."""
        return bool(self.trace[-1]["share"] >= GOOD)


def play(drawn: Bench, strategy: Strategy, hours: float = HOURS, *, until_right: bool = False) -> Play:
    """Let one strategy work on one bench until the hours are used up or it stops, or until it first declares rightly."""
    world, most = start(drawn), minutes_in(hours)
    trace: list[dict[str, Any]] = []
    chances: list[tuple[float, bool]] = []
    while True:
        left = most - world.minutes
        step = strategy.step(world, max(left, 1.0) / 60)
        share = drawn.worth_of(world.variants[step.declared]) / drawn.best_worth if step.declared is not None else 0.0
        trace.append(
            {"minutes": world.minutes, "declared": step.declared, "share": share, "chance_left": step.chance_left,
             "held": _has_held(world, step), "variants": len(world.variants)}
        )  # fmt: skip
        moves = _fitting(world, step.moves, most)
        if not moves or (until_right and share >= GOOD):
            return Play(tuple(trace), world, hours, tuple(chances))
        first = world.do(moves)[0]
        if step.chance_better is not None and step.declared is not None:
            chances.append((step.chance_better, world.worth_of(first) > world.worth_of(step.declared)))


def _has_held(world: World, step: Step) -> bool | None:
    if step.worth is None or step.declared is None:
        return None
    low, high = step.worth
    return low <= world.worth_of(step.declared) <= high


def _fitting(world: World, moves: Sequence[Move], most_minutes: float) -> tuple[Move, ...]:
    """Return the moves of a session that still fit the time, from the first on.

    A later move of a session may start where an earlier one has left the unit, so its minutes are counted on a copy.
    """
    trial = replace(world, units=list(world.units), variants=dict(world.variants), rows=list(world.rows))
    for place, move in enumerate(moves):
        trial.minutes += trial.minutes_for(move, is_new_session=place == 0)
        if trial.minutes > most_minutes:
            return tuple(moves[:place])
        trial.stand(move)
    return tuple(moves)


def summarise(played: Play, stop_below: float = 0.1) -> dict[str, Any]:
    """Boil one play down to one row.

    Returns
    -------
    dict
        ``minutes`` to the first right declaration, capped at the hours; ``reached``; ``finally_right``; ``regret`` in worth;
        ``variants`` built; ``stop_minutes`` at which the strategy first held the chance of something better below
        `stop_below` (missing if never; that the hours are over says nothing of that chance), ``stop_right`` whether the
        declared variant was right then; ``stated`` intervals for the worth of a declared variant, ``held`` of these; for
        each of `CHANCE_BANDS` how many ``chances_<band>`` were told, what they add up to (``told_<band>``), and how many came
        (``came_<band>``).
    """
    trace, drawn = played.trace, played.world.bench
    right = [entry["minutes"] for entry in trace if entry["share"] >= GOOD]
    stated = [entry["held"] for entry in trace if entry["held"] is not None]
    stops = [entry for entry in trace if entry["chance_left"] is not None and entry["chance_left"] < stop_below]
    return {
        "minutes": min(right) if right else minutes_in(played.hours),
        "reached": bool(right),
        "finally_right": played.is_right,
        "regret": (1 - trace[-1]["share"]) * drawn.best_worth,
        "variants": len(played.world.variants),
        "stop_minutes": stops[0]["minutes"] if stops else np.nan,
        "stop_right": float(stops[0]["share"] >= GOOD) if stops else np.nan,
        "stated": len(stated),
        "held": sum(stated),
        **_chances(played.chances),
    }


def _chances(said: Sequence[tuple[float, bool]]) -> dict[str, float]:
    """Count the chances told, by band, beside what came of them."""
    counts: dict[str, float] = {}
    for band, (low, high) in CHANCE_BANDS.items():
        within = [(told, came) for told, came in said if low <= told < high]
        counts |= {
            f"chances_{band}": len(within),
            f"told_{band}": float(sum(told for told, _ in within)),
            f"came_{band}": sum(came for _, came in within),
        }
    return counts


def claims(world: World) -> dict[str, float]:
    """Count what an analysis of the readings claims, against the truth.

    Returns
    -------
    dict
        ``claimed`` terms with the verdict *moves it*, ``claimed_rightly``, ``real`` terms that move their outcome by what
        matters, ``real_claimed`` of these, and ``twin_claimed`` (the passive factor that always moved with an active one),
        summed over outcomes.
    """
    from doe.fit import analyse

    drawn, frame = world.bench, world.frame()
    counts = dict.fromkeys(("claimed", "claimed_rightly", "real", "real_claimed", "twin_claimed"), 0.0)
    for truth in drawn.truths:
        table = analyse(frame, drawn.setup.factors, truth.outcome).table
        found = {unordered(term) for term in table.loc[table["verdict"] == MOVES, "term"]}
        real, sizeable = map(unordered, truth.real_terms), {unordered(term) for term in truth.sizeable_terms}
        counts["claimed"] += len(found)
        counts["claimed_rightly"] += len(found & set(real))
        counts["real"] += len(sizeable)
        counts["real_claimed"] += len(found & sizeable)
        counts["twin_claimed"] += drawn.passive_twin is not None and drawn.passive_twin[1] in found
    return counts


def unordered(term: str) -> str:
    """Return a term's name with its factors in alphabetical order."""
    return ":".join(sorted(term.split(":")))


def one_row(family: Family, seed: int, strategy: str, hours: float = HOURS) -> dict[str, Any]:
    """Play one strategy on one bench and return its row: family, seed, strategy, `summarise`, and for ours `claims`."""
    drawn = bench(family, seed)
    played = play(drawn, STRATEGIES[strategy](), hours)
    row = {"family": family, "seed": seed, "strategy": strategy, **summarise(played)}
    if strategy == "advised":
        row |= claims(played.world)
        row["twin_claimed_at_start"] = claims(start(drawn))["twin_claimed"] if drawn.history else 0.0
    return row
