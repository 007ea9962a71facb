"""Many seeded starts, each improved by coordinate exchange, the best kept."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from doe.model.threads import one_thread
from doe.model.wording import counted
from doe.plans.aberration import fraction_columns
from doe.plans.arrangement import Arrangement
from doe.plans.candidates import Region
from doe.plans.exchange import RENEWED, Batch, Task, batch_size, begin, improve, refresh, score, sweep_once
from doe.plans.hadamard import LARGEST, hadamard
from doe.plans.layout import Array, Ints, Layout

Tell = Callable[[float, str], None]

_SECONDS = 2.5
_SECONDS_PER_STEP = 9e-9
_TIE = 1e-9
_MOST_KEPT = 64
_MOST_PASSES = 100
_POLISHED = 4
_MOST_POLISHED = 24
_NUDGES = (0.1, 0.03, 0.01, 0.003, 0.001)
_POLISH_STEPS = 4000
_WORTH_ODD_SETTINGS = 1e-3


@dataclass(frozen=True, slots=True)
class Found:
    """What a search reached.

    Attributes
    ----------
    values : ndarray of shape (n_runs, n_factors)
        Settings as plain numbers.
    score : float
        log|M|, or minus the mean variance of prediction for I-optimality.
    starts : int
        Starts that were finished.
    was_stopped : bool
        Whether it was interrupted.
    """

    values: Array
    score: float
    starts: int
    was_stopped: bool


def default_starts(task: Task) -> int:
    """Choose how many starts to make: what a few seconds allow on an ordinary machine."""
    trials = sum(math.prod(len(task.candidates[factor]) for factor in factors) for factors in task.moves)
    settings = task.n_runs * trials / 2
    each = _SECONDS_PER_STEP * settings * task.size**1.65 * (1 if task.moments is None else 2)
    if task.groups:
        each *= 2  # what is fixed on a unit is tried for all of its runs together
    return int(np.clip(_SECONDS / each, 30, 4000))


@one_thread()
def search(task: Task, region: Region, arrangement: Arrangement, starts: int, seed: int, tell: Tell | None) -> Found:
    """Make many starts, improve each, keep the best.

    Plans that no single change improves leave the batch, and new starts take their places. Ctrl-C (KeyboardInterrupt) ends
    the search early with the best plan reached so far.

    Parameters
    ----------
    task : Task
        What is optimised.
    region : Region
        Where starts are drawn from.
    arrangement : Arrangement
        Units, on which the settings of rebuild factors stay the same.
    starts : int
        Number of starts.
    seed : int
        Seed of the starts.
    tell : callable or None
        Told the share done and a few words, after each pass over the plans in work.
    """
    return _search(_Work(task, region, arrangement, starts, np.random.default_rng(seed)), starts, tell)


def _search(work: _Work, starts: int, tell: Tell | None) -> Found:
    try:
        while work.refill():
            work.sweep()
            if tell is not None:
                tell(work.finished / starts, f"{work.finished} of {counted(starts, 'start')}")
        work.polish()
    except KeyboardInterrupt:
        work.give_up()
        if not len(work.kept.scores):
            raise
        return Found(*work.kept.best(), work.finished, True)
    return Found(*work.kept.best(), work.finished, False)


class _Work:
    """The plans in work, and what becomes of them."""

    def __init__(
        self, task: Task, region: Region, arrangement: Arrangement, starts: int, rng: np.random.Generator
    ) -> None:
        self.task, self.region, self.arrangement, self.rng = task, region, arrangement, rng
        self.waiting, self.finished, self.passes = starts, 0, 0
        self.room = batch_size(task)
        self.batch: Batch | None = None
        self.age: Ints = np.empty(0, dtype=np.intp)
        self.kept = _Kept(task)

    def refill(self) -> bool:
        """Take new starts when half of the places are free; tell whether there is work."""
        present = 0 if self.batch is None else len(self.batch.values)
        count = min(self.room - present, self.waiting)
        if count > 0 and (present <= self.room // 2):
            values = draw_starts(self.region, self.arrangement, count, self.rng)
            if not self.passes:
                _plant(self.task, values)
            elif not self.task.groups and len(self.kept.values):
                self._kick(values)
            fresh = begin(self.task, values)
            self.batch = fresh if self.batch is None else self.batch.joined(fresh)
            self.age = np.concatenate([self.age, np.zeros(count, dtype=np.intp)])
            self.waiting -= count
        return self.batch is not None and len(self.batch.values) > 0

    def _kick(self, values: Array) -> None:
        """Make every second start a plan that was kept, with one or two runs drawn anew."""
        for place in range(0, len(values), 2):
            fresh = values[place, : self.rng.integers(1, 3)].copy()
            values[place] = self.kept.values[self.rng.integers(len(self.kept.values))]
            values[place, self.rng.permutation(len(values[place]))[: len(fresh)]] = fresh

    def sweep(self) -> None:
        """Go through all runs of all plans once, and let those go that are finished."""
        assert self.batch is not None  # refill has seen to it
        if self.passes % RENEWED == RENEWED - 1:
            refresh(self.task, self.batch)
        moved = sweep_once(self.task, self.batch)
        self.age += 1
        self.passes += 1
        stays = moved & (self.age < _MOST_PASSES)
        self.kept.add(self.batch.values[~stays])
        self.finished += int((~stays).sum())
        self.batch, self.age = self.batch.part(stays), self.age[stays]

    def polish(self) -> None:
        """Refine the best plans, and some new starts, where settings between the candidates can be used."""
        count = int(np.clip(_POLISH_STEPS // (self.task.n_runs * len(self.task.candidates)), 2, 200))
        self.kept.polish(draw_starts(self.region, self.arrangement, count, self.rng))

    def give_up(self) -> None:
        """Keep what the plans in work have reached."""
        if self.batch is not None:
            self.kept.add(self.batch.values)


class _Kept:
    """The best plans so far, and those in work."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self.values: Array = np.empty((0, task.n_runs, len(task.candidates)))
        self.scores: Array = np.empty(0)

    def add(self, values: Array) -> None:
        """Score plans and keep the best of all."""
        if not len(values):
            return
        every = np.concatenate([self.values, values])
        scores = np.concatenate([self.scores, score(self.task, values)])
        order = np.argsort(-scores, kind="stable")[:_MOST_KEPT]
        self.values, self.scores = every[order], scores[order]

    def polish(self, fresh: Array) -> None:
        """Try settings between the candidates; keep them only where they gain more than odd settings cost.

        Parameters
        ----------
        fresh : ndarray of shape (n_plans, n_runs, n_factors)
            Starts beside the best plans so far, which may be far from the best of the finer settings.
        """
        finer = _finer_tasks(self.task)
        if not finer or not np.isfinite(self.scores[0]):
            return
        most = _polish_passes(self.task)
        values = np.concatenate([self.values[:_POLISHED], improve(finer[0], fresh, most)])
        for task in finer:
            order = np.argsort(-score(self.task, values), kind="stable")[:_MOST_POLISHED]
            values = improve(task, values[order], most)
        rounded = _rounded(self.task, values)
        scores = score(self.task, rounded)
        best = int(np.argmax(scores))
        if _gain(self.task, scores[best], self.scores[0]) > _WORTH_ODD_SETTINGS:
            self.values, self.scores = rounded[best : best + 1], scores[best : best + 1]

    def best(self) -> tuple[Array, float]:
        """Return the best plan; among equals the one with the least mixing of main effects with interactions."""
        top = self.scores >= self.scores[0] - _TIE * max(1.0, abs(float(self.scores[0])))
        tied = self.values[top]
        if len(tied) == 1 or not np.isfinite(self.scores[0]):
            return self.values[0], float(self.scores[0])
        return tied[int(np.argmin(np.round(_mixing(self.task.layout, tied), 9)))], float(self.scores[0])


