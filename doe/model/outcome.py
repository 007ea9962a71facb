"""An outcome: one thing the prototype is judged by."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from doe.model.choices import Goal, OutcomeKind, choose
from doe.model.errors import DataError, UsageError, listed, shown
from doe.model.given import check_text
from doe.model.names import COLUMNS, check_name
from doe.model.numbers import finite, is_missing, not_negative, read_number, without_unit
from doe.model.wording import Column, column_of, exact, with_interval

_FIELDS = {"raise": ("best",), "lower": ("best",), "hit": ("target",), "within": ("low", "high")}
_COMPARISONS = {"first": 1.0, "second": 0.0, "tie": 0.5}

MOST_READ = 1e30
"""Largest reading: squares of what is larger run out of what a computer holds, and no unit of measure asks for it."""

GOAL_FIELDS = ("best", "target", "low", "high", "worst")
"""Fields that say what would be good; which of them may be there depends on the goal."""


def fits_goal(name: str, goal: str | None) -> bool:
    """Tell whether a field of `GOAL_FIELDS` has a meaning with a goal."""
    return goal is not None and name in ("worst", *_FIELDS.get(goal, ()))


_ABILITY = "where 0 is a usual variant, and 1 more wins 73 % of comparisons, 2 more 88 %"
"""What the values of a compared outcome mean: the share won is the logistic function of the difference (`doe.fit.paired`)."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is judged, and what would be good.

    Attributes
    ----------
    name : str
        Letters, digits and underscores.
    kind : {"measured", "rated", "compared"}
        A number from an instrument, a grade on a scale, or which of two variants is better.
    unit : str
        Unit of measure, for people.
    goal : {"raise", "lower", "hit", "within"} or None
        What would be better; without a goal the outcome is analysed but takes no part in worth.
    best : float or None
        Goals raise and lower: the value beyond which more is not worth anything more. Where a rated outcome says nothing,
        best and worst are the ends of its scale, or of the differences that the scale allows.
    worst : float, pair of float or None
        The value at which the outcome is worth nothing. For ``hit`` and ``within`` a single value counts on both
        sides, at the same distance; a pair sets the lower and the upper one.
    target : float or None
        Goal hit: the value wanted.
    low, high : float or None
        Goal within: the range in which nothing is lost.
    scale : pair of float or None
        Rated outcomes: the ends of the grading scale.
    matters : float or None
        Smallest change worth bench time, in `unit`. Without it nothing can be called too small to matter.
    weight : float
        Share in the overall worth, relative to the other outcomes.
    relative_to : str or None
        Label of a reference object; the outcome is analysed as the difference from it within each session.
    recipe : mapping
        How `fettle measure` computes it from a file; key ``from`` names the recipe.
    note : str
        Free text: how to take a reading.

    Raises
    ------
    UsageError
        If a field contradicts another, with a sentence that names both.
    """

    name: str
    kind: OutcomeKind = "measured"
    unit: str = ""
    goal: Goal | None = None
    best: float | None = None
    worst: float | Sequence[float] | None = None
    target: float | None = None
    low: float | None = None
    high: float | None = None
    scale: Sequence[float] | None = None
    matters: float | None = None
    weight: float = 1.0
    relative_to: str | None = None
    recipe: Mapping[str, Any] = field(default_factory=dict, hash=False)
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", check_name("Outcome name", self.name, COLUMNS))
        choose(f"Outcome '{self.name}': kind", self.kind, OutcomeKind)
        if self.goal is not None:
            choose(f"Outcome '{self.name}': goal", self.goal, Goal)
        for name in ("unit", "note", *(["relative_to"] if self.relative_to is not None else [])):
            check_text(f"Outcome '{self.name}': {name}", getattr(self, name))
        object.__setattr__(self, "weight", not_negative(f"Outcome '{self.name}': weight", self.weight))
        if not isinstance(self.recipe, Mapping):
            raise UsageError(f"Outcome '{self.name}': recipe must be a table of keys and values.")
        self._check_scale()
        for name in ("best", "target", "low", "high", "matters"):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, finite(f"Outcome '{self.name}': {name}", getattr(self, name)))
        if self.matters is not None and self.matters <= 0:
            raise UsageError(f"Outcome '{self.name}': matters is {exact(self.matters)}; it must be more than 0.")
        self._check_goal()

    def _check_scale(self) -> None:
        if self.kind != "rated":
            if self.scale is not None:
                raise UsageError(f"Outcome '{self.name}' is {self.kind}; only rated outcomes have a scale.")
            return
        pair = _pair(f"Outcome '{self.name}': scale", self.scale)
        if pair is None or not pair[0] < pair[1]:
            raise UsageError(
                f"Outcome '{self.name}' is rated: give the scale from low to high, such as scale = [1, 7]."
            )
        object.__setattr__(self, "scale", pair)

    def _check_goal(self) -> None:
        name, goal = f"Outcome '{self.name}'", self.goal
        fits = _FIELDS.get(goal or "", ())
        unfit = [key for key in GOAL_FIELDS if getattr(self, key) is not None and not fits_goal(key, goal)]
        if unfit:
            wanted = f"goal {goal} uses {' and '.join(fits)}" if fits else "it has no goal"
            do = "does" if len(unfit) == 1 else "do"
            raise UsageError(f"{name}: {listed(unfit, 'and')} {do} not fit, since {wanted}.")
        if goal is None:
            return
        if goal in ("raise", "lower"):
            self._check_one_sided(name)
            return
        missing = [field_name for field_name in fits if getattr(self, field_name) is None]
        if missing:
            raise UsageError(f"{name} has goal {goal}: give {' and '.join(fits)}.")
        self._check_two_sided(name)

    def _check_one_sided(self, name: str) -> None:
        low_end, high_end = self.reach or (None, None)
        best = self.best if self.best is not None else (high_end if self.goal == "raise" else low_end)
        worst = self.worst if self.worst is not None else (low_end if self.goal == "raise" else high_end)
        if best is None or worst is None or _is_pair(worst):
            ability = f", {_ABILITY}" if self.kind == "compared" else ""
            raise UsageError(f"{name} has goal {self.goal}: give one best and one worst value{ability}.")
        worst = finite(f"{name}: worst", worst)
        if (self.goal == "raise") != (worst < best) or worst == best:
            side = "below" if self.goal == "raise" else "above"
            raise UsageError(
                f"{name} has goal {self.goal}: worst ({exact(worst)}) must be {side} best ({exact(best)})."
            )
        object.__setattr__(self, "best", best)
        object.__setattr__(self, "worst", worst)

    def _check_two_sided(self, name: str) -> None:
        inner = self.inner
        if self.goal == "within" and not inner[0] < inner[1]:
            raise UsageError(f"{name} has goal within: low ({exact(inner[0])}) must be below high ({exact(inner[1])}).")
        if self.worst is None and self.goal == "hit":
            raise UsageError(f"{name} has goal hit: give worst, the value at which it is worth nothing.")
        if _is_pair(self.worst):
            object.__setattr__(self, "worst", _pair(f"{name}: worst", self.worst))
        elif self.worst is not None:
            object.__setattr__(self, "worst", finite(f"{name}: worst", self.worst))
        outer = self.outer
        if not (outer[0] < inner[0] and outer[1] > inner[1]):
            worst = self.worst if isinstance(self.worst, Sequence) else (self.worst,)
            values = " and ".join(exact(value) for value in worst if value is not None)
            inside = f"target ({exact(inner[0])})" if self.goal == "hit" else f"{exact(inner[0])} to {exact(inner[1])}"
            where = "on both sides of" if len(worst) == 2 else ("away from" if self.goal == "hit" else "outside")
            raise UsageError(f"{name}: worst ({values}) must lie {where} {inside}.")

    @property
    def inner(self) -> tuple[float, float]:
        """Ends of the range that is worth everything, for any goal; infinite where one side never loses."""
        if self.goal == "hit" and self.target is not None:
            return self.target, self.target
        if self.goal == "within" and self.low is not None and self.high is not None:
            return self.low, self.high
        if self.best is None:
            return -float("inf"), float("inf")
        return (self.best, float("inf")) if self.goal == "raise" else (-float("inf"), self.best)

    @property
    def outer(self) -> tuple[float, float]:
        """Ends of the range outside which it is worth nothing; infinite where one side never loses."""
        low, high = self.inner
        if self.goal in ("raise", "lower"):
            worst = float(self.worst) if isinstance(self.worst, int | float) else 0.0
            return (worst, float("inf")) if self.goal == "raise" else (-float("inf"), worst)
        if isinstance(self.worst, Sequence):
            return float(self.worst[0]), float(self.worst[1])
        if self.worst is None:
            return low - (high - low), high + (high - low)
        reach = max(low - self.worst, self.worst - high)
        return low - reach, high + reach

    def check_on_scale(self) -> None:
        """Check that what is best, worst or wanted is a grade that can be given.

        Differences from a reference object may be any. Older projects hold other outcomes, so it is asked where one is stored.

        Raises
        ------
        UsageError
            If a value lies beyond the scale.
        """
        if self.scale is None or self.relative_to:
            return
        beyond = []
        for name in GOAL_FIELDS:
            value = getattr(self, name)
            values = value if _is_pair(value) else (value,)
            if any(part is not None and not self.scale[0] <= part <= self.scale[1] for part in values):
                beyond.append(f"{name} ({' and '.join(exact(part) for part in values)})")
        if beyond:
            lie = "lies" if len(beyond) == 1 else "lie"
            raise UsageError(
                f"Outcome '{self.name}': {listed(beyond, 'and')} {lie} beyond its scale from {exact(self.scale[0])} to "
                f"{exact(self.scale[1])}, so no reading can ever get there."
            )

    def column(self, intervals: Iterable[tuple[float, float, float]]) -> Column:
        """Settle how all values of a column, each with its interval, are counted, as far as the scale goes."""
        known = [(self.on_scale(mean), self.on_scale(low), self.on_scale(high)) for mean, low, high in intervals]
        return column_of(self.unit, known)

    def told(self, mean: float, low: float, high: float, beside: Column | None = None) -> str:
        """Write a value with its interval and unit, as far as the scale of a rated outcome goes.

        In a column of several, `beside` says how all of them are counted.

        Examples
        --------
        >>> Outcome("whine", kind="rated", scale=(1, 7)).told(3.1, -1.5, 7.6)
        '3.1 (1.0 to 7.0)'
        >>> Outcome("whine", kind="rated", scale=(1, 7), relative_to="old fan").told(0.4, -1.5, 7.6)
        '+0.4 (-1.5 to 6.0)'
        """
        ends = (self.on_scale(mean), self.on_scale(low), self.on_scale(high))
        return with_interval(*ends, beside or self.unit, is_change=self.relative_to is not None)

    def on_scale(self, value: float) -> float:
        """Return what is nearest to a value on the scale; the value itself where there is none.

        A difference from a reference object reaches as far as the scale is long, either way.
        """
        if self.reach is None:
            return value
        low, high = self.reach
        return min(max(value, low), high)

    @property
    def reach(self) -> tuple[float, float] | None:
        """Least and greatest value of a rated outcome, or difference from its reference object; None without a scale."""
        if self.scale is None:
            return None
        low, high = self.scale
        return (low - high, high - low) if self.relative_to else (low, high)

    def allowed(self) -> str:
        """Say in a phrase what a reading may be."""
        if self.kind == "compared":
            return "must be first, second or tie (or 1, 0, 0.5)"
        if self.scale is not None:
            return f"must be a grade from {exact(self.scale[0])} to {exact(self.scale[1])}"
        return f"must be a number{' in ' + self.unit if self.unit else ''}"

    def read(self, value: object) -> float:
        """Turn a typed reading into a number.

        Raises
        ------
        DataError
            If it is no finite number, or off the scale.
        """
        if self.kind == "compared":
            return self._read_comparison(value)
        try:
            number = read_number(without_unit(value, self.unit), self.name)
        except DataError as err:
            if "thousands" in str(err):
                raise
            raise DataError(
                f"{self.name} is '{'' if is_missing(value) else shown(value)}'; it {self.allowed()}."
            ) from None
        if self.scale is not None and not self.scale[0] <= number <= self.scale[1]:
            raise DataError(f"{self.name} is {exact(number)}; it {self.allowed()}.")
        if abs(number) > MOST_READ:
            raise DataError(f"{self.name} is {exact(number)}; nothing at a bench is that large, so it is no reading.")
        return number

    def _read_comparison(self, value: object) -> float:
        text = str(value).strip().casefold()
        if text in _COMPARISONS:
            return _COMPARISONS[text]
        try:
            number = read_number(value, self.name)
        except DataError:
            number = math.nan
        if number not in _COMPARISONS.values():
            raise DataError(f"{self.name} is '{'' if is_missing(value) else shown(value)}'; it {self.allowed()}.")
        return number


def columns_told(outcomes: Iterable[Outcome], rows: Iterable[Mapping[Any, Any]]) -> dict[str, Column]:
    """Settle for each outcome how its values are counted in a table that holds several outcomes below each other.

    Parameters
    ----------
    outcomes : iterable of Outcome
    rows : iterable of mapping
        Each with `outcome, mean, low, high`.
    """
    found: dict[str, list[tuple[float, float, float]]] = {}
    for row in rows:
        found.setdefault(str(row["outcome"]), []).append((row["mean"], row["low"], row["high"]))
    return {outcome.name: outcome.column(found.get(outcome.name, ())) for outcome in outcomes}


def _is_pair(value: object) -> bool:
    return hasattr(value, "__len__") and not isinstance(value, str)


def _pair(field: str, value: object) -> tuple[float, float] | None:
    value = value.tolist() if hasattr(value, "tolist") else value
    if value is None:
        return None
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2:
        raise UsageError(f"{field} is '{shown(value)}'; it must be two numbers.")
    return finite(field, value[0]), finite(field, value[1])
