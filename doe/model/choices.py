"""The closed lists of words that fields may take; messages quote the lists from here."""

from __future__ import annotations

from typing import Any, Literal, get_args

from doe.model.errors import UsageError, did_you_mean, listed, shown

FactorKind = Literal["continuous", "count", "ordered", "categorical"]
Way = Literal["either", "up", "down", "rebuild"]
OutcomeKind = Literal["measured", "rated", "compared"]
Goal = Literal["raise", "lower", "hit", "within"]
AdviceKind = Literal["improve", "learn", "repeat", "confirm"]
Direction = Literal["raises", "lowers", "nothing"]

Value = float | int | str
"""One setting of one factor: a number, or the name of a level."""

Settings = dict[str, Value]
"""Factor name -> setting."""


def choose(field: str, value: object, choices: Any) -> Any:
    """Return `value` if the literal type `choices` lists it.

    Raises
    ------
    UsageError
        If it does not; the message lists what is allowed.
    """
    allowed = get_args(choices)
    if isinstance(value, str) and value in allowed:
        return value
    hint = did_you_mean(str(value), allowed)
    raise UsageError(f"{field} is '{shown(value)}'; it must be {listed(allowed)}.{hint}")
