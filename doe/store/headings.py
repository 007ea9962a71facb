"""Which column of a spreadsheet is which: headings as people write them, matched to the project's own names."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from doe.model.errors import Problem, UsageError, did_you_mean, or_else
from doe.model.setup import Setup
from doe.store.cells import text_of
from doe.store.heading_text import UNITS, by_rater, is_bracketed, squeezed, without_unit
from doe.store.sheet import Cells, Line, Sheet, is_blank

ROLES = (
    "variant", "session", "rater", "order", "unit", "parent", "when", "note", "minutes", "price", "versus", "outcome",
    "value",
)  # fmt: skip
IGNORED = ""
"""Target of a column that the mapping sets aside: ``--map "Weather="``."""

NOT_READ = "Not read, since nothing in the project has that name"
"""How the note on columns begins that stand for nothing here."""

_LINES_TO_TRY = 30


@dataclass(frozen=True, slots=True)
class Column:
    """One column that is read.

    Attributes
    ----------
    place : int
        Where it stands, from 0.
    heading : str
        As it stands in the file.
    target : str
        The factor, outcome or role it holds.
    rater : str
        Whose readings they are, where the heading says so; else empty.
    """

    place: int
    heading: str
    target: str
    rater: str = ""


class Aim(NamedTuple):
    """What a heading means: a target of ours, with the unit and the rater that it states."""

    target: str
    unit: str = ""
    rater: str = ""


@dataclass(slots=True)
class _Found:
    """What the headings gave so far."""

    columns: dict[str, Column] = field(default_factory=dict)
    mapped: set[str] = field(default_factory=set)
    unread: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Header:
    """The line of headings, understood.

    Attributes
    ----------
    line : int
        Its line number.
    place : int
        Its place among the lines of the sheet.
    columns : dict of str to Column
        By target; further columns of an outcome under keys of their own.
    unread : tuple of str
        Headings of columns that are not read.
    notes, problems
        What was decided, and what stands in the way.
    """

    line: int
    place: int
    columns: Mapping[str, Column]
    unread: tuple[str, ...]
    notes: tuple[str, ...]
    problems: tuple[Problem, ...]


class Matcher:
    """Matches headings to factors, outcomes and roles.

    Parameters
    ----------
    setup : Setup
        The project's definitions.
    mapping : mapping of str to str
        Their name -> ours; an empty name sets the column aside, ``echo by Ann`` gives the column's readings a rater.

    Raises
    ------
    UsageError
        If the mapping aims at a name that is no factor, outcome or column of a log.
    """

    def __init__(self, setup: Setup, mapping: Mapping[str, str]) -> None:
        self.setup = setup
        self.units = {factor.name: factor.unit for factor in setup.factors}
        self.units |= {outcome.name: outcome.unit for outcome in setup.outcomes}
        self._outcomes = frozenset(outcome.name for outcome in setup.outcomes)
        names = (*ROLES, *self.units)
        self._names: dict[str, list[str]] = {}
        for name in names:
            self._names.setdefault(squeezed(name), []).append(name)
        self.mapping = {their: self._aim(their, ours) for their, ours in mapping.items()}

    def _aim(self, their: str, ours: str) -> Aim:
        if squeezed(ours) == IGNORED:
            return Aim(IGNORED)
        found = self._by_name(ours)
        if found is None:
            names = (*self.units, *ROLES)
            raise UsageError(
                f"The mapping '{their}={ours}' aims at '{ours}', which is no factor, outcome or column of a log"
                f"{or_else(ours, names)}"
            )
        return found

    def _by_name(self, text: str) -> Aim | None:
        found = self._names.get(squeezed(text), [])
        exact = [name for name in found if name == text.strip()]
        if exact or len(found) == 1:
            return Aim((exact or found)[0])
        taken_apart = by_rater(text)
        outcome = self._by_name(taken_apart[0]) if taken_apart else None
        if taken_apart and outcome and outcome.target in self._outcomes:
            return outcome._replace(rater=taken_apart[1])
        return None

    def mapped(self, heading: str) -> Aim | None:
        """Return what the mapping says of a heading, None if nothing."""
        whole = [ours for their, ours in self.mapping.items() if squeezed(their) == squeezed(heading)]
        if whole:
            return whole[0]
        for name, unit in without_unit(heading):
            for their, ours in self.mapping.items():
                if squeezed(their) == squeezed(name):
                    return ours._replace(unit=unit)
        return None

    def own(self, heading: str) -> Aim | None:
        """Return what a heading means by itself, None if it is not one of ours."""
        whole = self._by_name(heading)
        if whole is not None:
            return whole
        for name, unit in without_unit(heading):
            found = self._by_name(name)
            if found is not None and self._is_unit(found.target, unit, heading):
                return found._replace(unit=unit)
        return next((Aim(name, unit) for name, unit in self.units.items() if _is_with_unit(heading, name, unit)), None)

    def _is_unit(self, name: str, unit: str, heading: str) -> bool:
        """Tell whether what stands behind a name is a unit; in brackets anything may stand."""
        return is_bracketed(heading) or squeezed(unit) in {"", squeezed(self.units.get(name, ""))} | UNITS

    def score(self, cells: Cells) -> int:
        """Count the headings of a line that are recognised."""
        texts = [text_of(cell) for cell in cells if not is_blank(cell)]
        return sum(1 for text in texts if self.mapped(text) is not None or self.own(text) is not None)

    def header(self, sheet: Sheet) -> Header:
        """Find the line of headings and match each.

        Raises
        ------
        UsageError
            If the mapping names a column that the file does not have.
        """
        tried = sheet.lines[:_LINES_TO_TRY]
        scores = [self.score(line.cells) for line in tried]
        place = scores.index(max(scores))
        line = tried[place]
        headings = [text_of(cell) for cell in line.cells]
        self._check_mapping(sheet.source, headings)
        notes = [_title_note(above) for above in tried[:place]]
        found = self._columns(line.number, headings)
        if found.unread:
            notes.append(f"{NOT_READ}: {', '.join(found.unread)}.")
        return Header(line.number, place, found.columns, tuple(found.unread), tuple(notes), tuple(found.problems))

    def _check_mapping(self, source: str, headings: Sequence[str]) -> None:
        for their in self.mapping:
            plain = {
                squeezed(name) for heading in headings for name in (heading, *(n for n, _ in without_unit(heading)))
            }
            if squeezed(their) not in plain:
                raise UsageError(
                    f"The mapping names a column '{their}', which {source} does not have.{did_you_mean(their, headings)}"
                )

    def _columns(self, number: int, headings: Sequence[str]) -> _Found:
        found = _Found()
        mapped = [self.mapped(heading) if heading else None for heading in headings]
        taken = {(aim.target, aim.rater) for aim in mapped if aim is not None}
        for place, (heading, forced) in enumerate(zip(headings, mapped, strict=True)):
            aim = forced or (self.own(heading) if heading else None)
            if aim is None or (forced is None and (aim.target, aim.rater) in taken):
                found.unread += [heading] if heading else []
            elif aim.target != IGNORED:
                self._take(found, number, Column(place, heading, aim.target, aim.rater), is_mapped=forced is not None)
                found.problems += self._wrong_unit(number, heading, aim)
        return found

    def _take(self, found: _Found, number: int, column: Column, *, is_mapped: bool) -> None:
        """Note a column; only the mapping can give an outcome a second one, which then holds further readings of it."""
        key = f"{column.target} by {column.rater}" if column.rater else column.target
        if key in found.columns:
            if not (is_mapped and key in found.mapped and column.target in self._outcomes):
                allowed = f"means {key}, as column '{found.columns[key].heading}' does; keep one of them"
                found.problems.append(Problem(number, column.heading, column.heading, allowed))
                return
            key = f"{key} in column {column.place + 1}"
        found.columns[key] = column
        if is_mapped:
            found.mapped.add(key)

    def _wrong_unit(self, number: int, heading: str, aim: Aim) -> list[Problem]:
        ours = self.units.get(aim.target, "")
        if not ours or not aim.unit or squeezed(aim.unit) == squeezed(ours) or squeezed(aim.unit) not in UNITS:
            return []
        allowed = f"{aim.target} is defined in {ours}; convert the column, or map another"
        return [Problem(number, heading, aim.unit, allowed)]

    def near(self, name: str, headings: Sequence[str]) -> list[str]:
        """Return up to three headings that resemble a name."""
        plain, own = {squeezed(heading): heading for heading in headings}, squeezed(name)
        inside = [heading for key, heading in plain.items() if own in key or (len(key) > 2 and key in own)]
        alike = [plain[key] for key in difflib.get_close_matches(own, plain, n=3, cutoff=0.5)]
        return list(dict.fromkeys([*inside, *alike]))[:3]

    def is_units_line(self, cells: Cells, columns: Mapping[str, Column]) -> bool:
        """Tell whether a line holds nothing but the units of its columns."""
        by_place = {column.place: column.target for column in columns.values()}
        found = [
            (by_place.get(place), text_of(cell).strip("[](){}"))
            for place, cell in enumerate(cells)
            if not is_blank(cell)
        ]
        stated = [
            squeezed(unit) == squeezed(self.units.get(target, "")) for target, unit in found if target in self.units
        ]
        return bool(stated) and all(stated) and all(target is None or target in self.units for target, _ in found)


def _title_note(line: Line) -> str:
    text = " ".join(text_of(cell) for cell in line.cells if not is_blank(cell))
    return f"Line {line.number} was taken as a title: '{text[:60]}'."


def _is_with_unit(heading: str, name: str, unit: str) -> bool:
    return bool(unit) and squeezed(heading) == squeezed(name) + squeezed(unit)
