"""The lines of a log, turned into variants and readings; what stands in the way is collected, not raised."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple, TypeVar

from doe.model.choices import Settings, Value
from doe.model.errors import Problem, did_you_mean, listed
from doe.model.factor import Factor
from doe.model.limit import broken_limits, names_behind
from doe.model.names import MEANS_NEW, NEW_UNIT
from doe.model.outcome import Outcome
from doe.model.records import Reading, Variant
from doe.model.setup import Setup
from doe.store.cells import Reader, Refused, is_nothing, label, moment, text_of
from doe.store.heading_text import squeezed
from doe.store.headings import Column
from doe.store.sheet import Line

_T = TypeVar("_T")
_WHAT_TO_DO = "; leave its lines out, or give it a name of its own"
"""Said of the first variant that the project has; a log that goes on where one was imported has dozens."""
_SUMMARY_WORDS = "mean average avg total sum median sd std min max mittel mittelwert summe moyenne"
_SUMMARIES = frozenset(_SUMMARY_WORDS.split())


class Taken(NamedTuple):
    """One value of a line, with the rater whose column it stands in."""

    outcome: Outcome
    value: float
    rater: str = ""


class LogRows:
    """Collects what the lines of a log say.

    Parameters
    ----------
    setup : Setup
        The project's definitions.
    columns : mapping of str to Column
        The columns that are read, by target.
    reader : Reader
        Reads single cells.
    known, known_units, planned : collection of str
        Variants and units in the project already, and which of these variants are only planned.
    first : int
        Least number of a new variant, where no column names them.

    Attributes
    ----------
    variants : dict of str to Variant
        New variants by name.
    readings : list of Reading
        In the order of the file.
    sessions, units : dict of str to None
        Names that occur, in their order.
    problems, notes : list
        What stands in the way, and what was decided.
    """

    def __init__(
        self,
        setup: Setup,
        columns: Mapping[str, Column],
        reader: Reader,
        known: Collection[str],
        known_units: Collection[str] = (),
        planned: Collection[str] = (),
        first: int = 1,
    ) -> None:
        self.variants: dict[str, Variant] = {}
        self.readings: list[Reading] = []
        self.sessions: dict[str, None] = {}
        self.units: dict[str, None] = {}
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self._setup, self._columns, self._reader, self._known = setup, columns, reader, frozenset(known)
        self._planned = frozenset(planned)
        self._outcomes = {outcome.name: outcome for outcome in setup.outcomes}
        self._is_long = "outcome" in columns and "value" in columns
        self._factors = [factor for factor in setup.factors if factor.name in columns]
        self._lines: dict[str, int] = {}
        self._spelled = {"variant": _by_folded(self._known), "unit": _by_folded(known_units)}
        self._links: list[tuple[Line, str, str]] = []
        self._several_units: dict[str, None] = {}
        self._is_repeated = False
        self._next = max(first, *(int(name) + 1 for name in self._known if name.isdecimal()), 1)
        if "variant" not in columns:
            self.notes.append(f"No column names the variant, so each line is a build of its own, from {self._next} on.")

    def add(self, line: Line) -> None:
        """Take one line in."""
        name = self._name(line)
        row: dict[str, Any] = {
            "session": self._read(line, "session", label),
            "rater": self._read(line, "rater", label),
            "unit": self._read(line, "unit", label),
            "order": self._read(line, "order", self._order),
            "when": self._read(line, "when", moment),
            "note": text_of(self._cell(line, "note")),
        }
        self.sessions |= dict.fromkeys([row["session"]] if row["session"] else [])
        if row["unit"] and row["unit"] not in self.units:
            self._check_spelling(line, "unit", row["unit"])
            if row["unit"].casefold() == NEW_UNIT:
                self._refuse(line, "unit", MEANS_NEW)
            self.units[row["unit"]] = None
        values = self._long_value(line) if self._is_long else self._wide_values(line)
        if name is None:
            self._settings(line)  # for what else is wrong in the line
            return
        self._take_variant(line, name, row, has_values=bool(values))
        if self._lines.get(name) == line.number and not self._is_long:
            row["note"] = ""  # the note of a variant's first line is the variant's
        self._take_readings(line, name, values, row)

    def finish(self) -> None:
        """Check what only the whole file can tell."""
        names = {*self.variants, *self._lines, *self._known}
        for line, target, name in self._links:
            if name not in names:
                near = did_you_mean(name, names)
                self._refuse(
                    line, target, f"must be a variant of this log or of the project{'.' if near else ''}{near}"
                )
            elif name in self._planned and target != "parent":
                self._refuse(line, target, "is only planned; mark it as built before taking readings of it")
        self._check_lineage()
        references = [variant.name for variant in self.variants.values() if variant.is_reference]
        if references and self._setup.factors:
            self.notes.append(f"No settings, so taken as a reference object: {', '.join(references)}.")
        if self._several_units:
            names_told = ", ".join(self._several_units)
            self.notes.append(f"On more than one unit, so only the readings say on which: variant {names_told}.")
        if not self.readings:
            self.notes.append("No reading was found: no column holds an outcome, or all its cells are empty.")

    # One line

    def _cell(self, line: Line, target: str) -> object:
        column = self._columns.get(target)
        return line.cells[column.place] if column is not None and column.place < len(line.cells) else None

    def _read(self, line: Line, target: str, read: Callable[[object], _T | None]) -> _T | None:
        """Read a cell; one that is refused becomes a problem."""
        if target not in self._columns:
            return None
        try:
            return read(self._cell(line, target))
        except Refused as refused:
            self._refuse(line, target, str(refused))
            return None

    def _refuse(self, line: Line, target: str, allowed: str) -> None:
        column = self._columns.get(target)
        self.problems.append(
            Problem(line.number, column.heading if column else target, text_of(self._cell(line, target)), allowed)
        )

    def _check_spelling(self, line: Line, target: str, name: str) -> None:
        """Refuse a name that differs from another one in capitals only: nobody could tell which of them is meant."""
        alike = self._spelled[target].setdefault(name.casefold(), [])
        if alike and name not in alike:
            allowed = f"differs from '{alike[0]}' in capitals only; spell it the same, or give it a name of its own"
            self._refuse(line, target, allowed)
        alike.append(name)

    def _order(self, cell: object) -> int | None:
        return None if is_nothing(cell) else self._reader.place(cell)

    def _effort(self, cell: object) -> float | None:
        return None if is_nothing(cell) else self._reader.effort(cell)

    def _name(self, line: Line) -> str | None:
        if "variant" not in self._columns:
            self._next += 1
            return str(self._next - 1)
        before = len(self.problems)
        name = self._read(line, "variant", label)
        if name is None and len(self.problems) == before:
            self._refuse(line, "variant", "must name the variant")
        return name

    # Variants

    def _take_variant(self, line: Line, name: str, row: Mapping[str, Any], *, has_values: bool) -> None:
        settings = self._settings(line)
        if not self._factors and self._known and self._setup.factors:
            self._links.append((line, "variant", name))
            return
        if name in self._lines:
            self._take_again(line, name, settings, row)
            return
        self._lines[name] = line.number
        if name in self._known:
            self._refuse(line, "variant", f"is in the project already{'' if self._is_repeated else _WHAT_TO_DO}")
            self._is_repeated = True
        else:
            self._check_spelling(line, "variant", name)
        if settings is None:
            return
        if not settings and self._setup.factors:
            self._check_reference(line, name, has_values=has_values)
        self._check_limits(line, settings)
        parent = self._parent(line)
        self.variants[name] = Variant(
            name,
            settings,
            unit=row["unit"],
            parent=parent,
            minutes=self._read(line, "minutes", self._effort),
            price=self._read(line, "price", self._effort),
            when=row["when"],
            note="" if self._is_long else row["note"],
        )

    def _parent(self, line: Line) -> str | None:
        parent = self._read(line, "parent", label)
        if parent is not None:
            self._links.append((line, "parent", parent))
        return parent

    def _settings(self, line: Line) -> Settings | None:
        """Read the factor cells: all of them, or {} where all are empty, or None where some cannot be read."""
        cells = {factor.name: self._cell(line, factor.name) for factor in self._factors}
        empty = {factor.name for factor in self._factors if is_nothing(cells[factor.name], factor.levels)}
        if len(empty) == len(self._factors):
            return {}
        settings: Settings = {}
        for factor in self._factors:
            if factor.name in empty:
                self._refuse(line, factor.name, f"{factor.allowed()} (only a reference object has no settings at all)")
                continue
            value = self._setting(line, factor)
            if value is not None:
                settings[factor.name] = value
        return settings if len(settings) == len(self._setup.factors) else None

    def _setting(self, line: Line, factor: Factor) -> Value | None:
        try:
            return self._reader.setting(factor, self._cell(line, factor.name))
        except Refused as refused:
            self._refuse(line, factor.name, str(refused))
            return None

    def _check_reference(self, line: Line, name: str, *, has_values: bool) -> None:
        if squeezed(name) in _SUMMARIES:
            self._refuse(line, "variant", "looks like a summary of other lines, not a variant; leave that line out")
        elif not has_values:
            self._refuse(line, "variant", "has neither settings nor readings; fill them in, or leave that line out")

    def _check_limits(self, line: Line, settings: Settings) -> None:
        for limit in broken_limits(settings, self._setup.limits, self._setup.derived) if settings else []:
            behind = names_behind(limit.expression.names, self._setup.derived)
            used = [name for name in self._columns if name in behind]
            shown = ", ".join(text_of(settings[name]) for name in used)
            headings = ", ".join(self._columns[name].heading for name in used)
            self.problems.append(Problem(line.number, headings, shown, f"breaks the limit '{limit.rule}'"))

    def _take_again(self, line: Line, name: str, settings: Settings | None, row: Mapping[str, Any]) -> None:
        """Hold a further line of a variant against its first one."""
        known = self.variants.get(name)
        if known is None:
            return
        first = self._lines[name]
        for target, value in (settings or {}).items():
            if target not in known.settings:
                self._refuse(line, target, f"must be empty as in line {first}, where variant {name} has no settings")
            elif known.settings[target] != value:
                allowed = (
                    f"must be {text_of(known.settings[target])} as in line {first}: a variant has one setting of each"
                )
                self._refuse(line, target, allowed)
        if row["unit"] and known.unit != row["unit"]:
            if known.unit is not None or name in self._several_units:
                self._several_units[name] = None
            self.variants[name] = replace(known, unit=None if name in self._several_units else row["unit"])
        self._merge(line, name)

    def _merge(self, line: Line, name: str) -> None:
        """Take parent and effort from a further line, which may only repeat them."""
        for target, read in (("parent", label), ("minutes", self._effort), ("price", self._effort)):
            value: Any = self._parent(line) if target == "parent" else self._read(line, target, read)
            present = getattr(self.variants[name], target)
            if value is None or value == present:
                continue
            if present is not None:
                self._refuse(line, target, f"must be {text_of(present)} as in line {self._lines[name]}")
            else:
                self.variants[name] = replace(self.variants[name], **{target: value})

    # Readings

    def _wide_values(self, line: Line) -> list[Taken]:
        found = []
        for key, column in self._columns.items():
            outcome = self._outcomes.get(column.target)
            if outcome is not None and not is_nothing(self._cell(line, key)):
                value = self._read(line, key, partial(self._reader.value, outcome))
                if value is not None:
                    found.append(Taken(outcome, value, column.rater))
        return found

    def _long_value(self, line: Line) -> list[Taken]:
        outcome = self._read(line, "outcome", self._outcome)
        if outcome is None:
            if is_nothing(self._cell(line, "outcome")) and not is_nothing(self._cell(line, "value")):
                self._refuse(line, "outcome", f"must be {listed(self._outcomes)}, since a value stands beside it")
            return []
        value = self._read(line, "value", lambda cell: None if is_nothing(cell) else self._reader.value(outcome, cell))
        return [] if value is None else [Taken(outcome, value)]

    def _outcome(self, cell: object) -> Outcome | None:
        if is_nothing(cell):
            return None
        text = text_of(cell)
        for outcome in self._outcomes.values():
            if squeezed(text) in (squeezed(outcome.name), squeezed(f"{outcome.name}({outcome.unit})")):
                return outcome
        near = did_you_mean(text, self._outcomes)
        raise Refused(f"must be {listed(self._outcomes)}{'.' if near else ''}{near}")

    def _take_readings(self, line: Line, name: str, values: list[Taken], row: Mapping[str, Any]) -> None:
        versus = self._read(line, "versus", label)
        for outcome, value, rater in values:
            other = versus if outcome.kind == "compared" else None
            if outcome.kind == "compared" and (other is None or other == name):
                allowed = f"must name the second variant, since {outcome.name} compares two (column versus)"
                self._refuse(line, "versus" if "versus" in self._columns else outcome.name, allowed)
                continue
            if other is not None:
                self._links.append((line, "versus", other))
            own = {**row, "rater": rater} if rater else row
            self.readings.append(Reading(name, outcome.name, value, versus=other, **own))

    # The whole file

    def _check_lineage(self) -> None:
        for name in self.variants:
            step: str | None = name
            for _ in range(len(self.variants) + 1):
                step = self.variants[step].parent if step in self.variants else None
                if step == name:
                    allowed = f"leads back to variant {name} itself"
                    heading = self._columns["parent"].heading
                    self.problems.append(Problem(self._lines[name], heading, self.variants[name].parent or "", allowed))
                    break


def _by_folded(names: Collection[str]) -> dict[str, list[str]]:
    """Return names by what they are without regard to capitals."""
    found: dict[str, list[str]] = {}
    for name in names:
        found.setdefault(name.casefold(), []).append(name)
    return found
