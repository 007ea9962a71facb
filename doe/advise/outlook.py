"""What a chosen move is for, and the chance that it beats the best so far."""

from __future__ import annotations

import numpy as np

from doe.advise.belief import AT_ONCE
from doe.advise.choose import Choice
from doe.advise.predicted import expected
from doe.advise.situation import Situation
from doe.advise.standing import with_room


def move_kind(situation: Situation, choice: Choice) -> str:
    """Return what a move is for: what it is by nature, or its larger part.

    A build that is not expected to be better than the best one is made to learn from, however much could be hoped for it.
    """
    place = choice.place
    if not situation.has_readings:
        return "learn"
    if choice.moves.variant[place] >= 0:
        return "repeat"
    if choice.moves.is_confirmation[place]:
        return "confirm"
    told = float(expected(situation, choice)[1].mean())
    is_better = told > float(situation.belief.variant_worth()[:, situation.best].mean())
    return "improve" if is_better and choice.judged.is_mainly_improving[place] else "learn"


def is_any_better(situation: Situation, choice: Choice) -> bool:
    """Tell whether any build that was compared is expected to be better than the best so far, of which there is one."""
    moves = choice.moves
    builds = np.flatnonzero(moves.variant < 0)
    best = situation.belief.variant_worth()[:, situation.best].mean()
    for start in range(0, len(builds), AT_ONCE):
        block = builds[start : start + AT_ONCE]
        values = situation.plain.values_on(moves.codes[block], choice.reach.unit_names, moves.start[block])
        if (situation.plain.design_worth(values).mean(axis=0) > best).any():
            return True
    return False


def chance_better(situation: Situation, choice: Choice) -> float:
    """Return the chance that the move's variant, as it will be built, is better than the best one.

    Both have the room that worth is told with (`standing.ROOM`). Without it, of builds told to be better with 0.6 and with
    0.81 half were on tuning benches (seeds 900 to 915), and of those told 0.02 one in ten.
    """
    best, place, belief = situation.best, choice.place, situation.belief
    if best is None:
        return 1.0
    if choice.moves.variant[place] == best:
        return 0.0
    pairs = [
        np.stack([new[:, place], old[:, best]], axis=1)
        for new, old in zip(choice.moves.values, belief.variant_values, strict=True)
    ]
    worth = belief.worth(with_room(pairs))
    return float(np.mean(worth[:, 0] > worth[:, 1]))
