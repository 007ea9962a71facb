"""What the rehearsals of a project begin with: the unit that was last worked on, as it is now."""

from __future__ import annotations

from collections.abc import Sequence

from doe.model.factor import Factor
from doe.model.records import Unit


def unit_at_hand(units: Sequence[Unit], factors: Sequence[Factor]) -> Unit | None:
    """Return the last unit that is not retired and has a setting of every factor; None where there is none."""
    usable = [unit for unit in units if not unit.retired and len(unit.settings) == len(factors)]
    return usable[-1] if usable else None


def begins_with(unit: Unit | None) -> str:
    """Say what each rehearsal begins with."""
    if unit is None:
        return "Each rehearsal begins with one unit, its settings drawn."
    return f"Each rehearsal begins with unit {unit.name} as it is now, and without readings."
