"""The next change: of all moves within reach, the one worth most per bench minute, with its reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from doe.advise.advice import Advice
from doe.advise.choose import choose
from doe.advise.present import make_advice
from doe.advise.question import Only, ask
from doe.advise.situation import look
from doe.model.effort import Effort
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.records import Unit
from doe.model.threads import one_thread

if TYPE_CHECKING:
    import pandas as pd


@one_thread()
def recommend(
    readings: pd.DataFrame | None,
    factors: Sequence[Factor],
    outcomes: Sequence[Outcome],
    *,
    units: pd.DataFrame | Sequence[Unit] | None = None,
    effort: Effort | None = None,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    count: int = 1,
    hours: float | None = None,
    only: Only | None = None,
    unit: str | None = None,
    seed: int = 1,
    expectations: Sequence[Expectation] = (),
    widen: Mapping[str, float] | None = None,
    terms: Mapping[str, Sequence[str]] | None = None,
) -> Advice:
    """Recommend what to build or read next.

    Parameters
    ----------
    readings : DataFrame or None
        One row per reading: ``variant, outcome, value``, optional ``session, rater, order, unit``, one column per
        factor.
    factors : sequence of Factor
    outcomes : sequence of Outcome
        Those without a goal take no part.
    units : DataFrame or sequence of Unit, optional
        Physical units with their present state; by default what the readings say was read last on each.
    effort : Effort, optional
        Minutes and money outside the factors.
    limits : sequence of Limit
        Rules that every suggestion keeps.
    derived : sequence of Derived
        Quantities that limits or terms use.
    count : int
        Suggestions wanted, chosen together for one session; fewer are made where a further one would bring next to nothing.
    hours : float, optional
        Bench hours left. With few left, learning counts less; what does not fit is left out.
    only : {"improve", "learn"}, optional
        Look at one side of a move only.
    unit : str, optional
        Work on this unit only; ``"new"`` for a new one.
    seed : int
        Of the posterior draws; the same seed gives the same advice.
    expectations : sequence of Expectation
        What the maker expects of some factors: a mild prior, named in the notes, overruled by readings.
    widen : mapping of outcome name to float, optional
        Factors for the width of predictions, as a track record asks for them (`doe.advise.track`).
    terms : mapping of outcome name to sequence of str, optional
        The terms that matter to an outcome, where that is known for sure, from physics say; by default all may.

    Returns
    -------
    Advice

    Raises
    ------
    UsageError
        If no outcome has a goal, a unit does not exist, or an argument is out of its range.
    DataError
        If the readings do not fit the factors, or the limits contradict each other.
    """
    question = ask(
        factors, outcomes, effort=effort, limits=limits, derived=derived, count=count, hours=hours, only=only, unit=unit,
        seed=seed, expect=expectations, widen=widen, terms=terms,
    )  # fmt: skip
    rng = np.random.default_rng(seed)
    situation = look(question, readings, units, rng)
    return make_advice(question, situation, choose(question, situation, rng))
