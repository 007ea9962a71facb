"""Looking one move further: what a move is worth as the first of two.

A move that opens a way, or tells which of two rebuilds to spend a day on, may be worth little by itself. So each of the
leading moves is followed by what would be done next: over the readings that it may bring, what is believed afterwards and
what the next build takes from where the unit then stands. What is counted is the improvement to hope for from the two builds
together, over the minutes of both (a rollout of one step: Bertsekas, D. P. (2017). Dynamic Programming and Optimal Control,
vol. I, 4th ed., section 6.4). Learning is thus counted by what the next build gains from it, and for nothing where no second
build fits the hours left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.effort import Passages, passages
from doe.advise.moves import Moves
from doe.advise.nodes import normal_nodes
from doe.advise.reach import Reach
from doe.model.effort import Effort
from doe.model.patience import checkpoint

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.intp]

N_READINGS = 32
"""Readings that each move is imagined to bring."""

DOUBT = 0.15
"""Share of a value's variance added to that of its readings: a few hundred worlds must not be told apart by one reading."""

CLOSED_OFF = 0.5
"""What a minute more on the way to the variants hoped for counts for beside a minute spent now."""

LEAST_SHARE = 0.3
"""Least share of a move's own minutes that it is counted with, however much nearer it leads."""

LOST = 480.0
"""Minutes counted for a variant hoped for that nothing reaches any more: a bench day."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """The bench as it would be after each of some moves.

    Attributes
    ----------
    moves : Moves
    minutes : ndarray of shape (n_moves,)
        Of each move now.
    next_minutes : ndarray of shape (n_moves,)
        What a session with these readings adds to building each later.
    reach : Reach
    ways : Passages
    most_minutes : float
        Bench minutes left.
    power : float
        Gain is divided by minutes to this power.
    """

    moves: Moves
    minutes: Floats
    next_minutes: Floats
    reach: Reach
    ways: Passages
    most_minutes: float
    power: float

    def worth_doing(self, best: Floats, noise: Floats, counted: Floats, which: Ints) -> Floats:
        """Return the gain per minutes to a power of some moves, each with the best that may follow it.

        Parameters
        ----------
        best : ndarray of shape (n_draws, 1)
            Worth of the best variant as believed now.
        noise : ndarray of shape (n_outcomes, n_moves)
            Variance of the readings of each move.
        counted : ndarray of shape (n_moves,)
            Minutes that each move is counted with (`with_detours`).
        which : ndarray of shape (n_which,)
            Places of the moves.

        Returns
        -------
        ndarray of shape (n_which,)
        """
        built = self.moves.variant < 0
        hoped = np.where(built, np.maximum(self.moves.worth - best, 0.0), 0.0).astype(np.float32)
        later = self._minutes_after(which, self.moves.codes)
        later = np.where(built & (later > 0), later + self.next_minutes, np.inf)
        later = np.where(self.minutes[which, None] + later <= self.most_minutes, later, np.inf)
        result = np.empty(len(which))
        for place, move in enumerate(which):
            checkpoint()
            believed = self._believed_after(int(move), noise[:, move])
            both = believed @ np.maximum(hoped, hoped[:, [move]])
            alone = believed @ hoped[:, move] / counted[move] ** self.power
            rates = both / (counted[move] + later[place]) ** self.power
            result[place] = np.maximum(rates.max(axis=1), alone).mean()
        return result

    def with_detours(self, kept: Floats, promised: Floats, promising: Ints) -> Floats:
        """Return the minutes that each move is counted with: its own, and part of those that it costs or saves later.

        A one-way change on the only unit may close off all that is hoped for; a build may bring it near.

        Parameters
        ----------
        kept : ndarray of shape (n_draws, n_kept)
            Worth of the variants that exist.
        promised : ndarray of shape (n_draws, n_promised)
            Worth of variants that could be built later.
        promising : ndarray of shape (n_promised, n_factors)
            Their codes.
        """
        if not len(promising):
            return self.minutes
        better = promised.max(axis=1) > kept.max(axis=1)
        chances = np.bincount(promised.argmax(axis=1)[better], minlength=len(promising)) / len(promised)
        now = self.reach.cheapest(promising)[0]
        hoped = np.flatnonzero((chances > 0) & np.isfinite(now))
        after = self._minutes_after(np.arange(len(self.moves)), promising[hoped])
        extra = np.where(np.isfinite(after), after - now[hoped], LOST) @ chances[hoped]
        extra[self.moves.variant >= 0] = 0.0
        counted: Floats = np.maximum(self.minutes + CLOSED_OFF * extra, LEAST_SHARE * self.minutes)
        return counted

    def _minutes_after(self, which: Ints, codes: Ints) -> Floats:
        """Return the minutes to build variants once a move is made, shape (n_which, n_variants)."""
        moves, starts = self.moves, self.reach.starts
        each = np.stack([tables.total(codes)[0] for tables in self.reach.tables])
        result = np.empty((len(which), len(codes)))
        for start in np.unique(moves.start[which]):
            mine = moves.start[which] == start
            others = each if starts[start] is None else np.delete(each, start, axis=0)
            result[mine] = others.min(axis=0, initial=np.inf)
        builds = moves.variant[which] < 0
        result[~builds] = each.min(axis=0)
        near = self.ways.between(moves.codes[which[builds]], codes)
        result[builds] = np.minimum(result[builds], near)
        return result

    def _believed_after(self, move: int, noise: Floats) -> Floats:
        """Return what each world would weigh after each imagined reading of a move, shape (n_readings, n_draws)."""
        values = np.stack([value[:, move] for value in self.moves.values], axis=1).astype(float)
        nodes = normal_nodes(N_READINGS // 2, values.shape[1])
        true = values[: len(nodes)]
        seen = true + np.sqrt(noise) * nodes[: len(true)]
        scale = np.sqrt(noise + DOUBT * values.var(axis=0) + 1e-18)
        scaled = values / scale
        fit = (seen / scale) @ scaled.T - 0.5 * (scaled**2).sum(axis=1)
        weights = np.exp(fit - fit.max(axis=1, keepdims=True)).astype(np.float32)
        result: Floats = weights / weights.sum(axis=1, keepdims=True)
        return result


def look_ahead(moves: Moves, minutes: Floats, reach: Reach, effort: Effort, most_minutes: float, power: float) -> Ahead:
    """Prepare to look one move further.

    Parameters
    ----------
    moves : Moves
        What competes; what is built next is one of them too.
    minutes : ndarray of shape (n_moves,)
        Of each move now.
    reach : Reach
    effort : Effort
    most_minutes : float
        Bench minutes left.
    power : float
        Gain is divided by minutes to this power.
    """
    later = effort.session_minutes + moves.rounds * effort.reading_minutes
    return Ahead(moves, minutes, later, reach, passages(reach.space.factors, reach.space.values), most_minutes, power)
