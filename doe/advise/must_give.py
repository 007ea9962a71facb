"""What must give where no lasting setting within its limits comes near: a limit, or the range of a factor."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from doe.advise.lasting import Equivalent, Solved, solve
from doe.advise.standin import StandIn
from doe.model.choices import Value
from doe.model.errors import listed
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits
from doe.model.wording import exact, number, setting, spaced, unit_behind


def what_must_give(
    stand_in: StandIn,
    factors: Sequence[Factor],
    start: Mapping[str, Value],
    solved: Solved,
    *,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
) -> tuple[str, ...]:
    """Say what would bring a lasting setting nearer: a limit that is let go, or a factor that goes beyond its range.

    Returns
    -------
    tuple of str
        Sentences, nearest first; empty where nothing would at least halve the mismatch.
    """
    off = abs(solved.nearest[0].mismatch) if solved.nearest else math.inf
    ways: list[tuple[float, str]] = []
    free = solve(stand_in, factors, start, count=1)
    if limits and free.nearest and abs(free.nearest[0].mismatch) < 0.5 * off:
        found = free.nearest[0]
        broken = [limit.rule for limit in broken_limits(found.settings, limits, derived)]
        what = "the limit" if len(broken) == 1 else "the limits"
        ways.append((abs(found.mismatch), f"without {what} {listed(broken, 'and')}: {_told(found, stand_in)}"))
    for factor in stand_in.lasting:
        wider = _widened(factor)
        if wider is None:
            continue
        swapped = tuple(wider if item.name == factor.name else item for item in factors)
        part = replace(stand_in, lasting=tuple(wider if item is factor else item for item in stand_in.lasting))
        near = solve(part, swapped, start, limits=limits, derived=derived, count=1).nearest
        if near and abs(near[0].mismatch) < 0.5 * off:
            side = f"{spaced(factor.name)} beyond {exact(factor.span[0])} to {exact(factor.span[1])}"
            ways.append((abs(near[0].mismatch), f"{side}: {_told(near[0], stand_in)}"))
    return tuple(sentence for _, sentence in sorted(ways))


def _told(found: Equivalent, stand_in: StandIn) -> str:
    lasting = listed(
        [f"{spaced(factor.name)} {setting(found.settings[factor.name])}" for factor in stand_in.lasting], "and"
    )
    unit = unit_behind(stand_in.quantity.unit)
    return f"{lasting} would be {number(abs(found.mismatch), 9)}{unit} off"


def _widened(factor: Factor) -> Factor | None:
    """Return the factor with its range once more to either side, but not across zero; None for levels."""
    if not factor.is_numeric:
        return None
    low, high = factor.span
    step = factor.step or (high - low) / 200
    steps = max(1, min(round((high - low) / step), 5000))
    top = low + round((high - low) / step) * step
    down, up = (steps if end < 0 else min(steps, max(0, math.ceil(end / step - 1e-9) - 1)) for end in (low, -top))
    return replace(factor, low=low - down * step, high=top + up * step)
