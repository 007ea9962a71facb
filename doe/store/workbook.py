"""XLSX workbooks as lines of cells: merged cells filled, percent kept, formulas taken by their saved value.

A small file may say that it is a huge sheet, so everything is read as a stream, up to the last cell that holds something,
and what has more cells than a log can have is refused before it takes the memory. Parts: ECMA-376 (SpreadsheetML).
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
from openpyxl.utils import get_column_letter
from openpyxl.utils.cell import coordinate_to_tuple, range_boundaries

from doe.model.errors import DataError, FettleError, ImportProblems, Problem
from doe.store.sheet import Line, Score, best_score, is_blank

MOST_ROWS = 1_048_576
"""Of a sheet, in every program that writes them."""
_MOST_CELLS, _MOST_UNPACKED_BYTES = 3_000_000, 200_000_000
_AS_WRITTEN = re.compile(r'"[^"]*"|[\\_*].')
"""Parts of a number format that only stand beside the number: 40 formatted as ``0"%"`` is 40 (ECMA-376, number formats)."""
_BLANK_ROW = 0.1  # of a cell: rows that a file leaves out cost next to nothing, but a file may leave out a million


class Allowance:
    """How many cells may still be read.

    Parameters
    ----------
    source : str
        Name of the file.
    most : int
        Cells of all sheets together, blank ones between others included.
    advice : str
        What to do where it holds more.
    """

    def __init__(self, source: str, most: int, advice: str) -> None:
        self._source, self._most, self._advice = source, most, advice
        self._left = float(most)

    def spend(self, cells: float) -> None:
        """Take cells from the allowance.

        Raises
        ------
        DataError
            If it is used up.
        """
        self._left -= cells
        if self._left < 0:
            raise DataError(f"{self._source} spreads over more than {self._most:,} cells; {self._advice}.")


@dataclass(slots=True)
class _Found:
    """What the library does not tell of a sheet that it streams: merges downward, and formulas without a saved value."""

    merged: list[tuple[int, int, int]] = field(default_factory=list)
    unsaved: list[tuple[int, str, str]] = field(default_factory=list)


@contextmanager
def opened(file: Path | io.BytesIO, most_bytes: int, too_large: str, unreadable: str) -> Iterator[Any]:
    """Open a workbook to be read as a stream.

    Parameters
    ----------
    file : Path or BytesIO
        The file, or its content.
    most_bytes : int
        How much it may hold once it is unpacked.
    too_large, unreadable : str
        Sentences for one that holds more, and for one that is none.

    Raises
    ------
    DataError
        With one of these.
    """
    try:
        with zipfile.ZipFile(file) as packed:
            size = sum(item.file_size for item in packed.infolist())
        if size > most_bytes:
            raise DataError(too_large)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and extensions that do not touch the values
            with closing(openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)) as book:
                yield book
    except FettleError:
        raise
    except Exception as err:  # the library lets the errors of zip and XML through
        raise DataError(unreadable) from err


def rows_of(sheet: Any, allowance: Allowance, *, values_only: bool = False) -> Iterator[tuple[int, tuple[Any, ...]]]:
    """Give the rows of a streamed sheet that have cells, with their numbers."""
    sheet.reset_dimensions()  # what a file says of its size need not be so
    for number, row in enumerate(sheet.iter_rows(values_only=values_only), start=1):
        allowance.spend(len(row) or _BLANK_ROW)
        if row:
            yield number, row


def read_workbook(source: str, data: bytes, score: Score) -> tuple[list[Line], list[str]]:
    """Read the sheet of a workbook that looks most like the log, with a note if there are several.

    Raises
    ------
    DataError
        If it is no workbook, or too large.
    ImportProblems
        If a formula was saved without its value.
    """
    too_large = f"{source} is too large for a log; save the sheet as CSV."
    unreadable = f"{source} cannot be read as a workbook; save it anew as XLSX or CSV."
    advice = "delete what stands far off, or save the sheet as CSV"
    allowance = Allowance(source, _MOST_CELLS, advice)
    with opened(io.BytesIO(data), _MOST_UNPACKED_BYTES, too_large, unreadable) as book:
        sheets = book.worksheets
        parts = {sheet._worksheet_path for sheet in sheets}  # several sheets may name one part
        found = {part: _look_through(data, part, Allowance(source, _MOST_CELLS, advice)) for part in sorted(parts)}
        read = {sheet.title: _lines(sheet, found[sheet._worksheet_path].merged, allowance) for sheet in sheets}
        unsaved = {sheet.title: found[sheet._worksheet_path].unsaved for sheet in sheets}
    if not read:
        raise DataError(f"{source} has no sheet with cells.")
    chosen = max(read, key=lambda name: _rank(read[name], score))
    _refuse_unsaved_formulas(source, unsaved[chosen])
    others = [name for name in read if name != chosen]
    notes = [f"Sheet '{chosen}' was read; not read: {', '.join(others)}."] if others else []
    return read[chosen], notes


def _rank(lines: list[Line], score: Score) -> tuple[int, bool]:
    return best_score([line.cells for line in lines], score), bool(lines)


def _look_through(data: bytes, part: str, allowance: Allowance) -> _Found:
    """Go through the XML of a sheet, which also tells how much there is of it."""
    found, row, column, rows = _Found(), 0, 0, 0
    holders: list[ElementTree.Element] = []
    with zipfile.ZipFile(io.BytesIO(data)) as packed, packed.open(part) as file:
        for event, element in ElementTree.iterparse(file, ("start", "end")):
            tag = element.tag.rpartition("}")[2]
            if event == "start":
                holders.append(element)
                if tag == "row":
                    row, column, rows = int(element.get("r", row + 1)), 0, rows + 1
                    allowance.spend(_BLANK_ROW if max(row, rows) <= MOST_ROWS else float("inf"))
                continue
            holders.pop()
            if tag == "c":
                allowance.spend(1)
                place = element.get("r")
                column = coordinate_to_tuple(place)[1] if place else column + 1
                _note_unsaved(found, element, row, column)
            elif tag == "mergeCell":
                allowance.spend(1)
                _note_merged(found, element.get("ref", ""))
            if tag in ("row", "mergeCell") and holders:
                holders[-1].remove(element)  # so that memory holds one row at a time
    return found


def _note_unsaved(found: _Found, cell: ElementTree.Element, row: int, column: int) -> None:
    """Note a formula without a value; one that gave an empty text has an empty value."""
    parts = {part.tag.rpartition("}")[2]: part.text or "" for part in cell}
    if "f" in parts and not parts.get("v") and not (cell.get("t") == "str" and "v" in parts):
        found.unsaved.append((row, get_column_letter(column), f"={parts['f']}"))


def _note_merged(found: _Found, area: str) -> None:
    """Note a merge downward; one to the right is a title."""
    left, top, right, bottom = range_boundaries(area)
    if left == right and top < bottom:
        found.merged.append((left, top, bottom))


def _lines(sheet: Any, merged: list[tuple[int, int, int]], allowance: Allowance) -> list[Line]:
    """Return the lines that hold something, each as wide as the widest."""
    rows = {number: values for number, row in rows_of(sheet, allowance) if (values := _values(row))}
    last = max(rows, default=0)
    for column, top, bottom in merged:
        value = rows.get(top, [])[column - 1 : column]
        if not value or is_blank(value[0]):
            continue
        for number in range(top + 1, min(bottom, last) + 1):
            allowance.spend(1)
            own = rows.setdefault(number, [])
            own.extend([None] * (column - len(own)))
            own[column - 1] = value[0]
    width = max(map(len, rows.values()), default=0)
    allowance.spend(len(rows) * width - sum(map(len, rows.values())))
    return [Line(number, (*rows[number], *[None] * (width - len(rows[number])))) for number in sorted(rows)]


def _values(row: tuple[Any, ...]) -> list[object]:
    """Return what the cells show, up to the last one that holds something."""
    values = [_value(cell) for cell in row]
    while values and is_blank(values[-1]):
        values.pop()
    return values


def _value(cell: Any) -> object:
    """Return what a cell shows: 0.4 formatted as percent is ``40%``."""
    value = cell.value
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and "%" in _AS_WRITTEN.sub("", str(cell.number_format)):
        return f"{value * 100:.12g}%"
    return value


def _refuse_unsaved_formulas(source: str, unsaved: list[tuple[int, str, str]]) -> None:
    problems = [
        Problem(number, column, formula, "is a formula without a saved value; open and save the file")
        for number, column, formula in unsaved
    ]
    if problems:
        raise ImportProblems(source, problems)
