"""What a slip of the pen is likelier to have brought than the bench: readings, dates, bench times, expectations, limits."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from doe.model.errors import did_you_mean, few, listed
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.model.wording import counted, duration, exact, number, rounded, unit_behind

FAR = 3.0
"""Ranges beyond the range so far; a lost decimal point lies further out still."""

MOST_HOURS = 1000
"""At the bench for one thing; half a year of working days."""

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
    told = f"{rounded(value)}{unit_behind(outcome.unit)}"
    return f"{outcome.name} is {told}, far from all that is known of it ({number(low, 4)} to {number(high, 4)})"


def slips_in_time(times: Iterable[datetime | None], now: datetime) -> list[str]:
    """Say how many readings are dated beyond tomorrow: in another year, as a rule.

    Examples
    --------
    >>> slips_in_time([datetime(2031, 5, 5), None, datetime(2026, 3, 1)], datetime(2026, 3, 2))
    ['1 reading is dated in days to come, 2031-05-05 at the latest']
    """
    late = [when for when in times if when is not None and _is_late(when, now)]
    if not late:
        return []
    many = f"{counted(len(late), 'reading')} {'is' if len(late) == 1 else 'are'}"
    return [f"{many} dated in days to come, {max(late):%Y-%m-%d} at the latest"]


def _is_late(when: datetime, now: datetime) -> bool:
    return when.replace(tzinfo=None) > now + timedelta(days=1)  # as the bench's clock shows it


def slips_of_build(variant: str, when: datetime | None, minutes: float | None, now: datetime) -> list[str]:
    """Say that a variant is dated beyond tomorrow, or took longer than anybody stands at a bench.

    Examples
    --------
    >>> slips_of_build("7", datetime(2031, 5, 5), 1e6, datetime(2026, 3, 2))
    ['variant 7 is dated in days to come, 2031-05-05', 'the bench time of variant 7 is 16666 h 40 min']
    """
    late = f"variant {variant} is dated in days to come, {when:%Y-%m-%d}" if when and _is_late(when, now) else ""
    return [note for note in (late, slip_in_minutes(f"the bench time of variant {variant}", minutes)) if note]


def slip_in_minutes(what: str, minutes: float | None) -> str:
    """Say that a bench time is longer than anybody stands at a bench; empty where it is not.

    Examples
    --------
    >>> slip_in_minutes("a new unit", 150), slip_in_minutes("a new unit", 150000)
    ('', 'a new unit is 2500 h')
    """
    return f"{what} is {duration(minutes)}" if minutes is not None and minutes > 60 * MOST_HOURS else ""


def new_session(name: str, known: Iterable[str]) -> str:
    """Say that a session is new, and what it may be a misspelling of; another number is no misspelling.

    Examples
    --------
    >>> new_session("Tusday", ["Tusday", "Tuesday"]), new_session("evening 2", ["evening 1"])
    ("Session 'Tusday' is new. Did you mean 'Tuesday'?", "Session 'evening 2' is new.")
    """
    return f"Session '{name}' is new.{did_you_mean(name, [item for item in known if _letters(item) != _letters(name)])}"


def _letters(name: str) -> str:
    return re.sub(r"\d+", "", name).casefold()


def steps_too_short(factor: Factor) -> str:
    """Say that a factor's steps end below its high end; empty where they do not.

    Examples
    --------
    >>> steps_too_short(Factor("gap", low=0, high=10, step=3)), steps_too_short(Factor("gap", low=0, high=9, step=3))
    ('steps of 3 from 0 do not reach 10', '')
    """
    if factor.step is None or factor.low is None or factor.high is None or factor.highest >= factor.high:
        return ""
    return f"steps of {exact(factor.step)} from {exact(factor.low)} do not reach {exact(factor.high)}"


def broken_on_record(limit: Limit, derived: Sequence[Derived], variants: Iterable[Variant]) -> str:
    """Say which variants break a limit; empty where none does.

    Examples
    --------
    >>> broken_on_record(Limit("wool <= 40"), (), [Variant("1", {"wool": 20}), Variant("2", {"wool": 60})])
    'variant 2 on record breaks it, and stays as logged; what is built from now on must keep it'
    """
    names = [item.name for item in variants if item.settings and broken_limits(item.settings, [limit], derived)]
    if not names:
        return ""
    told = (
        f"variant {names[0]} on record breaks it, and stays" if len(names) == 1
        else f"variants {listed(few(names), 'and')} on record break it, and stay"
    )  # fmt: skip
    return f"{told} as logged; what is built from now on must keep it"


def slip_in_size(expectation: Expectation, outcome: Outcome, seen: Seen) -> str:
    """Say that a factor is expected to do more than an outcome can do at all; empty where it is not, or nothing says how much.

    Parameters
    ----------
    expectation : Expectation
    outcome : Outcome
        The one that it is about.
    seen : Seen
        Its readings.

    Examples
    --------
    >>> decay = Outcome("decay", unit="ms", goal="lower", best=40, worst=80)
    >>> slip_in_size(Expectation("wool", "decay", "lowers", 400), decay, Seen())
    'wool is expected to change decay by 400 ms, far more than all that is known of it (40 ms)'
    >>> slip_in_size(Expectation("wool", "decay", "lowers", 400), decay, Seen(6, 20, 300))
    ''
    """
    if expectation.size is None:
        return ""
    widths = [seen.high - seen.low] if seen.number >= _FEWEST or outcome.goal else []
    reach = max([*widths, _reach(outcome) or 0.0])
    if not reach or expectation.size <= FAR * reach:
        return ""
    unit = unit_behind(outcome.unit)
    return (
        f"{expectation.factor} is expected to change {outcome.name} by {rounded(expectation.size)}{unit}, far more than all "
        f"that is known of it ({number(reach, 4)}{unit})"
    )


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
        f"what matters of {outcome.name} is {rounded(outcome.matters)}{unit}, {than} all there is {ends} "
        f"({rounded(reach)}{unit})"
    )


def _reach(outcome: Outcome) -> float | None:
    """Return the way from worth nothing to worth everything, else the length of the scale; None where neither is known."""
    if outcome.goal:
        sides = (outcome.inner[0] - outcome.outer[0], outcome.outer[1] - outcome.inner[1])
        return max(side for side in sides if math.isfinite(side))
    return outcome.scale[1] - outcome.scale[0] if outcome.scale is not None else None
