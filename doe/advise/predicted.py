"""What a suggestion's readings are expected to be, and which reading would speak against it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from doe.advise.choose import Choice
from doe.advise.question import Question
from doe.advise.situation import Situation
from doe.advise.standing import told_worth
from doe.advise.track import HALF_WIDTH
from doe.model import wording
from doe.model.outcome import Outcome

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.floating[Any]]

_SHARE_OF_SWAY = 0.5
"""Of the correlation with worth that the foremost outcome has; those below say too little of a suggestion."""


@dataclass(frozen=True, slots=True)
class Predicted:
    """The mean of the readings of one outcome that a suggestion asks for.

    Attributes
    ----------
    outcome : Outcome
    mean, low, high : float
        With the ends of the 95 % interval.
    widened : float
        Times that a track record has the interval widened.
    readings : int
    reading_sd : float
        Scatter of one.
    sway : float
        Correlation with the worth of the choice, over possible worlds.
    """

    outcome: Outcome
    mean: float
    low: float
    high: float
    widened: float
    readings: int
    reading_sd: float
    sway: float


def expected(situation: Situation, choice: Choice) -> tuple[list[Floats], Floats]:
    """Return what a choice is expected to be: values of each outcome and worth, world by world, shape (n_draws,) each.

    A build is told as the readings have it (`Situation.plain`). That goals are within reach is a reason to search, and moves
    are judged so; but a build picked by that hope comes out below it.
    """
    moves, place = choice.moves, choice.place
    if moves.variant[place] >= 0:
        return [value[:, place] for value in moves.values], moves.worth[:, place]
    belief = situation.plain
    means = belief.values_on(moves.codes[[place]], choice.reach.unit_names, moves.start[[place]])
    return [value[:, 0] for value in belief.as_built(means)], belief.design_worth(means)[:, 0]


def worth_expected(situation: Situation, choice: Choice) -> tuple[float, float, float]:
    """Return the worth to expect of a choice, and the ends of its 95 % interval: of a build as it will be, luck included."""
    variant = choice.moves.variant[choice.place]
    if variant >= 0:
        told, low, high = (float(column[variant]) for column in told_worth(situation.belief))
        return told, low, high
    values, worth = expected(situation, choice)
    told = float(worth.mean())
    low, high = np.quantile(situation.belief.worth(values), [0.025, 0.975])
    return told, min(float(low), told), max(float(high), told)


def predicted(question: Question, situation: Situation, choice: Choice) -> list[Predicted]:
    """Predict what will be read of a choice, outcome by outcome: belief, build, session and readings have their scatter."""
    belief, place, told = situation.belief, choice.place, []
    rounds = choice.moves.rounds[[place]]
    noise = belief.noise(rounds, situation.log.raters)[:, 0]
    values, worth = expected(situation, choice)
    for outcome, draws, drawn, var in zip(belief.outcomes, belief.draws, values, noise, strict=True):
        widened = float(question.widen.get(outcome.name, 1.0))
        half = HALF_WIDTH * math.sqrt(drawn.var() + var + draws.session_sd**2) * widened
        mean, readings = float(drawn.mean()), int(rounds[0]) * situation.log.raters.get(outcome.name, 1)
        reading_sd = math.sqrt(var * readings)
        sway = _sway(drawn, worth)
        told.append(Predicted(outcome, mean, mean - half, mean + half, widened, readings, reading_sd, sway))
    return told


def predictions_frame(told: Sequence[Sequence[Predicted]]) -> pd.DataFrame:
    """Return what is predicted of each choice, with its ``place`` from 1."""
    import pandas as pd

    rows = [
        (turn, one.outcome.name, one.mean, one.low, one.high, one.widened, one.readings, one.reading_sd)
        for turn, of_choice in enumerate(told, start=1)
        for one in of_choice
    ]
    columns = ["place", "outcome", "mean", "low", "high", "widened", "readings", "reading_sd"]
    return pd.DataFrame(rows, columns=columns)


def would_change(told: Sequence[Predicted]) -> str:
    """Say which reading would speak against a choice: one beyond the 95 % interval, on the side that worth falls to.

    Of the outcome that sways the worth most, or of one that sways it half as much where the scale has no such grade. No
    single comparison shows where an ability lies, so compared outcomes say nothing.
    """
    foremost = sorted(told, key=lambda one: -abs(one.sway))
    for one in foremost:
        outcome, is_rising = one.outcome, one.sway >= 0
        edge = one.low if is_rising else one.high
        can_come = outcome.on_scale(edge) == edge
        if abs(one.sway) < _SHARE_OF_SWAY * abs(foremost[0].sway):
            break
        if can_come and outcome.kind != "compared":
            average = " on average" if one.readings > 1 else ""
            read = f"read {'below' if is_rising else 'above'} {_edge_told(outcome, edge)}"
            return f"{wording.spaced(outcome.name)} {read}{average}, beyond the 95 % expected, would speak against it"
    return ""


def _edge_told(outcome: Outcome, edge: float) -> str:
    told = wording.amount(edge, outcome.unit)
    if outcome.relative_to is None:
        return told
    return f"{'+' if edge > 0 else ''}{told} relative to {outcome.relative_to}"


def _sway(values: Floats, worth: Floats) -> float:
    """Return the correlation of an outcome with the worth, over possible worlds."""
    moving = values.std() > 0 and worth.std() > 0
    return float(np.corrcoef(values, worth)[0, 1]) if moving else 0.0