def _gain(task: Task, new: float, old: float) -> float:
    """Return the gain in efficiency per unknown (D), or in mean variance (I), as a share."""
    return float(np.expm1((new - old) / task.size)) if task.moments is None else old / new - 1


def _polish_passes(task: Task) -> int:
    return int(np.clip(_POLISH_STEPS // (task.n_runs * len(task.candidates)), 3, 40))


def _finer_tasks(task: Task) -> list[Task]:
    """Return tasks with ever smaller moves for numbers without steps, every step for those with; none if all is straight."""
    factors = task.layout.coding.factors
    bent = [place for place, values in enumerate(task.candidates) if factors[place].is_numeric and len(values) > 2]
    if not bent:
        return []
    finer = list(task.candidates)
    for place in set(bent).difference(*task.tied):  # what is tied keeps the settings that go together
        finer[place] = np.array([float(value) for value in factors[place].grid(21)])
    smooth = [place for place in bent if factors[place].step is None and place not in task.groups]
    ranges = {place: factors[place].span for place in smooth}
    return [
        replace(
            task,
            candidates=tuple(finer),
            nudges={place: (size * (high - low) / 2, low, high) for place, (low, high) in ranges.items()},
        )
        for size in _NUDGES
    ]


def _rounded(task: Task, values: Array) -> Array:
    """Round numbers without steps to a thousandth of their half range, where the limits allow it."""
    rounded = values.copy()
    for place, factor in enumerate(task.layout.coding.factors):
        if factor.is_numeric and factor.step is None:
            low, high = factor.span
            unit = (high - low) / 2000
            rounded[..., place] = np.clip(low + np.round((values[..., place] - low) / unit) * unit, low, high)
    if task.allowed is not None:
        broken = ~task.allowed(rounded)
        rounded[broken] = values[broken]
    return rounded


def _mixing(layout: Layout, values: Array) -> Array:
    """Return the sum of squares of the alias matrix of the model against two-factor interactions, for each plan."""
    pairs = Layout(layout.coding, layout.coding.terms("two-factor"))
    model, others = layout.rows(values), pairs.rows(values)
    gram = model.transpose(0, 2, 1) @ model + 1e-9 * np.eye(layout.n_columns)
    alias = np.linalg.solve(gram, model.transpose(0, 2, 1) @ others)
    return np.asarray(np.einsum("spq,spq->s", alias, alias))


def draw_starts(region: Region, arrangement: Arrangement, count: int, rng: np.random.Generator) -> Array:
    """Draw plans at random that keep the limits, rebuild factors the same on each unit."""
    values = region.draw((count, arrangement.n_runs), rng)
    if not arrangement.shares_units:
        return values
    rebuild = [place for place, factor in enumerate(region.coding.factors) if factor.way == "rebuild"]
    limited = list(region.limited)
    shared = [limited.index(place) for place in rebuild if place in limited]
    for rows in arrangement.rows_of_units():
        values[:, rows[:, None], rebuild] = values[:, rows[:1, None], rebuild]
        if shared:
            values[:, rows[:, None], limited] = _alike(region.pool, shared, count, len(rows), rng)
    return values


def _alike(pool: Array, shared: list[int], count: int, n_rows: int, rng: np.random.Generator) -> Array:
    """Draw rows of the pool that agree in the columns `shared`, shape (count, n_rows, n_limited)."""
    _, key = np.unique(pool[:, shared], axis=0, return_inverse=True)
    key = np.asarray(key).reshape(-1)
    order = np.argsort(key, kind="stable")
    sizes = np.bincount(key)
    starts = np.cumsum(sizes) - sizes
    chosen = rng.integers(len(sizes), size=count)
    within = (rng.random((count, n_rows)) * sizes[chosen, None]).astype(np.intp)
    return np.asarray(pool[order[starts[chosen, None] + within]])


def _plant(task: Task, values: Array) -> None:
    """Put plans known to be good among the starts where every factor has two settings: orthogonal arrays, fractions."""
    n_runs, n_factors = values.shape[1:]
    if task.allowed is not None or task.groups or any(len(settings) != 2 for settings in task.candidates):
        return
    planted: list[Array] = []
    order = -(-n_runs // 4) * 4
    if n_factors < order <= LARGEST:
        planted.append(hadamard(order)[:n_runs, 1 : n_factors + 1].astype(float))
    if n_runs & (n_runs - 1) == 0 and 4 <= n_runs <= 128 and n_factors <= min(15, n_runs - 1):
        planted.append(fraction_columns(n_factors, n_runs))
    low, high = np.array([settings.tolist() for settings in task.candidates]).T
    for place, signs in enumerate(planted[: len(values)]):
        values[place] = np.where(signs > 0, high, low)
