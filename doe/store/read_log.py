"""Reading the log that people already have: a spreadsheet in wide or long form, with other headings than ours."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from doe.model.errors import DataError, ImportProblems, Problem
from doe.model.records import Reading, Session, Unit, Variant
from doe.model.setup import Setup
from doe.store.cells import Reader, is_nothing, text_of
from doe.store.headings import Header, Matcher
from doe.store.log_rows import LogRows
from doe.store.sheet import Line, Sheet, is_blank, read_sheet


@dataclass(frozen=True, slots=True)
class Log:
    """What a spreadsheet says, ready to be stored.

    Attributes
    ----------
    variants, sessions, units, readings : tuple
        In the order of the file; sessions and units are all that it names.
    notes : tuple of str
        Sentences: what was decided, and what was not read.
    source, digest : str
        File name, and sha256 of its content.
    """

    variants: tuple[Variant, ...]
    sessions: tuple[Session, ...]
    units: tuple[Unit, ...]
    readings: tuple[Reading, ...]
    notes: tuple[str, ...]
    source: str
    digest: str


def read_log(
    path: str | Path,
    setup: Setup,
    mapping: Mapping[str, str] | None = None,
    *,
    known: Collection[str] = (),
    known_units: Collection[str] = (),
    planned: Collection[str] = (),
    first: int = 1,
    refuse_known: Callable[[str, str], None] | None = None,
) -> Log:
    """Read a log, all of it or nothing.

    Wide form: one line per round of readings, with one column per factor and per outcome, and any of variant, session,
    rater, order, unit, parent, when, note, minutes, price, versus. Long form: variant, outcome, value beside the factors.

    Parameters
    ----------
    path : str or Path
        CSV, Parquet or XLSX.
    setup : Setup
        The project's definitions.
    mapping : mapping of str to str, optional
        Their heading -> our name; an empty name sets the column aside, ``echo by Ann`` gives its readings a rater, and
        several columns may be aimed at one outcome (further readings of the same build).
    known : collection of str
        Variants that are in the project already; a file without factor columns may hold readings of them.
    known_units : collection of str
        Units that are in the project already; the file may name them.
    planned : collection of str
        Known variants that are only planned, of which there are no readings.
    first : int
        Least number of a new variant where no column names them: the numbers of variants that were withdrawn stay theirs.
    refuse_known : callable, optional
        Called with the file's name and the sha256 of its content before its cells are read; raises if the project has it.

    Raises
    ------
    ImportProblems
        With every cell that cannot be read safely.
    DataError
        If the file is missing, empty, of another kind, or in the project already.
    UsageError
        If the mapping names a column or a target that does not exist.
    """
    matcher = Matcher(setup, dict(mapping or {}))
    sheet = read_sheet(Path(path), matcher.score)
    if refuse_known is not None:
        refuse_known(sheet.source, sheet.digest)
    header = matcher.header(sheet)
    problems = [*header.problems, *_missing(header, matcher, known)]
    body, notes = _body(sheet, header, matcher)
    if not body:
        raise DataError(f"{sheet.source} is empty: below the headings in line {header.line} there is nothing to read.")
    rows = LogRows(setup, header.columns, _numerals(body, header, setup), known, known_units, planned, first)
    for line in body:
        problems += _beyond(line, header, sheet)
        rows.add(line)
    rows.finish()
    problems += rows.problems
    if problems:
        raise ImportProblems(sheet.source, _in_order(problems, header))
    return Log(
        variants=tuple(rows.variants.values()),
        sessions=tuple(Session(name) for name in rows.sessions),
        units=tuple(Unit(name) for name in rows.units),
        readings=tuple(rows.readings),
        notes=(*sheet.notes, *header.notes, *_nameless(body, sheet, header), *notes, *rows.notes),
        source=sheet.source,
        digest=sheet.digest,
    )


def _in_order(problems: list[Problem], header: Header) -> list[Problem]:
    """Sort by line, then by column as the file has them."""
    places = {column.heading: column.place for column in header.columns.values()}
    return sorted(problems, key=lambda problem: (problem.line, places.get(problem.column, -1)))


def _missing(header: Header, matcher: Matcher, known: Collection[str]) -> list[Problem]:
    """List the factors and columns that the file should have and does not."""
    columns = header.columns
    factors = [factor.name for factor in matcher.setup.factors]
    found = [
        Problem(header.line, "", name, f"is missing, since there is a column for {other} (long form: both)")
        for name, other in (("outcome", "value"), ("value", "outcome"))
        if other in columns and name not in columns
    ]
    if "outcome" in columns and "variant" not in columns:
        found.append(
            Problem(header.line, "", "variant", "is missing; the long form says of which variant each value is")
        )
    if known and "variant" in columns and not any(name in columns for name in factors):
        return found
    return found + [_missing_factor(header, matcher, name) for name in factors if name not in columns]


def _missing_factor(header: Header, matcher: Matcher, name: str) -> Problem:
    near = matcher.near(name, header.unread)
    told = ", ".join(f"'{heading}'" for heading in near or header.unread)
    which = f"near headings: {told}" if near else f"headings not read: {told or 'none'}"
    example = (near or list(header.unread) or ["Their name"])[0]
    return Problem(header.line, "", name, f'is a factor without a column; {which} (map one with "{example}={name}")')


def _body(sheet: Sheet, header: Header, matcher: Matcher) -> tuple[list[Line], list[str]]:
    """Return the lines that hold records, and notes on those left out."""
    heading = [text_of(cell) for cell in sheet.lines[header.place].cells]
    places = {column.place for column in header.columns.values()}
    body, notes = [], []
    for offset, line in enumerate(sheet.lines[header.place + 1 :]):
        if offset == 0 and matcher.is_units_line(line.cells, header.columns):
            notes.append(f"Line {line.number} holds the units of the columns.")
        elif [text_of(cell) for cell in line.cells] == heading:
            notes.append(f"Line {line.number} repeats the headings and was passed over.")
        elif all(is_blank(line.cells[place]) for place in places if place < len(line.cells)) and header.columns:
            notes.append(f"Line {line.number} has nothing in the columns that are read and was passed over.")
        else:
            body.append(line)
    return body, notes


def _nameless(body: list[Line], sheet: Sheet, header: Header) -> list[str]:
    """Tell of columns that hold something under no heading."""
    headings = sheet.lines[header.place].cells
    places = [place for place, heading in enumerate(headings) if is_blank(heading)]
    filled = [
        place for place in places if any(not is_blank(cell) for line in body for cell in line.cells[place : place + 1])
    ]
    return [f"Column {place + 1} has no heading and was not read." for place in filled]


def _beyond(line: Line, header: Header, sheet: Sheet) -> list[Problem]:
    """Find cells beyond the last heading: most often a comma too many."""
    width = len(sheet.lines[header.place].cells)
    extra = [text_of(cell) for cell in line.cells[width:] if not is_blank(cell)]
    allowed = "stands beyond the last heading; a cell with a comma in it must stand in quotes"
    return [Problem(line.number, "", " ".join(extra), allowed)] if extra else []


def _numerals(body: list[Line], header: Header, setup: Setup) -> Reader:
    numeric = {factor.name for factor in setup.factors if factor.is_numeric}
    numeric |= {outcome.name for outcome in setup.outcomes if outcome.kind != "compared"} | {
        "value",
        "minutes",
        "price",
    }
    places = [column.place for column in header.columns.values() if column.target in numeric]
    return Reader.of(
        line.cells[place]
        for line in body
        for place in places
        if place < len(line.cells) and not is_nothing(line.cells[place])
    )
