"""Effort: what bench work costs beside the change itself."""

from __future__ import annotations

from dataclasses import dataclass, fields

from doe.model.numbers import not_negative


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
