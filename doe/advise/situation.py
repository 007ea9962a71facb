"""What is known and possible now: the log, the belief, what is within reach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from doe.advise.acting import related
from doe.advise.belief import Belief, make_belief
from doe.advise.effort import bought_levels
from doe.advise.expect import notes_on, weigh
from doe.advise.hope import hope, picked, sampled
from doe.advise.log import Log, check_unit, read_log
from doe.advise.moves import POWER, SHARE_COUNTED
from doe.advise.opinion import own_values, posterior_draws
from doe.advise.prior import FullDraws, anchored_draws, completed, prior_draws
from doe.advise.question import Question
from doe.advise.reach import Reach, check_limits, reach_from, settings_of
from doe.advise.screen import shortlist
from doe.advise.space import Codes, Space, make_space, usable_as_terms
from doe.advise.worth import worth_that_matters
from doe.coding import Coding
from doe.model.errors import DataError, FitError
from doe.model.outcome import Outcome
from doe.model.patience import checkpoint
from doe.model.records import Unit

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.floating[Any]]

N_DRAWS = 320
"""Possible worlds that moves are judged by."""

FIRST_DRAWS = 1280
"""Worlds drawn, from which those are picked."""


@dataclass(frozen=True, slots=True)
class Situation:
    """What is known and possible now.

    Attributes
    ----------
    log : Log
    belief : Belief
        What moves are judged by: goals are hoped to be within reach (`hope`).
    plain : Belief
        The same without that hope: what is told of builds.
    reach : Reach
    carried : mapping of int to int
        Start -> variant it carries, by their places.
    best : int or None
        Place of the best variant, as believed, among those read in every outcome that was read at all.
    designs : ndarray of shape (n_draws, n_variants)
        Worth to expect of the variants' settings, built once more on the same units.
    matters : float
        Change of worth that matters, near the best variant; 0 without a reading.
    codes, promising : ndarray of shape (n_variants, n_factors)
        Builds to compare closely; builds that are best in some possible world.
    promised : ndarray of shape (n_draws, n_promising)
        Worth of the latter.
    cheapest_minutes : float
        Of building anything, whatever the hours left; infinite where nothing is within reach.
    expected : tuple of str
        What the maker expected, and how it is believed now.
    """

    log: Log
    belief: Belief
    plain: Belief
    reach: Reach
    carried: Mapping[int, int]
    best: int | None
    designs: Floats
    matters: float
    codes: Codes
    promising: Codes
    promised: Floats
    cheapest_minutes: float
    expected: tuple[str, ...]

    @property
    def has_readings(self) -> bool:
        """Whether any variant was read in an outcome with a goal."""
        return self.best is not None


def look(
    question: Question,
    readings: pd.DataFrame | None,
    units: pd.DataFrame | Sequence[Unit] | None,
    rng: np.random.Generator,
) -> Situation:
    """Read the log, form the belief and find what is within reach.

    Raises
    ------
    UsageError
        If the unit asked for does not exist.
    DataError
        If the readings do not fit the factors, the limits contradict each other, or a term that is said to matter has no
        number at some settings that keep them.
    """
    log = read_log(readings, question.factors, units)
    check_unit(question.unit, log.units)
    seen = [*log.variants.values(), *settings_of(log.units)]
    coding = Coding(question.factors, usable_as_terms(question.derived, question.factors))
    space = make_space(coding, seen, question.limits, question.derived)
    check_limits(space)
    _check_terms(question, space)
    belief, plain, expected = _believe(question, readings, space, log, rng)
    best = _best(belief)
    bought = bought_levels(question.factors, seen)
    holder = next(
        (unit.name for unit in log.units if best is not None and log.carried(unit) == belief.variants[best]), None
    )
    reach = reach_from(space, log.units, question.effort, bought, only_unit=question.unit, last_choice=holder)
    carried = _carried(log, reach, belief)
    designs, matters = _designs(belief, log), 0.0
    bar: Floats = np.zeros(belief.n_draws)
    if best is not None:
        matters = worth_that_matters(
            belief.outcomes, [float(values[:, best].mean()) for values in belief.variant_values]
        )
        bar = best_settings(designs) + SHARE_COUNTED * matters
    found = shortlist(
        belief, reach, question.effort, bar, carried, most_minutes=question.most_minutes, power=POWER, rng=rng
    )
    codes = with_unread(found.codes, reach, carried) if best is not None else found.codes
    promised: Floats = np.empty((belief.n_draws, 0))
    if len(found.promising):
        start = reach.cheapest(found.promising)[2]
        promised = belief.design_worth(belief.values_on(found.promising, reach.unit_names, start))
    return Situation(
        log, belief, plain, reach, carried, best, designs, matters, codes, found.promising, promised, found.cheapest_minutes,
        expected,
    )  # fmt: skip


def _check_terms(question: Question, space: Space) -> None:
    """Check that derived quantities among the terms said to matter can be computed wherever the limits are kept."""
    derived = {quantity.name for quantity in space.coding.derived}
    known = [question.known_terms(outcome, space.coding) or () for outcome in question.outcomes]
    terms = [term for some in known for term in some if not derived.isdisjoint(term.factors)]
    if not terms:
        return
    codes = sampled(space, np.random.default_rng(question.seed))
    for term in terms:
        if not np.isfinite(space.matrix(codes, (term,))).all():
            raise DataError(f"Term {term.name} cannot be computed for some settings; set a limit that rules them out.")


def _believe(
    question: Question, readings: pd.DataFrame | None, space: Space, log: Log, rng: np.random.Generator
) -> tuple[Belief, Belief, tuple[str, ...]]:
    """Return the belief that is chosen by, the plain one that is told, and what became of what the maker expected."""
    outcomes, draws = _draws(question, readings, space, log, rng)
    checkpoint()
    if not question.terms:  # else it is known what acts on which outcome
        draws = related(draws, space.coding, rng)
    hoped = hope(outcomes, draws, space, rng)
    weighed = weigh(question.expect, outcomes, draws, hoped)
    own = np.random.default_rng(question.seed)  # so that what is told changes nothing in what is chosen
    unhoped = picked(draws, weighed.log_weight - hoped, FIRST_DRAWS, own)
    read = log.variants if draws[0].variants else {}  # else in outcomes without a goal alone
    plain = make_belief(outcomes, unhoped, space, read, log.homes, own)
    draws = picked(draws, weighed.log_weight, N_DRAWS, rng)
    belief = make_belief(outcomes, draws, space, read, log.homes, rng)
    return belief, plain, notes_on(question.expect, outcomes, draws, weighed.overruled, question.units)


def _best(belief: Belief) -> int | None:
    """Return the place of the variant to keep; None without any."""
    return belief.best_place(belief.variant_worth().mean(axis=0)) if belief.variants else None


def with_unread(codes: Codes, reach: Reach, carried: Mapping[int, int]) -> Codes:
    """Add what units stand at that nobody has read: it takes no building, and is gone with the next change."""
    unread = [unit for start, unit in enumerate(reach.starts) if unit is not None and start not in carried]
    states = np.array([reach.space.code(unit.settings) for unit in unread], dtype=np.intp).reshape(-1, codes.shape[1])
    states = states[reach.space.allowed(states)]
    is_new = ~(states[:, None, :] == codes[None, :, :]).all(axis=2).any(axis=1)
    return np.vstack([codes, np.unique(states[is_new], axis=0)])


def best_settings(designs: Floats) -> Floats:
    """Return the worth of the settings believed to be best, world by world, shape (n_draws,).

    They need not be those of the best variant: that one may have been lucky, and others than its are there already.
    """
    best: Floats = designs[:, int(designs.mean(axis=0).argmax())]
    return best


def _draws(
    question: Question,
    readings: pd.DataFrame | None,
    space: Space,
    log: Log,
    rng: np.random.Generator,
) -> tuple[tuple[Outcome, ...], tuple[FullDraws, ...]]:
    """Return the outcomes that have been read with their posterior draws; without any reading, prior draws of all."""
    chosen = tuple(outcome for outcome in question.outcomes if outcome.name in log.outcomes)
    if not chosen or readings is None:
        every = [(outcome, question.known_terms(outcome, space.coding)) for outcome in question.outcomes]
        return question.outcomes, tuple(prior_draws(one, space.coding, FIRST_DRAWS, rng, known) for one, known in every)
    found = [_posterior(question, readings, outcome, space, log, rng) for outcome in chosen]
    return chosen, tuple(found)


def _posterior(
    question: Question,
    readings: pd.DataFrame,
    outcome: Outcome,
    space: Space,
    log: Log,
    rng: np.random.Generator,
) -> FullDraws:
    """Return draws of one outcome over all terms; where effects cannot be told yet, the prior held to what was read."""
    checkpoint()
    known = question.known_terms(outcome, space.coding)
    derived = () if known is None else space.coding.derived
    try:
        draws = posterior_draws(readings, question.factors, outcome, FIRST_DRAWS, rng, known, derived)
        return completed(draws, outcome, space, log.variants, rng, known)
    except FitError:
        mine = readings[(readings["outcome"].astype(str) == outcome.name) & readings["value"].notna()]
        prior = prior_draws(outcome, space.coding, FIRST_DRAWS, rng, known)
        own = own_values(mine, question.factors, outcome, log.variants, prior.reading_sd, rng)
        return anchored_draws(prior, own, space, log.variants, rng)


def _designs(belief: Belief, log: Log) -> Floats:
    """Return the worth to expect of every variant's settings on the unit it was read on."""
    homes = [log.homes.get(name) for name in belief.variants]
    units = tuple(dict.fromkeys(homes))
    which = np.array([units.index(home) for home in homes], dtype=np.intp)
    return belief.design_worth(belief.values_on(belief.variant_codes, units, which))


def _carried(log: Log, reach: Reach, belief: Belief) -> dict[int, int]:
    place = {name: where for where, name in enumerate(belief.variants)}
    found = {}
    for start, unit in enumerate(reach.starts):
        variant = log.carried(unit) if unit is not None else None
        if variant is not None and variant in place:
            found[start] = place[variant]
    return found
