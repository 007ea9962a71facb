"""A maker's own setup, rehearsed: how many builds and hours it will take, and which smallest effect could be seen."""

from __future__ import annotations

import multiprocessing
import signal
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import minimize

from doe.advise.reach import check_limits
from doe.advise.space import make_space
from doe.coding import Coding
from doe.model import wording
from doe.model.choices import Settings
from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.model.wording import MOVES
from doe.rehearse.answer import Rehearsal
from doe.rehearse.benches import Bench, first_unit, is_worth_playing
from doe.rehearse.nature import Family, draw_truth, goal_range
from doe.rehearse.run import GOOD, STRATEGIES, play, summarise, unordered
from doe.rehearse.strategies import Advised
from doe.rehearse.world import World

Array = npt.NDArray[np.float64]

KINDS: tuple[Family, ...] = ("main", "interaction", "curved")
RIVALS = tuple(name for name in STRATEGIES if name not in ("advised", "told which terms are real"))
"""Textbook ways of working that a maker could take up instead."""

SEEN = 0.8
"""Chance of being claimed from which an effect counts as one that could be seen."""

_DRAWS_PER_BENCH = 200


def rehearse(
    setup: Setup,
    *,
    hours: float = 24.0,
    benches: int = 20,
    noise: float = 0.1,
    start: Settings | None = None,
    seed: int = 1,
    jobs: int = 1,
    progress: Callable[[int, int], None] | None = None,
    compare: bool = False,
) -> Rehearsal:
    """Play one's own setup on simulated truths, with the advice that `doe.recommend` gives.

    Parameters
    ----------
    setup : Setup
        Factors, outcomes with goals, effort, limits.
    hours : float
        Bench hours there will be.
    benches : int
        Simulated benches; a third each with main effects only, with an interaction, with curvature.
    noise : float
        Scatter of one reading, as a share of each outcome's range from worth nothing to worth everything.
    start : dict, optional
        Settings of the unit at hand; drawn for each bench otherwise.
    seed : int
    jobs : int
        Processes; -1 for all cores.
    progress : callable, optional
        Called with the number of benches done and of all.
    compare : bool
        Whether to play the textbook ways of working on the same benches too.

    Returns
    -------
    Rehearsal
        Where it is interrupted (Ctrl-C), of the benches played so far, which a note says.

    Raises
    ------
    UsageError
        If no outcome can be rehearsed, a number is out of its range, or no truth leaves anything to find.
    DataError
        If no settings keep the limits.
    KeyboardInterrupt
        If it is interrupted before the first bench is played.
    """
    outcomes, notes = _playable(setup)
    if not 0 < noise < 1:
        raise UsageError(
            f"scatter is {wording.exact(100 * noise)} %; it must be a share above 0 and below 100 %, such as 10 %."
        )
    if not 1 <= benches <= 1000:
        raise UsageError(f"benches is {benches}; it must be a whole number from 1 to 1000.")
    if not 0 < hours < float("inf"):
        raise UsageError(f"hours is {wording.exact(hours)}; it must be a number above 0.")
    if not setup.effort.reading_minutes and not setup.effort.session_minutes:
        raise UsageError(
            "Nothing says how long a round of readings or a session takes, so readings would never use up the hours.",
            command="say so with 'fettle effort --reading-minutes MINUTES'",
        )
    _check_room(setup, start, seed)
    asked = _Asked(setup, outcomes, noise, start, hours, compare)
    played = _play(asked, range(seed, seed + benches), jobs, progress)
    if len(played) < benches:
        notes = (*notes, f"Stopped early: this is about the {len(played)} of {benches} benches that were played.")
    frame = pd.DataFrame(
        [row for one in played for row in one.effects], columns=["outcome", "factor", "swing", "share", "claimed"]
    )
    plays = pd.DataFrame([one.row for one in played])
    rivals = pd.DataFrame([row for one in played for row in one.rivals])
    return Rehearsal(plays, frame, _smallest(frame, outcomes), hours, noise, notes, rivals)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is played on every bench: the setup, its outcomes that have a goal, and `rehearse`'s own words for the rest."""

    setup: Setup
    outcomes: tuple[Outcome, ...]
    noise: float
    start: Settings | None
    hours: float
    compare: bool


@dataclass(frozen=True, slots=True)
class _Played:
    """What came of one bench."""

    row: dict[str, Any]
    effects: list[dict[str, Any]]
    rivals: list[dict[str, Any]]


