"""What is asked of the advice, checked before anything is computed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from doe.advise.worth import goal_outcomes
from doe.coding import Coding, Term
from doe.model.effort import Effort
from doe.model.errors import UsageError, did_you_mean, or_else
from doe.model.expectation import Expectation, check_expectations
from doe.model.factor import Factor
from doe.model.given import as_mapping, check_each, check_number, check_one, check_whole
from doe.model.limit import Derived, Limit, check_rules
from doe.model.numbers import minutes_in
from doe.model.outcome import Outcome
from doe.model.wording import exact

Only = Literal["improve", "learn"]

MOST_SUGGESTIONS = 20


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, checked.

    Attributes
    ----------
    factors, outcomes : tuple
        All factors; the outcomes that take part in worth.
    without_goal : tuple of str
        Names of those that have no goal.
    effort : Effort
    limits, derived : tuple
    count : int
        Suggestions wanted, for one session.
    hours : float or None
        Bench hours left.
    only : {"improve", "learn"} or None
    unit : str or None
        The only unit to work on.
    seed : int
    expect : tuple of Expectation
        What the maker expects.
    widen : mapping of str to float
        Outcome -> factor for the width of predictions.
    terms : mapping of str to sequence of str
        Outcome -> the terms that matter, where that is known.
    units : mapping of str to str
        Outcome -> unit, of those without a goal too.
    """

    factors: tuple[Factor, ...]
    outcomes: tuple[Outcome, ...]
    without_goal: tuple[str, ...]
    effort: Effort
    limits: tuple[Limit, ...]
    derived: tuple[Derived, ...]
    count: int
    hours: float | None
    only: Only | None
    unit: str | None
    seed: int
    expect: tuple[Expectation, ...]
    widen: Mapping[str, float]
    terms: Mapping[str, Sequence[str]]
    units: Mapping[str, str]

    def known_terms(self, outcome: Outcome, coding: Coding) -> tuple[Term, ...] | None:
        """Return the terms that matter to an outcome, or None where that is to be found out."""
        return coding.terms(self.terms[outcome.name]) if outcome.name in self.terms else None

    @property
    def most_minutes(self) -> float:
        """Bench minutes left, without end where nothing was said."""
        return float("inf") if self.hours is None else minutes_in(self.hours)


def ask(
    factors: Sequence[Factor],
    outcomes: Sequence[Outcome],
    *,
    effort: Effort | None = None,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    count: int = 1,
    hours: float | None = None,
    only: Only | None = None,
    unit: str | None = None,
    seed: int = 1,
    expect: Sequence[Expectation] = (),
    widen: Mapping[str, float] | None = None,
    terms: Mapping[str, Sequence[str]] | None = None,
) -> Question:
    """Check the arguments of `doe.advise.recommend`.

    Raises
    ------
    UsageError
        If there is no factor or no goal, a rule or an expectation uses an unknown name, or an argument is out of its range.
    """
    check_each("factors", factors, Factor)
    check_each("outcomes", outcomes, Outcome)
    if not factors:
        raise UsageError("There are no factors yet; define what can be changed first.")
    check_rules(factors, limits, derived)
    check_expectations(expect, factors, outcomes)
    seed, count = check_whole("seed", seed), check_whole("count", count, 1, MOST_SUGGESTIONS)
    if effort is not None:
        check_one("effort", effort, Effort)
    _check_wishes(hours, only)
    widen, terms = as_mapping("widen", widen or {}), as_mapping("terms", terms or {})
    _check_outcomes(widen, terms, [outcome.name for outcome in outcomes])
    without_goal = tuple(outcome.name for outcome in outcomes if outcome.goal is None)
    return Question(
        tuple(factors), goal_outcomes(outcomes), without_goal, effort or Effort(), tuple(limits), tuple(derived), count,
        hours, only, unit, seed, tuple(expect), widen, terms,
        {outcome.name: outcome.unit for outcome in outcomes},
    )  # fmt: skip


def _check_wishes(hours: float | None, only: str | None) -> None:
    if hours is not None:
        check_number("hours", hours)
        if not 0 < hours < float("inf"):
            raise UsageError(f"hours is {exact(hours)}; it must be a number above 0.")
    if only not in (None, "improve", "learn"):
        raise UsageError(
            f"only is '{only}'; it must be improve or learn.{did_you_mean(str(only), ('improve', 'learn'))}"
        )


def _check_outcomes(widen: Mapping[str, float], terms: Mapping[str, Sequence[str]], known: Sequence[str]) -> None:
    for name, times in widen.items():
        check_number(f"widen of {name}", times)
        if not 0 < times < float("inf"):
            raise UsageError(f"widen of {name} is {exact(times)}; it must be a number above 0.")
    for name in {**widen, **terms}:
        if name not in known:
            raise UsageError(f"'{name}' is no outcome of this project{or_else(name, known)}")
