"""XLSX workbooks as lines of cells: merged cells filled, percent kept, formulas taken by their saved value."""

from __future__ import annotations

import io
import warnings
import zipfile
from typing import Any

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from doe.model.errors import DataError, ImportProblems, Problem
from doe.store.sheet import Line, Score, best_score, is_blank

_MOST_UNPACKED_BYTES = 500_000_000


def read_workbook(source: str, data: bytes, score: Score) -> tuple[list[Line], list[str]]:
    """Read the sheet of a workbook that looks most like the log, with a note if there are several.

    Raises
    ------
    DataError
        If it is no workbook.
    ImportProblems
        If a formula was saved without its value.
    """
    shown, formulas = _load(source, data, values=True), _load(source, data, values=False)
    sheets = {name: _lines(shown[name]) for name in shown.sheetnames if hasattr(shown[name], "iter_rows")}
    if not sheets:
        raise DataError(f"{source} has no sheet with cells.")
    chosen = max(sheets, key=lambda name: _rank(sheets[name], score))
    _refuse_unsaved_formulas(source, shown[chosen], formulas[chosen])
    others = [name for name in sheets if name != chosen]
    notes = [f"Sheet '{chosen}' was read; not read: {', '.join(others)}."] if others else []
    return sheets[chosen], notes


def _load(source: str, data: bytes, *, values: bool) -> Any:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            if sum(item.file_size for item in packed.infolist()) > _MOST_UNPACKED_BYTES:
                raise DataError(f"{source} is too large for a log; save the sheet as CSV.")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and extensions that do not touch the values
            return openpyxl.load_workbook(io.BytesIO(data), data_only=values)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, OSError, SyntaxError) as err:
        raise DataError(f"{source} cannot be read as a workbook; save it anew as XLSX or CSV.") from err


def _rank(lines: list[Line], score: Score) -> tuple[int, bool]:
    filled = [line.cells for line in lines if any(not is_blank(cell) for cell in line.cells)]
    return best_score(filled, score), bool(filled)


def _lines(sheet: Any) -> list[Line]:
    merged = _merged(sheet)
    return [
        Line(number, tuple(_value(merged.get((number, cell.column), cell)) for cell in row))
        for number, row in enumerate(sheet.iter_rows(), start=1)
    ]


def _merged(sheet: Any) -> dict[tuple[int, int], Any]:
    """Map each further cell of a downward merge to its top cell; a merge to the right is a title."""
    found = {}
    for area in sheet.merged_cells.ranges:
        if area.min_col == area.max_col:
            top = sheet.cell(area.min_row, area.min_col)
            found.update({(row, area.min_col): top for row in range(area.min_row + 1, area.max_row + 1)})
    return found


def _value(cell: Any) -> object:
    """Return what a cell shows: 0.4 formatted as percent is ``40%``."""
    value = getattr(cell, "value", None)
    if (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and "%" in str(getattr(cell, "number_format", ""))
    ):
        return f"{value * 100:.12g}%"
    return value


def _refuse_unsaved_formulas(source: str, shown: Any, formulas: Any) -> None:
    problems = [
        Problem(
            number, cell.column_letter, str(cell.value), "is a formula without a saved value; open and save the file"
        )
        for number, row in enumerate(formulas.iter_rows(), start=1)
        for cell in row
        if getattr(cell, "data_type", "") == "f" and shown.cell(number, cell.column).value is None
    ]
    if problems:
        raise ImportProblems(source, problems)
