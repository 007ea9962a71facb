"""From where a variant is reached with the least bench time: the nearest unit, or a new one."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from doe.advise.effort import Cost, change_cost, new_unit_cost
from doe.advise.reach import NEW
from doe.model.choices import Value
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.records import Unit
from doe.model.wording import duration


@dataclass(frozen=True, slots=True)
class Start:
    """Where to begin.

    Attributes
    ----------
    unit : str
        Name of the unit, or ``new``.
    cost : Cost
        Minutes and money to get from there to the variant, readings left out.
    is_there : bool
        Whether the unit stands so already; a change may take no minutes, too.
    """

    unit: str
    cost: Cost
    is_there: bool = False


def all_starts(
    factors: Sequence[Factor],
    units: Sequence[Unit],
    end: Mapping[str, Value],
    effort: Effort,
    bought: Mapping[str, Collection[str]] | None = None,
) -> list[Start]:
    """Return every start from which a variant can be reached, the one that takes the fewest minutes first.

    Of those that take the same, one that is there comes first; one-way and rebuild factors are respected.
    """
    names = [factor.name for factor in factors]
    ways = [
        Start(
            unit.name,
            change_cost(factors, unit.settings, end, bought),
            is_there=all(unit.settings[name] == end[name] for name in names),
        )
        for unit in units
        if not unit.retired
        and all(name in unit.settings for name in names)
        and all(factor.can_go(unit.settings[factor.name], end[factor.name]) for factor in factors)
    ]
    ways.append(Start(NEW, new_unit_cost(factors, end, effort, bought)))
    return sorted(ways, key=lambda way: (way.cost.minutes, not way.is_there))


def start_told(way: Start) -> str:
    """Say what a start takes, in a sentence."""
    where = "A new unit" if way.unit == NEW else f"Unit {way.unit}"
    return f"{where}: {'it carries these settings now' if way.is_there else duration(way.cost.minutes)}."
