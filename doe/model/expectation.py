"""What the maker expects a factor to do to an outcome."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from doe.model import wording
from doe.model.choices import Direction, choose
from doe.model.errors import UsageError, or_else
from doe.model.factor import Factor
from doe.model.given import check_each
from doe.model.numbers import finite
from doe.model.outcome import Outcome


@dataclass(frozen=True, slots=True)
class Expectation:
    """One thing the maker expects: a mild opinion, which a few clear readings overrule.

    Attributes
    ----------
    factor, outcome : str
        Which factor acts on which outcome.
    effect : {"raises", "lowers", "nothing"}
        What more of the factor does.
    size : float or None
        Change of the outcome over the factor's range that is expected, in its unit, without sign.
    note : str
        Why, for people.

    Raises
    ------
    UsageError
        If the effect is none of these, or the size is not above zero or does not belong.

    Examples
    --------
    >>> Expectation("wool", "echo", "lowers", size=1.0).sentence()
    'more wool lowers echo by about 1'
    >>> Expectation("tip_gap", "flow", "raises", size=20.0).sentence("l/min")
    'more tip gap raises flow by about 20 l/min'
    """

    factor: str
    outcome: str
    effect: Direction
    size: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        choose(f"What is expected of {self.factor}", self.effect, Direction)
        if self.size is None:
            return
        size = finite(f"The size expected of {self.factor}", self.size)
        object.__setattr__(self, "size", size)
        if self.effect == "nothing":
            raise UsageError(f"{self.factor} is expected to do nothing to {self.outcome}, so leave the size out.")
        if size <= 0:
            raise UsageError(f"The size expected of {self.factor} is {wording.exact(size)}; it must be above 0.")

    @property
    def name(self) -> str:
        """What it goes by."""
        return f"{self.factor} on {self.outcome}"

    def sentence(self, unit: str = "") -> str:
        """Say it as the maker would, the size in the outcome's unit."""
        factor, outcome = wording.spaced(self.factor), wording.spaced(self.outcome)
        if self.effect == "nothing":
            return f"{factor} does nothing to {outcome}"
        size = f" by about {wording.amount(self.size, unit)}" if self.size is not None else ""
        return f"more {factor} {self.effect} {outcome}{size}"


def unit_of(expectation: Expectation, outcomes: Iterable[Outcome]) -> str:
    """Return the unit that the size of an expectation is in; empty where its outcome has none."""
    return next((outcome.unit for outcome in outcomes if outcome.name == expectation.outcome), "")


def check_expectations(
    expectations: Iterable[Expectation], factors: Iterable[Factor], outcomes: Iterable[Outcome]
) -> None:
    """Check names, that a direction is expected only of what has one, and that nothing is expected twice.

    Raises
    ------
    UsageError
        On the first that is wrong.
    """
    check_each("expectations", expectations, Expectation)
    known = {factor.name: factor for factor in factors}
    judged = [outcome.name for outcome in outcomes]
    taken: set[str] = set()
    for item in expectations:
        if item.factor not in known:
            there = or_else(item.factor, known)
            raise UsageError(f"Something is expected of '{item.factor}', which is no factor{there}")
        if item.outcome not in judged:
            there = or_else(item.outcome, judged)
            raise UsageError(f"{item.factor} is expected to act on '{item.outcome}', which is no outcome{there}")
        if item.effect != "nothing" and known[item.factor].kind == "categorical":
            raise UsageError(
                f"{item.factor} has no order, so there is no more of it; only 'nothing' can be expected of it."
            )
        if item.name in taken:
            raise UsageError(f"What {item.factor} does to {item.outcome} is expected twice; keep one.")
        taken.add(item.name)
