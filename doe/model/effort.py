"""Effort: what bench work costs beside the change itself, and where a new unit's settings start."""

from __future__ import annotations

from dataclasses import dataclass, fields

from doe.model.choices import Value
from doe.model.errors import listed
from doe.model.factor import Factor
from doe.model.numbers import not_negative
from doe.model.wording import duration, rounded


@dataclass(frozen=True, slots=True)
class Effort:
    """Minutes and money that do not belong to one factor.

    Attributes
    ----------
    new_unit_minutes : float
        Bench minutes to make a new unit, before its settings are counted.
    session_minutes : float
        Minutes to set a session up and put it away, whatever is read in it.
    reading_minutes : float
        Minutes for one round of readings of one variant (all outcomes, all raters).
    new_unit_price : float
        Money for a new unit.

    Raises
    ------
    UsageError
        If a number is negative or not finite.
    """

    new_unit_minutes: float = 0.0
    session_minutes: float = 0.0
    reading_minutes: float = 0.0
    new_unit_price: float = 0.0

    def __post_init__(self) -> None:
        for item in fields(self):
            object.__setattr__(self, item.name, not_negative(f"Effort: {item.name}", getattr(self, item.name)))

    def told(self) -> str:
        """Say in half a sentence what costs something.

        Examples
        --------
        >>> Effort(new_unit_minutes=90, reading_minutes=2.5, new_unit_price=40).told()
        'a new unit 1 h 30 min, a round of readings 2.5 min, a new unit 40 in money'
        """
        times = (
            ("a new unit", self.new_unit_minutes),
            ("a session", self.session_minutes),
            ("a round of readings", self.reading_minutes),
        )
        parts = [f"{what} {_time(minutes)}" for what, minutes in times if minutes]
        parts += [f"a new unit {rounded(self.new_unit_price)} in money"] if self.new_unit_price else []
        return ", ".join(parts) or "nothing beside the changes themselves"


def _time(minutes: float) -> str:
    """Return bench time, parts of a minute kept."""
    return duration(minutes) if minutes == round(minutes) else f"{rounded(minutes)} min"


def change_told(factor: Factor, effort: Effort) -> str:
    """Say what one change of a factor takes, as far as anybody said so.

    Examples
    --------
    >>> change_told(Factor("wool", low=0, high=60, step=5, minutes=8, minutes_per_step=0.5), Effort())
    '8 min, 0.5 min more for each step'
    >>> change_told(Factor("rings", kind="count", low=7, high=12, way="rebuild", minutes=20), Effort(new_unit_minutes=90))
    'a new unit, 1 h 30 min, and 20 min'
    >>> change_told(Factor("rings", kind="count", low=7, high=12, way="rebuild"), Effort())
    'a new unit'
    >>> change_told(Factor("pad", "categorical", levels=["felt", "cork"], minutes=8, price=2, prices={"cork": 12}), Effort())
    '8 min and 2 in money; once, cork 12 in money'
    """
    parts = [_time(factor.minutes)] if factor.minutes or not factor.minutes_per_step else []
    more = "more " if parts else ""
    each = "step" if factor.step is not None or not factor.is_numeric else f"1 {factor.unit}".rstrip()
    parts += [f"{_time(factor.minutes_per_step)} {more}for each {each}"] if factor.minutes_per_step else []
    own, bought = ", ".join(parts), _bought(factor)
    money = f"{rounded(factor.price)} in money" if factor.price else ""
    if factor.way != "rebuild":
        return listed(filter(None, [own, money]), "and") + bought
    unit = f"a new unit, {_time(effort.new_unit_minutes)}" if effort.new_unit_minutes else "a new unit"
    beside = listed(filter(None, [own if factor.minutes or factor.minutes_per_step else "", money]), "and")
    return (f"{unit}, and {beside}" if beside else unit) + bought


def _bought(factor: Factor) -> str:
    paid = [f"{level} {rounded(price)}" for level, price in factor.prices.items() if price]
    return f"; once, {listed(paid, 'and')} in money" if paid else ""


def bare_setting(factor: Factor) -> Value | None:
    """Return the state of a factor on a unit just made, before its settings are counted.

    A number or an ordered level starts where one-way changes start: at the low end, or at the high end of a factor that
    only goes down. A categorical factor has nothing fitted yet (None), so every level takes one change.
    """
    if factor.kind == "categorical":
        return None
    low, high = factor.span
    end = high if factor.way == "down" else low
    return factor.read(end) if factor.is_numeric else factor.levels[int(end)]


def setting_minutes(factor: Factor, start: Value | None, end: Value) -> float:
    """Return the bench minutes of one factor; a start of None is a factor with nothing fitted."""
    if start is None:
        return factor.minutes + factor.minutes_per_step
    return factor.change_minutes(start, end)
