"""A factor: one thing about the prototype that can be changed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from numbers import Integral, Real

from doe.model.choices import FactorKind, Value, Way, choose
from doe.model.errors import DataError, UsageError, did_you_mean, listed, or_else, shown
from doe.model.given import check_text
from doe.model.names import ADVICE_COLUMNS, RESERVED, check_label, check_name
from doe.model.numbers import finite, is_missing, not_negative, read_number, without_unit
from doe.model.wording import exact, unit_behind

_STEP_TOLERANCE = 1e-6
_ROUNDING = 4
"""Last places of a float by which arithmetic may miss a number."""

_MOST_STEPS = 100_000
_NARROWEST = 1e-9
"""Least width of a range, relative to its ends; below it the coding to -1..1 loses its digits."""


@dataclass(frozen=True, slots=True)
class Factor:
    """One thing that can be changed, over which range, which way, and at what effort.

    Attributes
    ----------
    name : str
        Letters, digits and underscores; used in terms (``"vents:driver"``) and rules.
    kind : {"continuous", "count", "ordered", "categorical"}
        Numbers on a range, whole numbers, named levels with an order, named levels without one.
    low, high : float or None
        The range of a numeric factor, in `unit`.
    step : float or None
        Smallest useful change of a numeric factor, in `unit`; settings lie on ``low + k * step``. A count steps by 1.
    levels : tuple of str
        The levels of an ordered or categorical factor, at least two.
    unit : str
        Unit of measure, for people.
    way : {"either", "up", "down", "rebuild"}
        How the setting may change on a unit that exists; ``rebuild`` needs a new unit.
    minutes : float
        Bench minutes for one change on a unit, whatever its size.
    minutes_per_step : float
        Minutes added for each step of the change; for each 1 in `unit` where there is no step.
    price : float
        Money for one change.
    prices : mapping of str to float
        Money for a level, paid once per project (a driver bought stays bought).
    note : str
        Free text: what it is, how to change it, what to beware of.

    Raises
    ------
    UsageError
        If a field contradicts another, with a sentence that names both.
    """

    name: str
    kind: FactorKind = "continuous"
    low: float | None = None
    high: float | None = None
    step: float | None = None
    levels: Sequence[str] = ()
    unit: str = ""
    way: Way = "either"
    minutes: float = 0.0
    minutes_per_step: float = 0.0
    price: float = 0.0
    prices: Mapping[str, float] = field(default_factory=dict, hash=False)
    note: str = ""

    def __post_init__(self) -> None:
        set_ = object.__setattr__
        set_(self, "name", check_name("Factor name", self.name, RESERVED | ADVICE_COLUMNS))
        choose(f"Factor '{self.name}': kind", self.kind, FactorKind)
        choose(f"Factor '{self.name}': way", self.way, Way)
        for name in ("minutes", "minutes_per_step", "price"):
            set_(self, name, not_negative(f"Factor '{self.name}': {name}", getattr(self, name)))
        for name in ("unit", "note"):
            check_text(f"Factor '{self.name}': {name}", getattr(self, name))
        set_(self, "levels", self._level_texts())
        if self.is_numeric:
            self._check_range()
        else:
            self._check_levels()
        set_(self, "prices", self._checked_prices())

    def _level_texts(self) -> tuple[str, ...]:
        levels = self.levels.tolist() if hasattr(self.levels, "tolist") else self.levels
        if levels is None:
            return ()
        if isinstance(levels, str) or not isinstance(levels, Sequence):
            raise UsageError(f'Factor \'{self.name}\': levels must be a list, such as ["felt", "cork"].')
        wrong = [level for level in levels if is_missing(level) or not isinstance(level, str | Real)]
        if wrong:
            raise UsageError(f"Factor '{self.name}': level '{shown(wrong[0], 40)}' must be text or a number.")
        return tuple(check_label(f"Factor '{self.name}': level", _level_text(level)) for level in levels)

    def _checked_prices(self) -> dict[str, float]:
        if not isinstance(self.prices, Mapping):
            raise UsageError(f"Factor '{self.name}': prices must be a table of levels and their prices.")
        prices = {
            _level_text(level): not_negative(f"Factor '{self.name}': price of {level}", price)
            for level, price in self.prices.items()
        }
        unknown = [level for level in prices if level not in self.levels]
        if unknown:
            there = or_else(unknown[0], self.levels, "it has none")
            raise UsageError(f"Factor '{self.name}': prices name '{unknown[0]}', which is not one of its levels{there}")
        return prices

    def _check_range(self) -> None:
        if self.levels:
            raise UsageError(f"Factor '{self.name}' is {self.kind}: give low and high, not levels.")
        if self.low is None or self.high is None:
            raise UsageError(f"Factor '{self.name}' is {self.kind}: give both low and high.")
        low, high = finite(f"Factor '{self.name}': low", self.low), finite(f"Factor '{self.name}': high", self.high)
        step = finite(f"Factor '{self.name}': step", self.step) if self.step is not None else None
        if not low < high:
            raise UsageError(f"Factor '{self.name}': low ({exact(low)}) must be below high ({exact(high)}).")
        if not 1e-300 + _NARROWEST * max(abs(low), abs(high)) < high - low < 1e300:
            raise UsageError(
                f"Factor '{self.name}': the range {low} to {high} is too narrow or too wide to compute with."
            )
        if self.kind == "count" and any(number != round(number) for number in (low, high, step or 0.0)):
            raise UsageError(f"Factor '{self.name}' is a count: low, high and step must be whole numbers.")
        if step is None and self.kind == "count":
            step = 1.0
        if step is not None:
            self._check_step(low, high, step)
        for name, value in (("low", low), ("high", high), ("step", step)):
            object.__setattr__(self, name, value)

    def _check_step(self, low: float, high: float, step: float) -> None:
        if step <= 0:
            raise UsageError(f"Factor '{self.name}': step is {exact(step)}; it must be more than 0.")
        count = (high - low) / step
        if count < 1 - _STEP_TOLERANCE or count > _MOST_STEPS:
            raise UsageError(
                f"Factor '{self.name}': step {exact(step)} does not fit the range {exact(low)} to {exact(high)}."
            )

    def _check_levels(self) -> None:
        if self.low is not None or self.high is not None or self.step is not None:
            raise UsageError(f"Factor '{self.name}' is {self.kind}: give levels, not low, high or step.")
        folded = [level.casefold() for level in self.levels]
        if len(self.levels) < 2 or len(set(folded)) < len(self.levels):
            given = f", each by itself; '{self.levels[0]}' is one" if len(self.levels) == 1 else ""
            if twins := [level for level in self.levels if folded.count(level.casefold()) > 1][:2]:
                capitals = ", as capitals make no difference" if twins[0] != twins[1] else ""
                given = f"; '{twins[0]}' and '{twins[1]}' are the same{capitals}"
            raise UsageError(f"Factor '{self.name}' is {self.kind}: give at least two different levels{given}.")
        if self.kind == "categorical" and self.way in ("up", "down"):
            raise UsageError(
                f"Factor '{self.name}' has no order, so its way cannot be '{self.way}'; use either or rebuild."
            )

    @property
    def is_numeric(self) -> bool:
        """Whether settings are numbers."""
        return self.kind in ("continuous", "count")

    @property
    def span(self) -> tuple[float, float]:
        """The first and the last setting of a numeric factor, in `unit`; 0 and the last index for levels."""
        return 0.0 if self.low is None else self.low, self.highest

    @property
    def highest(self) -> float:
        """The last setting in steps from `low`, which `high` need not be; for levels the last index."""
        if self.low is None or self.high is None:
            return float(len(self.levels) - 1)
        if self.step is None:
            return self.high
        last = tidy(self.low + int((self.high - self.low) / self.step + _STEP_TOLERANCE) * self.step)
        return self.high if abs(last - self.high) <= _STEP_TOLERANCE * self.step else last

    def allowed(self) -> str:
        """Say in a phrase what a setting may be."""
        if not self.is_numeric:
            return f"must be {listed(self.levels)}"
        unit = unit_behind(self.unit)
        low, high = self.span
        what = "a whole number" if self.kind == "count" else "a number"
        by_ones = self.step is None or (self.kind == "count" and self.step == 1)
        step = "" if by_ones else f" in steps of {exact(self.step or 0.0)}"
        return f"must be {what} from {exact(low)} to {exact(high)}{unit}{step}"

    def read(self, value: object) -> Value:
        """Turn a typed or stored setting into this factor's own type.

        Returns
        -------
        float, int or str
            A number on the range and step, or the level's name as defined.

        Raises
        ------
        DataError
            If the setting is off the range, off the step, or no level; the nearest level is suggested.
        """
        return self._read_number(value) if self.is_numeric else self._read_level(value)

    def _read_number(self, value: object) -> Value:
        try:
            number = read_number(without_unit(value, self.unit), self.name)
        except DataError as err:
            if "thousands" in str(err):
                raise
            raise DataError(
                f"{self.name} is '{'' if is_missing(value) else shown(value)}'; it {self.allowed()}."
            ) from None
        low, high = self.span
        slack = _STEP_TOLERANCE * (high - low)
        if not low - slack <= number <= high + slack:
            raise DataError(f"{self.name} is {exact(number)}; it {self.allowed()}.")
        if self.step is not None:
            nearest = tidy(low + round((number - low) / self.step) * self.step)
            if abs(nearest - number) > _STEP_TOLERANCE * self.step:
                raise DataError(f"{self.name} is {exact(number)}; it {self.allowed()}.")
            number = high if abs(nearest - high) <= _STEP_TOLERANCE * self.step else nearest
        else:
            number = _without_noise(number)
        number = min(max(number, low), high)
        return round(number) if self.kind == "count" else number

    def _read_level(self, value: object) -> Value:
        text = _level_text(value)
        for level in self.levels:
            if level.casefold() == text.casefold():
                return level
        same = [level for level in self.levels if _is_same_number(level, text)]
        if len(same) == 1:  # a spreadsheet may well write 3.0 for 3
            return same[0]
        raise DataError(f"{self.name} is '{shown(text)}'; it {self.allowed()}.{did_you_mean(text, self.levels)}")

    def position(self, value: Value) -> float:
        """Return the place of a setting on the factor's own scale: the number, or the index of the level.

        Raises
        ------
        DataError
            If it is no level of this factor.
        """
        if self.is_numeric:
            return float(value)
        level = value if isinstance(value, str) and value in self.levels else self._read_level(value)
        return float(self.levels.index(str(level)))

    def can_go(self, start: Value, end: Value) -> bool:
        """Tell whether a unit that exists can be changed from one setting to another."""
        if start == end:
            return True
        if self.way == "either":
            return True
        if self.way == "rebuild":
            return False
        return (self.position(end) > self.position(start)) == (self.way == "up")

    def change_minutes(self, start: Value, end: Value) -> float:
        """Return the bench minutes of one change on a unit; 0 where nothing changes."""
        if start == end:
            return 0.0
        if self.kind == "categorical":
            return self.minutes + self.minutes_per_step
        steps = abs(self.position(end) - self.position(start)) / (self.step or 1.0)
        return self.minutes + self.minutes_per_step * steps

    def grid(self, most: int = 11) -> tuple[Value, ...]:
        """List settings worth considering: every level or step, or `most` (two at least) spread evenly where there are more."""
        if not self.is_numeric:
            return tuple(self.levels)
        most = max(most, 2)
        low, high = self.span
        steps = int((high - low) / self.step + _STEP_TOLERANCE) if self.step is not None else most - 1
        taken = (
            sorted({round(steps * place / (most - 1)) for place in range(most)}) if steps >= most else range(steps + 1)
        )
        if self.step is not None:
            return tuple(self._read_number(low + place * self.step) for place in taken)
        inner = (tidy(low + place * (high - low) / steps) for place in taken[1:-1])
        return tuple(self._read_number(number) for number in (low, *inner, high))


def tidy(number: float) -> float:
    """Drop the rounding noise of arithmetic such as ``low + k * step``, so that 0.3 is stored and shown as 0.3."""
    return float(f"{number:.15g}")


def _without_noise(number: float) -> float:
    """Return a short number for one beside it, as ``0.1 + 0.2`` is, which would pass for another setting than 0.3."""
    short = float(f"{number:.12g}")
    return short if abs(short - number) <= _ROUNDING * math.ulp(number) else number


def _level_text(value: object) -> str:
    if is_missing(value):
        return ""
    if isinstance(value, Integral):
        return shown(value)
    if isinstance(value, Real) and float(value).is_integer() and abs(float(value)) < 1e15:
        return str(int(float(value)))
    return str(value).strip()


def _is_same_number(level: str, text: str) -> bool:
    try:
        return read_number(level, "level") == read_number(text, "level")
    except DataError:
        return False
