"""What there is for the next change: so much bench time, one unit at hand, or one side of a move."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from doe.advise.reach import NEW
from doe.model.errors import DataError, listed, there_are
from doe.model.numbers import read_hours
from doe.model.wording import duration
from doe.web.contexts import Choice, Field
from doe.web.definition_faults import NotRead

NAMES = ("hours", "unit", "only")
Side = Literal["improve", "learn"]
_SIDES: dict[str, str] = {"improve": "to improve", "learn": "to learn"}
_TIME = "Bench time left"
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class AtHand:
    """What there is, read.

    Attributes
    ----------
    hours : float or None
        Bench time left; None without an end.
    unit : str or None
        The only one to look at, ``"new"`` for a new one; None for any.
    only : {"improve", "learn"} or None
        The only side of a move to look at.
    """

    hours: float | None
    unit: str | None
    only: Side | None

    @property
    def told(self) -> str:
        """Say what is looked at, in half a sentence."""
        where = "on a new unit" if self.unit == NEW else f"on unit {self.unit}" if self.unit else ""
        time = f"with {duration(60 * self.hours)} of bench time left" if self.hours is not None else ""
        return ", ".join(filter(None, [time, where, f"only {_SIDES[self.only]}" if self.only else ""]))


def typed(values: Mapping[str, str]) -> dict[str, str]:
    """Return what was typed or sent of it, empty where nothing was."""
    return {name: values.get(name, "").strip()[:_LONGEST] for name in NAMES}


def read(asked: Mapping[str, str], units: Collection[str]) -> AtHand:
    """Read what was typed.

    Raises
    ------
    NotRead
        Naming every field that is wrong.
    """
    errors, hours = {}, None
    if asked["hours"]:
        try:
            hours = read_hours(asked["hours"], _TIME)
            if not hours:
                raise DataError(f"{_TIME} is '{asked['hours']}'; it must be more than 0.")
        except DataError as err:
            errors["hours"] = str(err)
    if asked["unit"] and asked["unit"] not in (*units, NEW):
        errors["unit"] = f"There is no unit '{asked['unit']}' to change; {there_are([*units, 'a new one'])}."
    if asked["only"] and asked["only"] not in get_args(Side):
        errors["only"] = f"What for is '{asked['only']}'; it must be {listed(get_args(Side))}."
    if errors:
        raise NotRead(errors)
    only: Side | None = asked["only"] or None  # type: ignore[assignment]
    return AtHand(hours, asked["unit"] or None, only)


def fields(asked: Mapping[str, str], units: Collection[str], errors: Mapping[str, str]) -> tuple[Field, ...]:
    """Return the fields in which it is said."""
    at = (("", "any, or a new one"), *((name, name) for name in units), (NEW, "a new one"))
    sides = (("", "whichever is worth more"), *_SIDES.items())

    def choices(pairs: Collection[tuple[str, str]], name: str) -> tuple[Choice, ...]:
        return tuple(Choice(value, label, value == asked[name]) for value, label in pairs)

    return (
        Field(
            "hours",
            _TIME,
            "number",
            asked["hours"],
            "h",
            "Readings included; 90 min will do too.",
            errors.get("hours", ""),
        ),
        Field("unit", "On which unit", "list", error=errors.get("unit", ""), choices=choices(at, "unit")),
        Field("only", "What for", "list", error=errors.get("only", ""), choices=choices(sides, "only")),
    )
