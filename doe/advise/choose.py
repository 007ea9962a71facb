"""Choosing among the moves, one by one or several for one session."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.moves import (
    POWER,
    SHARE_COUNTED,
    Judged,
    Moves,
    after,
    build_moves,
    elsewhere,
    fitted,
    join,
    judge,
    reading_moves,
    without,
)
from doe.advise.nodes import normal_nodes
from doe.advise.question import Question
from doe.advise.reach import Reach
from doe.advise.situation import Situation, best_settings
from doe.model.effort import Effort
from doe.model.patience import checkpoint

Floats = npt.NDArray[np.floating[Any]]

N_NODES = 32

SHARE_TO_GO_ON = 0.1
"""Share of what matters that a further move of a session has to bring; below, nothing is left to do before readings are in."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One move chosen, and what it was chosen from.

    Attributes
    ----------
    moves : Moves
    judged : Judged
    minutes : ndarray of shape (n_moves,)
    place : int
        Of the chosen move.
    rate : ndarray of shape (n_moves,)
        Gain per minutes to a power.
    reach : Reach
        Starts as they are when the move is made.
    """

    moves: Moves
    judged: Judged
    minutes: Floats
    place: int
    rate: Floats
    reach: Reach


@dataclass(frozen=True, slots=True)
class Unread:
    """What a unit still shows, unread, before it is changed.

    Attributes
    ----------
    place : int
        Of the move that reads it as it stands.
    share : float
        What that is expected to bring, over what the change is.
    minutes : float
        That it takes more, in the same session.
    """

    place: int
    share: float
    minutes: float


@dataclass(frozen=True, slots=True)
class Session:
    """The moves of one session.

    Attributes
    ----------
    choices : list of Choice
        First to last.
    left_out : float or None
        What the best further move would have brought, in worth, where that was too little to go on; else None.
    unread : Unread or None
        What the last move takes away unread although reading it first would pay.
    is_short_of_time : bool
        Whether some moves did not fit the hours left.
    """

    choices: list[Choice]
    left_out: float | None = None
    unread: Unread | None = None
    is_short_of_time: bool = False


def exchange_rate(hours: float | None, typical_minutes: float) -> float:
    """Return what a unit of learning counts for beside a unit of improving.

    With n more moves of typical length in the hours left, ``n / (n + 4)``: learning pays only through later moves, so
    it is worth nothing for the last one and almost as much as improving when many are to come. Without a limit on
    hours n is taken as 12.
    """
    moves = 12.0 if hours is None else max(60.0 * hours / max(typical_minutes, 1.0) - 1.0, 0.0)
    return moves / (moves + 4.0)


def choose(question: Question, situation: Situation, rng: np.random.Generator) -> Session:
    """Choose moves one by one, each with what the ones before will have told in mind, while they bring anything."""
    belief, reach = situation.belief, situation.reach
    carried = dict(situation.carried)
    kept = belief.variant_worth() if belief.variants else np.zeros((belief.n_draws, 1))
    designs = situation.designs if belief.variants else kept
    promised = situation.promised
    nodes = normal_nodes(N_NODES, len(belief.outcomes))
    spent, unread, is_short_of_time = 0.0, None, False
    choices: list[Choice] = []
    built = build_moves(belief, reach, situation.codes, question.effort, carried, situation.best)
    read = reading_moves(belief, reach, question.effort, carried, len(question.factors))
    moves = join([built, read])
    for turn in range(question.count):
        checkpoint()
        moves = fitted(moves, question.effort, spent, question.most_minutes, is_new_session=turn == 0)
        minutes = moves.minutes(question.effort, is_new_session=turn == 0)
        fits = minutes + spent <= question.most_minutes
        is_short_of_time |= not fits.all()
        if not fits.any():
            break
        moves, minutes = moves.take(fits), minutes[fits]
        noise = belief.noise(moves.rounds, situation.log.raters)
        weights = _weights(question, minutes, spent)
        bar = best_settings(designs)
        brought = partial(judge, moves, kept=kept, promised=promised, noise=noise, weights=weights, nodes=nodes)
        judged = brought(bar=bar + SHARE_COUNTED * situation.matters)
        if not judged.value.any():  # nothing counts any more, so the least is better than nothing
            judged = brought(bar=bar)
        rate = judged.value / np.maximum(minutes, 1.0) ** POWER
        if turn:
            enough = judged.value >= SHARE_TO_GO_ON * situation.matters
            if not enough.any():
                return Session(choices, left_out=float(judged.value.max()))
            rate = np.where(enough, rate, -1.0)
        choice = Choice(moves, judged, minutes, int(rate.argmax()), rate, reach)
        unread = unread_before(choice, question.effort)
        if unread is not None and turn + 1 < question.count:
            choice, unread = replace(choice, place=unread.place), None
        choices.append(choice)
        spent += float(minutes[choice.place])
        if turn + 1 < question.count:
            moves, kept, designs, promised, reach = _assume_made(choices[-1], kept, designs, promised, noise, rng)
    return Session(choices, unread=unread, is_short_of_time=is_short_of_time)


def unread_before(choice: Choice, effort: Effort) -> Unread | None:
    """Find what the move would take away unread, if reading it first brings as much a minute; the session is begun anyhow."""
    moves, chosen, value = choice.moves, choice.place, choice.judged.value
    is_same_unit = (moves.start == moves.start[chosen]) & (moves.variant < 0)
    stands = is_same_unit & choice.reach.stands(moves.codes, moves.start)
    if moves.variant[chosen] >= 0 or stands[chosen] or not stands.any() or not value[chosen]:
        return None
    place = int(np.flatnonzero(stands)[0])
    minutes = moves.minutes(effort, is_new_session=False)[[place, chosen]]
    reading, change = value[[place, chosen]] / np.maximum(minutes, 1.0) ** POWER
    return Unread(place, float(value[place] / value[chosen]), float(minutes[0])) if reading >= change else None


def _weights(question: Question, minutes: Floats, spent: float) -> tuple[float, float]:
    """Weigh improving and learning."""
    if question.only is not None:
        return (1.0, 0.0) if question.only == "improve" else (0.0, 1.0)
    left = None if question.hours is None else question.hours - spent / 60.0
    return 1.0, exchange_rate(left, float(np.median(minutes)))


def _assume_made(
    choice: Choice, kept: Floats, designs: Floats, promised: Floats, noise: Floats, rng: np.random.Generator
) -> tuple[Moves, Floats, Floats, Floats, Reach]:
    """Look at the rest as if the chosen move were made and read, whatever its readings say."""
    moves, place = choice.moves, choice.place
    if moves.variant[place] < 0:
        kept, designs = (np.hstack([worths, moves.worth[:, [place]]]) for worths in (kept, designs))
    arrays = [kept, designs, promised, moves.worth, *moves.values]
    chosen = [value[:, place] for value in moves.values]
    kept, designs, promised, worth, *values = after(arrays, chosen, noise[:, place], rng)
    moves = replace(moves, values=tuple(values), worth=worth)
    start = int(moves.start[place])
    reach = choice.reach
    moves = moves.take(np.arange(len(moves)) != place)
    if choice.moves.variant[place] < 0:
        is_changed, reach = reach.starts[start] is not None, reach.built(start, choice.moves.codes[place])
        moves = _moved(reach, without(moves, start)) if is_changed else moves
        moves = _priced(reach, moves)
    return moves, kept, designs, promised, reach


def _moved(reach: Reach, moves: Moves) -> Moves:
    """Return moves once a unit stands at other settings."""
    builds = moves.variant < 0
    minutes, _, starts = reach.cheapest(moves.codes)
    for place in np.flatnonzero(moves.is_confirmation):  # its own unit stands so, and is the cheapest
        minutes[place], _, starts[place] = elsewhere(reach, moves.codes[place]) or (math.inf, 0.0, 0)
    moves = replace(
        moves,
        build_minutes=np.where(builds, minutes, moves.build_minutes),
        start=np.where(builds, starts, moves.start),
    )
    return moves.take(~builds | (np.isfinite(minutes) & ~reach.stands(moves.codes, starts)))


def _priced(reach: Reach, moves: Moves) -> Moves:
    """Return moves at the prices of now: a level that the session has paid for is there."""
    price = moves.price.copy()
    for start, tables in enumerate(reach.tables):
        mine = (moves.start == start) & (moves.variant < 0)
        price[mine] = tables.total(moves.codes[mine])[1]
    return replace(moves, price=price)
