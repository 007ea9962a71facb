"""The reason for a move, in two sentences a maker would say, built from the numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doe.model import wording
from doe.model.choices import Value
from doe.model.errors import listed
from doe.model.factor import Factor
from doe.model.names import unit_text


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything a reason is built from.

    Attributes
    ----------
    kind : str
        ``improve``, ``learn``, ``repeat`` or ``confirm``.
    unit : str
        Where the change starts; ``new`` for a new unit.
    changes : mapping of str to pair of setting
        Factor -> from, to; empty for a reading.
    settings : mapping of str to setting
        All settings of the variant.
    minutes : float
        Whole effort of the move.
    rounds : int
    best : str or None
        Variant to beat.
    is_best : bool
        Whether the move concerns the best variant itself.
    variant : str or None
        An existing variant with these settings.
    expected, low, high : float
        Worth to expect, 95 %.
    chance : float
        That it is better than the best.
    settles : sequence of str
        Terms it would separate.
    would_change : str
        What would change our mind, as half a sentence; empty where no reading could.
    is_exploration : bool
        Whether there are no readings yet to go by.
    one_way : sequence of str
        Factors that cannot be changed back on this unit.
    loses_best : bool
        Whether the unit carries the best variant now, and would no longer.
    follows : bool
        Whether the unit starts from where an earlier suggestion of the same session leaves it.
    """

    kind: str
    unit: str
    changes: Mapping[str, tuple[Value, Value]]
    settings: Mapping[str, Value]
    minutes: float
    rounds: int
    best: str | None
    is_best: bool
    variant: str | None
    expected: float
    low: float
    high: float
    chance: float
    settles: Sequence[str]
    would_change: str
    is_exploration: bool
    one_way: Sequence[str] = ()
    loses_best: bool = False
    follows: bool = False


def reason(facts: Facts, factors: Sequence[Factor]) -> str:
    """Say what to do and how long it takes, then what to expect of it."""
    return f"{_what(facts, factors)} {_why(facts)}"


def changes_text(changes: Mapping[str, tuple[Value, Value]], factors: Sequence[Factor]) -> str:
    """Write changes as ``wool from 0 to 20 % and vents from 2 to 4``."""
    units = {factor.name: wording.unit_behind(factor.unit) for factor in factors}
    ends = {name: [wording.cell_text(end) for end in pair] for name, pair in changes.items()}
    told = [f"{wording.spaced(name)} from {start} to {end}{units[name]}" for name, (start, end) in ends.items()]
    return listed(told, "and")


def settings_text(settings: Mapping[str, Value], factors: Sequence[Factor]) -> str:
    """Write all settings as ``rings 9, wool 20 %``."""
    units = {factor.name: wording.unit_behind(factor.unit) for factor in factors}
    return ", ".join(
        f"{wording.spaced(name)} {wording.cell_text(value)}{units[name]}" for name, value in settings.items()
    )


def _what(facts: Facts, factors: Sequence[Factor]) -> str:
    effort = f"{wording.duration(facts.minutes)} with {wording.counted(facts.rounds, 'round')} of readings"
    if facts.kind == "repeat":
        which = "the best so far" if facts.is_best else "on the bench still"
        return f"Read variant {facts.variant} again, {which}, on {unit_text(facts.unit)}: {effort}, nothing to build."
    if facts.unit == "new":
        built = f"Build a new unit with {settings_text(facts.settings, factors)}"
        if facts.kind == "confirm":
            built = f"Build variant {facts.best} once more as a new unit"
        return f"{built}: {effort}."
    if not facts.changes:
        return f"Read {unit_text(facts.unit)} as it stands ({settings_text(facts.settings, factors)}): {effort}."
    back = f", which is variant {facts.variant} again" if facts.variant is not None else ""
    on = "Then, on" if facts.follows else "On"
    return (
        f"{on} {unit_text(facts.unit)} change {changes_text(facts.changes, factors)}{back}{_caution(facts)}: {effort}."
    )


def _caution(facts: Facts) -> str:
    """Say what cannot be undone, and that the best variant is taken apart."""
    parts = []
    if facts.one_way:
        parts.append(f"{listed(map(wording.spaced, facts.one_way), 'and')} cannot go back on this unit")
    if facts.loses_best:
        parts.append(f"it carries variant {facts.best} now, the best so far")
    return f" ({'; '.join(parts)})" if parts else ""


def runner_up(label: str, minutes: float, unit: str, share: float) -> str:
    """Say what a cheaper move is, and what it gives up.

    Parameters
    ----------
    label : str
        What would be changed.
    minutes : float
    unit : str
    share : float
        Its value as a share of the first choice's.
    """
    where = "as a new unit" if unit == "new" else f"on {unit_text(unit)}"
    gives_up = f"it gives up {wording.percent(1 - share)} of what the first choice is expected to bring"
    if share >= 1:
        gives_up = "it is expected to bring as much"
    return f"Cheaper: {label} {where}, {wording.duration(minutes)}; {gives_up}."


def _doubts(terms: Sequence[str]) -> str:
    """Say what is open about terms as spelled in tables: that they matter, bend, or depend on one another."""
    terms = [wording.spaced(term) for term in terms]
    mains = [term for term in terms if ":" not in term and not term.endswith("^2")]
    clauses = [f"{listed(mains, 'and')} {'matters' if len(mains) == 1 else 'matter'}"] if mains else []
    clauses += [f"the effect of {term.removesuffix('^2')} bends" for term in terms if term.endswith("^2")]
    for first, *others in (term.split(":") for term in terms if ":" in term):
        clauses.append(f"what {first} does depends on {listed(others, 'and')}")
    return " and whether ".join(clauses)


def _why(facts: Facts) -> str:
    if facts.is_exploration:
        return (
            "There are no readings to go by yet, so this is exploration: it is chosen to show as much as possible for "
            "its minutes, not because it is expected to be good."
        )
    expected = wording.worth_told(facts.expected, facts.low, facts.high)
    settles = f"; it would help to tell whether {_doubts(facts.settles)}" if facts.settles else ""
    against = f"; {facts.would_change}" if facts.would_change else ""
    if facts.kind == "repeat":
        return f"Its worth is believed to be {expected}{settles}{against}."
    if facts.kind == "confirm":
        return f"If the settings and not luck made it good, its worth will be {expected}{against}."
    chance = (
        f"a chance of {wording.chance(facts.chance)} to beat variant {facts.best}"
        if facts.best
        else "nothing to beat yet"
    )
    return f"Expect a worth of {expected}, {chance}{settles}{against}."
