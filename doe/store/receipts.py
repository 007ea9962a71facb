"""What is to be stored, and what was stored, told back to whoever asked for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from doe.model.change import Change
from doe.model.records import Reading, Unit, Variant
from doe.model.setup import Setup
from doe.model.wording import counted
from doe.store.journal import Entry


@dataclass(frozen=True, slots=True)
class Build:
    """A variant about to be stored, as it was worked out.

    Attributes
    ----------
    variant : Variant
        With its name, or any where `number_on`.
    change : Change
        Where it comes from.
    setup : Setup
        The definitions by which it was read.
    planned : str or None
        The planned variant that it is.
    number_on : bool
        Whether it gets the next number instead of its own name, or keeps the one it was planned under.
    """

    variant: Variant
    change: Change
    setup: Setup
    planned: str | None = None
    number_on: bool = False

    @property
    def new_unit(self) -> Unit | None:
        """The unit that is made for it."""
        name = self.change.unit if self.change.is_new_unit else None
        return Unit(name) if name is not None else None

    @property
    def facts(self) -> dict[str, Any]:
        """What came out of a planned variant; without a name or a note it keeps those that it has."""
        own = {name: getattr(self.variant, name) for name in ("unit", "parent", "minutes", "price", "when", "settings")}
        told = {"note": self.variant.note} if self.variant.note else {}
        renamed = {} if self.number_on else {"name": self.variant.name}
        return {**own, **told, **renamed}


@dataclass(frozen=True, slots=True, repr=False)
class Logged:
    """A variant as it was stored.

    Attributes
    ----------
    variant : Variant
        With its name and settings.
    change : Change
        Where it comes from; for a reference object a change of nothing.
    entry : Entry
        Of the journal; what takes it back.
    setup : Setup
        The definitions by which it was read.
    photo_entries : tuple of Entry
        The same as `entry` for each photo.
    was_planned : bool
        Whether it was planned before.
    notes : tuple of str
        What looks like a slip.
    """

    variant: Variant
    change: Change
    entry: Entry
    setup: Setup
    photo_entries: tuple[Entry, ...] = ()
    was_planned: bool = False
    notes: tuple[str, ...] = ()

    def told(self) -> dict[str, object]:
        """Return what was stored as the plain dictionary that both faces give as JSON."""
        variant, change = self.variant, self.change
        return {
            "variant": variant.name,
            "unit": variant.unit,
            "is_new_unit": change.is_new_unit,
            "parent": variant.parent,
            "settings": variant.settings,
            "changed": {name: {"from": old, "to": new} for name, (old, new) in change.changed.items()},
            "expected_minutes": change.minutes,
            "was_planned": self.was_planned,
            "entry": self.entry.id,
            "photo_entries": [entry.id for entry in self.photo_entries],
            "notes": list(self.notes),
        }

    def __repr__(self) -> str:
        return _shown(self, self.entry.summary, self.notes)


@dataclass(frozen=True, slots=True, repr=False)
class ReadingsStored:
    """Readings as they were stored.

    Attributes
    ----------
    readings : tuple of Reading
        In the order in which they were given.
    is_new_session : bool
        Whether their session was named for the first time.
    entry : Entry
        Of the journal; what takes them back.
    setup : Setup
        The definitions by which they were read.
    notes : tuple of str
        What looks like a slip.
    """

    readings: tuple[Reading, ...]
    is_new_session: bool
    entry: Entry
    setup: Setup
    notes: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return _shown(self, self.entry.summary, self.notes)


@dataclass(frozen=True, slots=True, repr=False)
class Imported:
    """A log that was brought in.

    Attributes
    ----------
    variants, readings, sessions, units : int
        How many of each were new.
    notes : tuple of str
        What was read in a way that a person may want to know of.
    entry : Entry or None
        Of the journal; None where the file was only looked at.
    """

    variants: int
    readings: int
    sessions: int
    units: int
    notes: tuple[str, ...]
    entry: Entry | None

    def __repr__(self) -> str:
        if self.entry is not None:
            return _shown(self, self.entry.summary, self.notes)
        read = f"{counted(self.variants, 'variant')} and {counted(self.readings, 'reading')} could be imported"
        return _shown(self, read, self.notes)


def _shown(receipt: object, summary: str, notes: Sequence[str]) -> str:
    """Say in a line what was stored and what looks like a slip, since a notebook shows it below the call."""
    return f"<{type(receipt).__name__}: {'; '.join([summary, *(note.removesuffix('.') for note in notes)])}>"
