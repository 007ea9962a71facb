"""The closed lists of words that fields may take; messages quote the lists from here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, get_args

from doe.model.errors import UsageError, did_you_mean, listed, shown

FactorKind = Literal["continuous", "count", "ordered", "categorical"]
Way = Literal["either", "up", "down", "rebuild"]
Paper = Literal["A4", "letter"]
OutcomeKind = Literal["measured", "rated", "compared"]
Goal = Literal["raise", "lower", "hit", "within"]
AdviceKind = Literal["improve", "learn", "repeat", "confirm"]
Direction = Literal["raises", "lowers", "nothing"]

Value = float | int | str
"""One setting of one factor: a number, or the name of a level."""

Settings = dict[str, Value]
"""Factor name -> setting."""


_SAID = {
    "lower": ("decr", "reduc", "less", "fewer", "down", "drop", "fall", "cut", "shrink", "small", "weak", "damp", "dimin",
              "min", "low", "eas", "-"),
    "raise": ("incr", "more", "up", "rise", "rising", "grow", "boost", "high", "great", "big", "strength", "strong", "max",
              "gain", "rais", "+"),
    "nothing": ("none", "no", "nil", "zero", "same", "0"),
}  # fmt: skip
"""How people begin the word for a direction, by how ours begins; spelling alone would take decreases for raises."""

_NEARLY = 0.8
"""How alike two spellings of a direction must be: the opposite is a worse suggestion than none."""


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
    hint = meant(str(value), allowed)
    raise UsageError(f"{field} is '{shown(value)}'; it must be {listed(allowed)}.{hint}")


def meant(word: str, allowed: Sequence[str]) -> str:
    """Return ``" Did you mean 'x'?"`` for the word of a closed list that was meant, or an empty string.

    Examples
    --------
    >>> meant("decreases", ("raises", "lowers", "nothing")), meant("continous", ("continuous", "count"))
    (" Did you mean 'lowers'?", " Did you mean 'continuous'?")
    """
    directions = {ours: found for ours in _SAID for found in allowed if found.startswith(ours)}
    if not {"raise", "lower"} <= set(directions):
        return did_you_mean(word, allowed)
    said = word.strip().casefold()
    for ours, found in directions.items():
        if said.startswith(_SAID[ours]):
            return f" Did you mean '{found}'?"
    return did_you_mean(word, allowed, _NEARLY)
