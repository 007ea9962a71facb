"""What came out of measuring, told to whoever asked for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doe.model import wording
from doe.model.outcome import Outcome
from doe.signals.recipes import Measured
from doe.store import Entry

if TYPE_CHECKING:
    import pandas as pd

_MOST_PLACES = 6
"""Of values that are told apart; a smaller difference between them is often one of rounding alone."""


@dataclass(frozen=True, slots=True)
class OutcomeMeasured:
    """Readings of one outcome.

    Attributes
    ----------
    outcome : Outcome
        What was measured.
    measured : Measured
        The values and how they were computed.
    readings : tuple of int or None
        Numbers of the stored readings; None if nothing was stored.
    """

    outcome: Outcome
    measured: Measured
    readings: tuple[int, ...] | None = None

    def line(self) -> str:
        """Return the values with their mean, how it was formed, and the scatter, without the outcome's name."""
        made = self.measured
        values = ", ".join(wording.number(value) for value in made.values)
        unit = wording.unit_behind(made.unit or self.outcome.unit)
        if made.scatter is None:
            return f"{values}{unit}"
        how = "" if made.average == "arithmetic" else f", averaged as {made.average}"
        return f"{values}{unit} (mean {wording.number(made.mean)}{how}; scatter {wording.number(made.scatter, 2)})"


@dataclass(frozen=True, slots=True, repr=False)
class Measurements:
    """What takes of one variant gave.

    Attributes
    ----------
    variant : str
        What was measured.
    files : tuple of str
        Names of the takes.
    measured : tuple of OutcomeMeasured
        One per outcome.
    entry : Entry or None
        Of the journal; None if nothing was stored.
    warnings, notes : tuple of str
        What concerns no single outcome, then what concerns each, every sentence once.
    is_new_session : bool
        Whether the session was named for the first time.
    """

    variant: str
    files: tuple[str, ...]
    measured: tuple[OutcomeMeasured, ...]
    entry: Entry | None = None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    is_new_session: bool = False

    def summary(self) -> str:
        """Return one line per outcome, aligned."""
        head = f"variant {self.variant}, {wording.counted(len(self.files), 'take')}"
        if not self.measured:
            return head
        width = max(len(item.outcome.name) for item in self.measured)
        return "\n".join([f"{head}:", *(f"  {item.outcome.name:<{width}}  {item.line()}" for item in self.measured)])

    def to_frame(self) -> pd.DataFrame:
        """Return one row per reading: variant, outcome, file, value, unit, recipe, version."""
        import pandas as pd

        columns = ["variant", "outcome", "file", "value", "unit", "recipe", "version"]
        return pd.DataFrame([[row[name] for name in columns] for row in self._rows()], columns=columns)

    def _rows(self) -> Iterator[dict[str, Any]]:
        for item in self.measured:
            made = item.measured
            for file, value in zip(made.files, made.values, strict=True):
                yield {
                    "variant": self.variant,
                    "outcome": item.outcome.name,
                    "file": file,
                    "value": value,
                    "unit": made.unit or item.outcome.unit,
                    "recipe": made.recipe,
                    "version": made.version,
                }

    def __str__(self) -> str:
        return _with_said(self.summary(), self.warnings, self.notes)

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self}>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(str(self))}</pre>"


@dataclass(frozen=True, slots=True)
class Change:
    """A reading that was computed anew.

    Attributes
    ----------
    reading : int
        Its number.
    variant, outcome, unit, file : str
        Whose, of what, in which unit, from which file.
    before, after : float
        Its value.
    why : str
        What differs from how it was computed before.
    """

    reading: int
    variant: str
    outcome: str
    unit: str
    file: str
    before: float
    after: float
    why: str

    def line(self) -> str:
        """Return it as a line."""
        places = wording.places_for(abs(self.after - self.before))
        is_told = self.after != self.before and places <= _MOST_PLACES
        before, after = (
            wording.fixed(value, max(2, places)) if is_told else wording.number(value)
            for value in (self.before, self.after)
        )
        unit = wording.unit_behind(self.unit)
        return f"{self.outcome} of {self.variant}, {self.file}: {before} -> {after}{unit} ({self.why})"


@dataclass(frozen=True, slots=True, repr=False)
class Recomputed:
    """Readings that were computed anew from their kept files.

    Attributes
    ----------
    changes : tuple of Change
        In the order of the readings; empty if all are up to date.
    entry : Entry or None
        Of the journal; None if nothing was stored.
    warnings, notes : tuple of str
        What is to be said.
    """

    changes: tuple[Change, ...]
    entry: Entry | None = None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def summary(self) -> str:
        """Return one line per reading."""
        return "\n".join(change.line() for change in self.changes) or "Nothing to recompute."

    def to_frame(self) -> pd.DataFrame:
        """Return one row per reading: its number, variant, outcome, unit, file, before, after, why."""
        import pandas as pd

        names = list(Change.__slots__)
        return pd.DataFrame([[getattr(change, name) for name in names] for change in self.changes], columns=names)

    def __str__(self) -> str:
        return _with_said(self.summary(), self.warnings, self.notes)

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self}>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(str(self))}</pre>"


def _with_said(text: str, warnings: Sequence[str], notes: Sequence[str]) -> str:
    """Return text with what stands against trusting it and what was assumed below, a line each."""
    return "\n".join([text, *(f"Warning: {line}" for line in warnings), *(f"Note: {line}" for line in notes)])
