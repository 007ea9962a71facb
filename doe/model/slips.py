"""Numbers that a slip of the pen is likelier to have brought than the bench: readings far from all others, and what matters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from doe.model.outcome import Outcome
from doe.model.wording import counted, number, unit_behind

FAR = 3.0
"""Ranges beyond the range so far; a lost decimal point lies further out still."""

_FEWEST = 5
"""Readings that make a range where the outcome has none by its definition."""


class Seen(NamedTuple):
    """Readings of one outcome.

    Attributes
    ----------
    number : int
        How many.
    low, high : float
        Their ends, in the outcome's unit; 0 without any.
    """

    number: int = 0
    low: float = 0.0
    high: float = 0.0

    def with_values(self, values: Sequence[float]) -> Seen:
        """Return these readings and others together."""
        ends = [*([self.low, self.high] if self.number else []), *values]
        return Seen(self.number + len(values), min(ends), max(ends)) if ends else self


def slips_among(outcome: Outcome, values: Sequence[float]) -> list[str]:
    """Say which of an outcome's highest and lowest value lies far from all others.

    Examples
    --------
    >>> slips_among(Outcome("bass", unit="dB"), [1, 2, 3, 4, 5, 60])
    ['bass is 60 dB, far from all that is known of it (1 to 5)']
    """
    ordered = sorted(values)
    if len(ordered) < 2:
        return []
    others = len(ordered) - 1
    found = [
        slip(outcome, ordered[0], Seen(others, ordered[1], ordered[-1])),
        slip(outcome, ordered[-1], Seen(others, ordered[0], ordered[-2])),
    ]
    return [note for note in dict.fromkeys(found) if note]


def slip(outcome: Outcome, value: float, seen: Seen) -> str:
    """Say that a measured value lies far from all others; empty where it does not, or nothing is known of it.

    Parameters
    ----------
    outcome : Outcome
        The values at which it is worth all and nothing count as known.
    value : float
        In the outcome's unit.
    seen : Seen
        Its other readings.

    Examples
    --------
    >>> slip(Outcome("bass", unit="dB", goal="raise", best=2, worst=-8), 150, Seen())
    'bass is 150 dB, far from all that is known of it (-8 to 2)'
    >>> slip(Outcome("bass", unit="dB", goal="raise", best=2, worst=-8), 3.5, Seen())
    ''
    """
    ends = [end for end in (*outcome.inner, *outcome.outer) if math.isfinite(end)] if outcome.goal else []
    if outcome.kind != "measured" or (not ends and seen.number < _FEWEST):
        return ""
    ends += [seen.low, seen.high] if seen.number else []
    low, high = min(ends), max(ends)
    reach = FAR * (high - low)
    if not reach or low - reach <= value <= high + reach:
        return ""
    told = f"{number(value, 6)}{unit_behind(outcome.unit)}"
    return f"{outcome.name} is {told}, far from all that is known of it ({number(low, 4)} to {number(high, 4)})"


def slips_in_time(times: Iterable[datetime | None], now: datetime) -> list[str]:
    """Say how many readings are dated beyond tomorrow: in another year, as a rule.

    Examples
    --------
    >>> slips_in_time([datetime(2031, 5, 5), None, datetime(2026, 3, 1)], datetime(2026, 3, 2))
    ['1 reading is dated in days to come, 2031-05-05 at the latest']
    """
    told = [when.replace(tzinfo=None) for when in times if when is not None]  # as the bench's clock shows them
    late = [when for when in told if when > now + timedelta(days=1)]
    if not late:
        return []
    many = f"{counted(len(late), 'reading')} {'is' if len(late) == 1 else 'are'}"
    return [f"{many} dated in days to come, {max(late):%Y-%m-%d} at the latest"]


def slip_in_matters(outcome: Outcome) -> str:
    """Say that what matters is as much as the outcome can gain at all; empty where it is less, or nothing says how much.

    Examples
    --------
    >>> slip_in_matters(Outcome("boil", unit="min", goal="lower", best=5, worst=15, matters=20))
    'what matters of boil is 20 min, more than all there is from worst to best (10 min)'
    """
    reach = _reach(outcome)
    if outcome.matters is None or not reach or outcome.matters < reach:
        return ""
    unit = unit_behind(outcome.unit)
    than = "more than" if outcome.matters > reach else "as much as"
    ends = "from worst to best" if outcome.goal else "on its scale"
    return (
        f"what matters of {outcome.name} is {number(outcome.matters, 6)}{unit}, {than} all there is {ends} "
        f"({number(reach, 6)}{unit})"
    )


def _reach(outcome: Outcome) -> float | None:
    """Return the way from worth nothing to worth everything, else the length of the scale; None where neither is known."""
    if outcome.goal:
        sides = (outcome.inner[0] - outcome.outer[0], outcome.outer[1] - outcome.inner[1])
        return max(side for side in sides if math.isfinite(side))
    return outcome.scale[1] - outcome.scale[0] if outcome.scale is not None else None
