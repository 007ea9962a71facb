"""From what was typed at the bench to the variant that it makes: on which unit, from which state, by which rules."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doe.model.choices import Settings, Value
from doe.model.errors import DataError, NoVariant, UsageError, did_you_mean, listed, there_are
from doe.model.given import check_text
from doe.model.limit import broken_limits, derive, names_behind
from doe.model.names import quoted, same_name, spelled_alike
from doe.model.planned import find_planned
from doe.model.records import Unit, Variant, check_ways, read_settings
from doe.model.setup import Setup
from doe.model.wording import cell_text


@dataclass(frozen=True, slots=True)
class Change:
    """A variant about to be logged, and where it comes from.

    Attributes
    ----------
    settings : dict of str to setting
        One entry per factor.
    before : mapping of str to setting
        The settings it was changed from; empty for a first variant.
    parent : str or None
        The variant it was changed from.
    unit : str or None
        The unit that will carry it.
    is_new_unit : bool
        Whether that unit has still to be made.
    minutes : float or None
        Bench minutes that the changes of a unit take by the factors' definitions; None for a new unit.
    """

    settings: Settings
    before: Mapping[str, Value]
    parent: str | None
    unit: str | None
    is_new_unit: bool
    minutes: float | None

    @property
    def changed(self) -> dict[str, tuple[Value | None, Value]]:
        """Factor -> setting before (None where there was none) and after, for those that differ."""
        return {
            name: (self.before.get(name), value)
            for name, value in self.settings.items()
            if self.before.get(name) != value
        }


def resolve_change(
    setup: Setup,
    units: Sequence[Unit],
    variants: Sequence[Variant],
    typed: Mapping[str, object],
    *,
    unit: str | None = None,
    new_unit: str | None = None,
    start: str | None = None,
    again: bool = False,
    planned: str | None = None,
) -> Change:
    """Work out which variant a typed change makes.

    Parameters
    ----------
    setup : Setup
        The project's definitions.
    units, variants : sequence
        What exists, variants in the order in which they were built.
    typed : mapping of str to object
        Factor name -> what was typed; factors left out keep the setting they start from.
    unit, new_unit : str, optional
        The unit worked on, or the name of one to be made; an empty name asks for the next free one. Without either it
        is the unit of `start`, or the only unit there is.
    start : str, optional
        Variant to take the other settings from; otherwise what the unit carries now.
    again : bool
        Whether the same settings on the same unit are meant: taken apart and put together again.
    planned : str, optional
        The planned variant that was built; factors left out have its settings.

    Raises
    ------
    UsageError
        If it is not clear which unit is meant, or both `start` and `planned` are given.
    DataError
        If a name is unknown, a setting not allowed, a limit broken, a one-way change turned back, or nothing changes.
    """
    if not setup.factors:
        raise DataError(
            "This project has no factors yet, so a variant has no settings; define the factors first.",
            command="'fettle factor add' does that",
        )
    _check_set(typed, setup)
    source = _find_start(start, variants) if start is not None else None
    if planned is not None:
        if source is not None:
            raise UsageError("A planned variant has its settings, so no other one to start from goes with it.")
        return _as_planned(setup, units, variants, find_planned(planned, variants), typed, unit=unit, new_unit=new_unit)
    variants = [variant for variant in variants if variant.status != "planned"]
    place = _place(units, variants, unit, new_unit, source)
    carried = next((item for item in units if item.name == place), None)
    source = source or _carried_variant(carried, place, new_unit, variants)
    before = source.settings if source is not None else (carried.settings if carried is not None else {})
    _check_whole(typed, before, setup, has_start=any(not variant.is_reference for variant in variants))
    settings = read_settings(typed, setup.factors, before)
    if carried is not None:
        check_ways(carried.settings, settings, setup.factors, carried.name)
        _check_differs(carried, settings, setup, again)
    check_limits(settings, setup)
    minutes = _minutes(carried, settings, setup) if carried is not None else None
    parent = source.name if source is not None else None
    return Change(settings, before, parent, place, place is not None and carried is None, minutes)


def _find_start(name: str, variants: Sequence[Variant]) -> Variant:
    """Return the variant to start from, which has settings and is built."""
    source = find_variant(name, variants)
    if source.is_reference:
        raise DataError(f"Variant {source.name} is a reference object without settings; start from another one.")
    if source.status == "planned":
        raise DataError(
            f"Variant {source.name} is only planned, so nothing starts from it; log it as built first.",
            command=f"'fettle log --planned {quoted(source.name)}' does that",
        )
    return source


def _as_planned(
    setup: Setup,
    units: Sequence[Unit],
    variants: Sequence[Variant],
    planned: Variant,
    typed: Mapping[str, object],
    *,
    unit: str | None,
    new_unit: str | None,
) -> Change:
    """Work out what building a planned variant changes; what was typed came out otherwise than planned."""
    built = [variant for variant in variants if variant.status != "planned"]
    place = _place(units, built, planned.unit if unit is None and new_unit is None else unit, new_unit, None)
    carried = next((item for item in units if item.name == place), None)
    settings = read_settings(typed, setup.factors, planned.settings)
    if carried is not None:
        check_ways(carried.settings, settings, setup.factors, carried.name)
    check_limits(settings, setup)
    before = carried.settings if carried is not None else {}
    minutes = _minutes(carried, settings, setup) if carried is not None else None
    parent = carried.variant if carried is not None else None
    return Change(settings, before, parent, place, place is not None and carried is None, minutes)


def find_variant(name: str, variants: Sequence[Variant]) -> Variant:
    """Return the variant of that name.

    Raises
    ------
    NoVariant
        If there is none; a near name is suggested.
    DataError
        If several differ from it in capitals only.
    UsageError
        If it is no text.
    """
    check_text("variant", name)
    if not variants:
        raise NoVariant(
            name, f"There is no variant '{name}': no variant is logged yet.", command="'fettle log' logs the first"
        )
    names = [variant.name for variant in variants]
    meant = _meant("variant", name, names)
    if meant is not None:
        return next(variant for variant in variants if variant.name == meant)
    raise NoVariant(name, f"There is no variant '{name}'; {there_are(names)}.{did_you_mean(name, names)}")


def find_unit(name: str, units: Sequence[Unit]) -> Unit:
    """Return the unit of that name, if it can still be worked on.

    Raises
    ------
    DataError
        If there is none, it is retired, or several differ from it in capitals only.
    """
    names = [unit.name for unit in units]
    meant = _meant("unit", name, names)
    found = next((unit for unit in units if unit.name == meant), None)
    if found is None:
        there = there_are(names, "no unit is known yet, so make it as a new unit")
        raise DataError(
            f"There is no unit '{name}'; {there}.{did_you_mean(name, names)}",
            command="" if names else "'fettle log --new-unit NAME' makes one with its first variant",
        )
    if found.retired:
        raise DataError(f"Unit {found.name} is retired; it cannot be changed any more.")
    return found


def _meant(what: str, name: str, names: Sequence[str]) -> str | None:
    """Return the one name that is meant, None where none is like it.

    Projects of older versions may hold names that differ in capitals only.
    """
    meant = spelled_alike(name, names)
    if len(meant) > 1:
        raise DataError(f"There are {what}s {listed(meant, 'and')}; spell '{name}' with the capitals of the one meant.")
    return meant[0] if meant else None


def check_limits(settings: Mapping[str, Value], setup: Setup) -> None:
    """Check settings taken together.

    Raises
    ------
    DataError
        Naming the first limit that they break, and the values in it.
    """
    if told := broken_told(settings, setup):
        raise DataError(told)


def broken_told(settings: Mapping[str, Value], setup: Setup) -> str:
    """Say which limit settings break, the first one, and by which values; empty where they keep all."""
    for limit in broken_limits(settings, setup.limits, setup.derived):
        behind = names_behind(limit.expression.names, setup.derived)
        values = derive(settings, [quantity for quantity in setup.derived if quantity.name in behind])
        shown = listed([f"{name} = {cell_text(values[name])}" for name in sorted(limit.expression.names)], "and")
        note = f" ({limit.note})" if limit.note else ""
        return f"These settings break the limit '{limit.rule}'{note}: {shown}."
    return ""


def next_unit_name(units: Sequence[Unit]) -> str:
    """Return a free name that carries on from the last one: ``body D`` after ``body C``, ``A`` at first."""
    taken = {unit.name.casefold() for unit in units}
    name = units[-1].name if units else "A"
    while name.casefold() in taken:
        name = _successor(name)
    return name


def _successor(name: str) -> str:
    digits = re.search(r"\d+$", name)
    if digits:
        return f"{name[: digits.start()]}{int(digits[0]) + 1}"
    letter = re.search(r"(?<![^\W_])[A-Ya-y]$", name)
    return f"{name[:-1]}{chr(ord(letter[0]) + 1)}" if letter else f"{name} 2"


def _place(
    units: Sequence[Unit],
    variants: Sequence[Variant],
    unit: str | None,
    new_unit: str | None,
    source: Variant | None,
) -> str | None:
    """Return the name of the unit that is meant, which may not exist yet, or None where units are not kept."""
    if unit is not None and new_unit is not None:
        raise UsageError("A variant is made on a unit that exists or on a new one; name only one of them.")
    if new_unit is not None:
        if spelled_alike(new_unit, [item.name for item in units]):
            raise DataError(f"Unit '{new_unit}' exists already; give the new one another name.")
        return new_unit.strip() or next_unit_name(units)
    if unit is not None:
        return find_unit(unit, units).name
    active = [item.name for item in units if not item.retired]
    if source is not None and (source.unit in active or not active):
        return source.unit if source.unit in active else None
    if len(active) > 1:
        raise UsageError(
            f"Say which unit was changed: {listed(active)}, or a new one.", command="name it with --unit or --new-unit"
        )
    if active:
        return active[0]
    return None if any(not variant.is_reference for variant in variants) else next_unit_name(units)


def _carried_variant(
    carried: Unit | None, place: str | None, new_unit: str | None, variants: Sequence[Variant]
) -> Variant | None:
    """Return the variant that a change starts from where none was named."""
    if carried is not None:
        return next((variant for variant in variants if variant.name == carried.variant), None)
    if place is None and new_unit is None:
        return next((variant for variant in reversed(variants) if not variant.is_reference), None)
    return None


def _check_set(typed: Mapping[str, object], setup: Setup) -> None:
    """Refuse as settings what is read, or worked out from settings; what is unknown altogether is told by `read_settings`."""
    given = {same_name(name) for name in typed}
    for outcome in setup.outcomes:
        if outcome.name in given:
            raise DataError(
                f"{outcome.name} is an outcome, which is read of a variant and not set; log the variant without it.",
                command="record what was read with 'fettle read'",
            )
    for quantity in setup.derived:
        if quantity.name in given:
            parts = listed(sorted(quantity.parsed.names), "and")
            raise DataError(f"{quantity.name} is worked out from {parts}; set these instead.")


def _check_whole(typed: Mapping[str, object], before: Mapping[str, Value], setup: Setup, *, has_start: bool) -> None:
    given = {same_name(name) for name in (*typed, *before)}
    missing = [factor for factor in setup.factors if factor.name not in given]
    if not missing or not given <= {
        factor.name for factor in setup.factors
    }:  # what is no factor is told by `read_settings`
        return
    told = f"{missing[0].name} has no value; it {missing[0].allowed()}"
    if len(missing) > 1:
        told = f"{listed([factor.name for factor in missing], 'and')} have no value"
    start = ", or a variant to start from, whose settings it keeps" if has_start else ""
    raise DataError(
        f"{told}. What is built anew takes a setting of every factor{start}.", command=_how_to_give(has_start)
    )


def _how_to_give(has_start: bool) -> str:
    return f"write each as FACTOR=SETTING{', or name the variant with --from' if has_start else ''}"


def _check_differs(carried: Unit, settings: Settings, setup: Setup, again: bool) -> None:
    if again or any(carried.settings.get(factor.name) != settings[factor.name] for factor in setup.factors):
        return
    what = f"variant {carried.variant}" if carried.variant else "what it is"
    raise DataError(
        f"Unit {carried.name} carries these very settings already, as {what}; log readings of that, or log it 'again' "
        "if it was taken apart and put together once more.",
        command="--again says so",
    )


def _minutes(carried: Unit, settings: Settings, setup: Setup) -> float | None:
    if any(factor.name not in carried.settings for factor in setup.factors):
        return None
    return sum(factor.change_minutes(carried.settings[factor.name], settings[factor.name]) for factor in setup.factors)