def _play(asked: _Asked, seeds: Sequence[int], jobs: int, progress: Callable[[int, int], None] | None) -> list[_Played]:
    """Play a bench for each seed, on several cores if asked; an interruption keeps what is done."""
    from joblib import Parallel, delayed

    done: list[_Played] = []
    with _deaf_to_ctrl_c():
        plays = (delayed(_one)(asked, seed, KINDS[place % len(KINDS)]) for place, seed in enumerate(seeds))
        results = Parallel(n_jobs=jobs, return_as="generator_unordered")(plays)
    try:
        for one in results:
            done.append(one)
            if progress is not None:
                progress(len(done), len(seeds))
    except KeyboardInterrupt:
        if not done:
            raise
    finally:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what is under way is given up on purpose
            results.close()
    return sorted(done, key=lambda one: one.row["seed"])  # they end in any order


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Start processes that ignore Ctrl-C from their first moment on, since it reaches the whole group of them.

    They inherit it; until they have come as far as `_one`, each would end in a traceback on the user's screen.
    """
    if threading.current_thread() is not threading.main_thread():  # only it may say what a signal does, and hears them
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _playable(setup: Setup) -> tuple[tuple[Outcome, ...], tuple[str, ...]]:
    chosen = tuple(outcome for outcome in setup.outcomes if outcome.goal is not None and outcome.kind != "compared")
    if not chosen:
        raise UsageError(
            "No measured or rated outcome has a goal, so there is nothing to rehearse; set a goal on one.",
            command="'fettle outcome change NAME --goal GOAL' does that",
        )
    if len(setup.factors) < 2:
        have = "There is one factor" if setup.factors else "There is no factor yet"
        raise UsageError(f"{have}; a rehearsal needs two at least.", command="'fettle factor add' defines one")
    left = [wording.spaced(outcome.name) for outcome in setup.outcomes if outcome not in chosen]
    note = f"Left out: {', '.join(left)} (compared, or without a goal)."
    return chosen, (note,) if left else ()


def _check_room(setup: Setup, start: Settings | None, seed: int) -> None:
    """Check before anything is played that some settings keep the limits."""
    coding = Coding(tuple(setup.factors), tuple(setup.derived))
    check_limits(make_space(coding, [start] if start else [], setup.limits), seed)


def _one(asked: _Asked, seed: int, family: Family) -> _Played:
    if multiprocessing.parent_process() is not None:  # one that was started later may have inherited nothing
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    drawn = _bench(asked, seed, family)
    played = play(drawn, Advised(), asked.hours)
    until = [entry["variants"] for entry in played.trace if entry["share"] >= GOOD]
    row = {"seed": seed, "family": family, "builds": len(played.world.units), **summarise(played)}
    row["variants_until"] = until[0] if until else row["variants"]
    rivals = [
        {"strategy": name, "seed": seed, **summarise(play(drawn, STRATEGIES[name](), asked.hours))}
        for name in RIVALS
        if asked.compare
    ]
    return _Played(row, _seen(played.world), rivals)


def _bench(asked: _Asked, seed: int, family: Family) -> Bench:
    setup, outcomes, scatter = asked.setup, asked.outcomes, (asked.noise, asked.noise)
    rng = np.random.default_rng([seed, 31])
    plain = Setup(setup.title, setup.question, setup.factors, outcomes, setup.effort, setup.limits, setup.derived)
    drawn = None
    for _ in range(_DRAWS_PER_BENCH):
        active = _active(setup.factors, family, rng)
        truths = tuple(draw_truth(family, outcome, active, rng, scatter, (0.05, 0.9)) for outcome in outcomes)
        start = asked.start or first_unit(setup.factors, setup.limits, setup.derived, rng)
        drawn = Bench(family, seed, plain, truths, start)
        if is_worth_playing(drawn, hard_enough=0.25):
            return drawn
    raise UsageError(
        "No simulated truth leaves anything to find with this setup; check that limits and one-way factors leave room, and "
        "that the goals are within reach of each other."
    )


def _active(factors: Sequence[Factor], family: Family, rng: np.random.Generator) -> list[Factor]:
    order = [factors[place] for place in rng.permutation(len(factors))]
    if family == "curved":
        order.sort(key=lambda factor: not factor.is_numeric)
    return order[: int(rng.integers(2, min(4, len(factors)) + 1))]


def _seen(world: World) -> list[dict[str, Any]]:
    """List the main effects of the truths, with whether an analysis of the log claims them; none where nothing was read."""
    from doe.fit import analyse

    frame, rows = world.frame(), []
    for truth in world.bench.truths:
        found = set()
        if world.rows:
            table = analyse(frame, world.bench.setup.factors, truth.outcome).table
            found = {unordered(term) for term in table.loc[table["verdict"] == MOVES, "term"]}
        span = goal_range(truth.outcome)
        for effect in truth.effects:
            name, swing = effect.factor.name, abs(effect.size)
            rows.append(
                {"outcome": truth.outcome.name, "factor": name, "swing": swing, "share": swing / span, "claimed": name in found}
            )  # fmt: skip
    return rows


def _smallest(effects: pd.DataFrame, outcomes: Sequence[Outcome]) -> pd.DataFrame:
    rows = []
    for outcome in outcomes:
        mine = effects[effects["outcome"] == outcome.name]
        share = smallest_seen(mine["share"].to_numpy(dtype=float), mine["claimed"].to_numpy(dtype=float))
        swing = share * goal_range(outcome)
        rows.append({"outcome": outcome.name, "unit": outcome.unit, "swing": swing, "share": share})
    return pd.DataFrame(rows, columns=["outcome", "unit", "swing", "share"])


def smallest_seen(sizes: Array, claimed: Array, chance: float = SEEN) -> float:
    """Return the size at which a logistic curve through claims reaches a chance; NaN where it does not within the sizes tried.

    Parameters
    ----------
    sizes : ndarray of shape (n_effects,)
    claimed : ndarray of shape (n_effects,)
        1 or 0.
    chance : float

    Notes
    -----
    Logistic regression with a mild ridge on slope and middle, so that a perfect split does not run away.
    """
    if not len(sizes):
        return float("nan")

    def loss(parameters: Array) -> float:
        z = np.exp(parameters[1]) * (sizes - parameters[0])
        likelihood = float(np.logaddexp(0, -z)[claimed > 0].sum() + np.logaddexp(0, z)[claimed == 0].sum())
        return float(likelihood + 0.5 * ((parameters[0] - 0.4) / 0.6) ** 2 + 0.5 * ((parameters[1] - 2.0) / 1.0) ** 2)

    found = minimize(loss, np.array([0.4, 2.0]), method="Nelder-Mead")
    middle, slope = float(found.x[0]), float(np.exp(found.x[1]))
    size = middle + float(np.log(chance / (1 - chance))) / slope
    return max(size, 0.0) if size <= float(sizes.max()) else float("nan")
