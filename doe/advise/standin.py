"""Stand-ins: which cheap, reversible factor acts through which quantity, and which lasting factors can make up for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from doe.model.choices import Value
from doe.model.errors import DataError, FettleError, UsageError, did_you_mean, listed, there_are
from doe.model.factor import Factor
from doe.model.limit import Derived

_NAMES_FOR_NOTHING = ("none", "no", "without", "off", "0")


@dataclass(frozen=True, slots=True)
class StandIn:
    """What is to be taken away, and what is to stay the same.

    Attributes
    ----------
    factor : Factor
        The stand-in.
    to : setting
        What it is set to for good.
    quantity : Derived
        What is to be kept.
    lasting : tuple of Factor
        Factors that may make up for it: the other parts of the quantity, those that are held left out.
    """

    factor: Factor
    to: Value
    quantity: Derived
    lasting: tuple[Factor, ...]


def choose_stand_in(
    factors: Sequence[Factor],
    derived: Sequence[Derived],
    without: str | None = None,
    to: object = None,
    through: str | None = None,
    hold: Sequence[str] = (),
) -> StandIn:
    """Find out which factor is the stand-in and which quantity it acts through; what is plain need not be said.

    Parameters
    ----------
    factors : sequence of Factor
    derived : sequence of Derived
    without : str, optional
        The stand-in; by default the one part of the quantity that can be changed back and forth.
    to : object, optional
        Its lasting setting; by default 0, the low end, or a level that is called 'none'.
    through : str, optional
        The quantity; by default the only one that the stand-in is part of.
    hold : sequence of str
        Parts of the quantity that must stay as they are.

    Raises
    ------
    UsageError
        If a name is unknown, or it is not plain what is meant.
    DataError
        If no derived quantity holds the stand-in beside a lasting factor, or the setting is not allowed.
    """
    known = {factor.name: factor for factor in factors}
    for name in (*([without] if without is not None else ()), *hold):
        if name not in known:
            raise UsageError(f"'{name}' is no factor of this project; {there_are(known)}.{did_you_mean(name, known)}")
    flat = [quantity for quantity in _written_out(derived) if len(quantity.parsed.names & set(known)) > 1]
    quantity = _quantity(flat, derived, without, through)
    parts = [factor for factor in factors if factor.name in quantity.parsed.names]
    chosen = known[without] if without is not None else _reversible(parts, quantity)
    if chosen not in parts:
        raise UsageError(
            f"{chosen.name} is no part of {quantity.name} = {quantity.expression}; take one of its parts away, "
            f"{listed([factor.name for factor in parts])}, or keep another quantity equal.",
            command="name a part with --without, or a quantity with --through",
        )
    lasting = tuple(factor for factor in parts if factor is not chosen and factor.name not in hold)
    if not lasting:
        raise UsageError(
            f"Every other part of {quantity.name} is held, so nothing can make up for {chosen.name}; leave at least one of "
            f"them free.",
            command="name fewer with --hold",
        )
    return StandIn(chosen, _nothing(chosen, to), quantity, lasting)


def unknown_quantity(name: str, known: Sequence[str]) -> FettleError:
    """Return the refusal of a derived quantity that is not defined, a UsageError."""
    message = f"'{name}' is no derived quantity of this project; {there_are(known)}.{did_you_mean(name, known)}"
    return UsageError(message) if known else _undefined(message, UsageError)


def _undefined(message: str, kind: type[FettleError] = DataError) -> FettleError:
    """Return a refusal that a new derived quantity would mend."""
    return kind(message, command="'fettle derived add NAME EXPRESSION' defines one")


def _written_out(derived: Sequence[Derived]) -> list[Derived]:
    """Return the quantities written in factors alone."""
    known: dict[str, Any] = {}
    for quantity in derived:
        known[quantity.name] = quantity.parsed.inlined(known)
    return [replace(quantity, expression=known[quantity.name].text) for quantity in derived]


def _quantity(flat: Sequence[Derived], all_: Sequence[Derived], without: str | None, through: str | None) -> Derived:
    if through is not None:
        found = [quantity for quantity in flat if quantity.name == through]
        if found:
            return found[0]
        names = [quantity.name for quantity in all_]
        if through in names:
            raise _undefined(
                f"{through} is written in one factor only, so nothing can stand in for another; choose or define a quantity "
                "that two factors are part of."
            )
        raise unknown_quantity(through, names)
    fitting = [quantity for quantity in flat if without is None or without in quantity.parsed.names]
    if not fitting:
        what = "No derived quantity ties two factors together"
        if without is not None:
            what = f"{without} is part of no derived quantity"
            what += " beside another factor" if any(without in each.parsed.names for each in all_) else ""
        raise _undefined(
            f"{what}, so there is nothing that a lasting change could keep equal; say what it acts through, in a "
            "derived quantity such as inner_air = rings * 42 - wool * 2.1."
        )
    if len(fitting) > 1:
        there = listed([quantity.name for quantity in fitting])
        raise UsageError(
            f"More than one quantity could be kept equal; say which: {there}.", command="name it with --through"
        )
    return fitting[0]


def _reversible(parts: Sequence[Factor], quantity: Derived) -> Factor:
    free = [factor for factor in parts if factor.way == "either"]
    if len(free) == 1:
        return free[0]
    names = listed([factor.name for factor in parts])
    raise UsageError(
        f"Say which part of {quantity.name} is the stand-in to take away: {names}.", command="name it with --without"
    )


def _nothing(factor: Factor, to: object) -> Value:
    """Return the setting that means none of it."""
    if to is not None:
        return factor.read(to)
    if not factor.is_numeric:
        named = [level for level in factor.levels if level.casefold() in _NAMES_FOR_NOTHING]
        if named or factor.kind == "ordered":
            return named[0] if named else factor.levels[0]
        raise UsageError(
            f"Say which level of {factor.name} is to last: {listed(factor.levels)}.", command="name it with --to"
        )
    try:
        return factor.read(0.0)
    except DataError:  # 0 lies outside the range, or between two steps
        return factor.read(factor.span[0])
