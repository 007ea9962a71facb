"""Plain tables in files: one CSV or Parquet file each, or one sheet each of a workbook. What is written is read back."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from doe.model.errors import DataError, shown

if TYPE_CHECKING:
    from doe.store.workbook import Allowance

Kind = Literal["text", "number", "whole", "time", "claim", "json"]
"""Text, float, int, datetime, bool, text that holds JSON; each may be missing (None)."""

KINDS_OF_FILE = ("csv", "parquet", "xlsx")
_LONGEST_CELL = 32_767  # of a cell in XLSX (ECMA-376; the limit is the one spreadsheet programs keep)
_MOST_CELLS, _MOST_UNPACKED_BYTES = 10_000_000, 500_000_000
_BEYOND = "\n"  # no heading
_OTHER_KIND = "export the project as csv or parquet"
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\ufffe\uffff]|_x(?=[0-9A-Fa-f]{4}_)")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under named columns.

    Attributes
    ----------
    name : str
        Of the file or sheet.
    columns : mapping of str to Kind
        In order.
    rows : sequence of dict
        One value (or None) for each column.
    """

    name: str
    columns: Mapping[str, Kind]
    rows: Sequence[Mapping[str, Any]]


def write_csv(folder: Path, table: Table) -> None:
    """Write ``<name>.csv``: UTF-8, commas, times as ISO text."""
    with (folder / f"{table.name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(table.columns)
        writer.writerows([[_cell(row[name]) for name in table.columns] for row in table.rows])


def read_csv(folder: Path, name: str) -> list[dict[str, Any]]:
    """Read ``<name>.csv`` as text under its headings.

    Raises
    ------
    DataError
        If it is no such table, or a row has cells beyond the last heading.
    """
    csv.field_size_limit(2**31 - 1)
    try:
        with (folder / f"{name}.csv").open(
            encoding="utf-8-sig", newline=""
        ) as file:  # spreadsheets put a mark in front
            rows = list(csv.DictReader(file, restkey=_BEYOND))
    except (UnicodeDecodeError, csv.Error) as err:
        raise DataError(f"Table {name} of the export is no CSV in UTF-8; save {name}.csv in UTF-8.") from err
    for place, row in enumerate(rows, 1):
        if any(row.pop(_BEYOND, ())):
            raise DataError(
                f"{name}, row {place} of the export has more cells than there are columns; put text that holds commas in "
                "quotation marks."
            )
    return rows


def _cell(value: Any) -> Any:
    """Return what stands in a cell: text and numbers as they are, in full."""
    if isinstance(value, datetime):
        return value.isoformat()
    return value


def write_parquet(folder: Path, table: Table) -> None:
    """Write ``<name>.parquet`` with typed columns."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    types = {
        "text": pa.string(),
        "number": pa.float64(),
        "whole": pa.int64(),
        "time": pa.timestamp("us"),
        "claim": pa.bool_(),
        "json": pa.string(),
    }
    arrays = [pa.array([row[name] for row in table.rows], types[kind]) for name, kind in table.columns.items()]
    pq.write_table(pa.Table.from_arrays(arrays, names=list(table.columns)), folder / f"{table.name}.parquet")


def read_parquet(folder: Path, name: str) -> list[dict[str, Any]]:
    """Read ``<name>.parquet``.

    Raises
    ------
    DataError
        If it is damaged.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    with (folder / f"{name}.parquet").open("rb") as file:
        try:
            rows: list[dict[str, Any]] = pq.read_table(file).to_pylist()
        except (pa.ArrowException, OSError, ValueError) as err:  # OSError too is what the library says of bad bytes
            raise DataError(f"Table {name} of the export is damaged: {name}.parquet cannot be read.") from err
    return rows


def write_workbook(path: Path, tables: Sequence[Table]) -> None:
    """Write one sheet for each table.

    Raises
    ------
    DataError
        If a text is longer than a cell can hold.
    """
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    for table in tables:
        sheet = book.create_sheet(table.name)
        for line, cells in enumerate(
            [list(table.columns), *([row[name] for name in table.columns] for row in table.rows)], 1
        ):
            for column, value in enumerate(cells, 1):
                _put(sheet, line, column, value, table.name)
        sheet.freeze_panes = "A2"
    book.save(path)


def _put(sheet: Any, line: int, column: int, value: Any, name: str) -> None:
    """Fill a cell; text stays text, even where it starts with an equals sign."""
    if value is None or value == "":
        return
    cell = sheet.cell(line, column)
    if isinstance(value, bool):
        cell.value = value
        return
    if isinstance(value, int | float):
        cell.value = repr(value)  # the library would write 16 digits, and 17 may be needed
        cell.data_type = "n"
        return
    text = _CONTROL.sub(lambda found: f"_x{ord(found[0][0]):04X}_" + found[0][1:], str(_cell(value)))
    if len(text) > _LONGEST_CELL:
        raise DataError(
            f"A text in {name}, line {line}, has {len(text)} characters, more than a cell of a workbook can hold; "
            "export as csv or parquet."
        )
    cell.value = text
    cell.data_type = "s"


def read_workbook(path: Path) -> dict[str, list[dict[str, Any]]]:
    """Read every sheet as rows under its headings.

    Raises
    ------
    DataError
        If it is no workbook, or too large.
    """
    from doe.store.workbook import Allowance, opened  # openpyxl is slow to import

    allowance = Allowance(path.name, _MOST_CELLS, _OTHER_KIND)
    too_large = f"{path.name} is too large to be read as a workbook; {_OTHER_KIND}."
    with opened(path, _MOST_UNPACKED_BYTES, too_large, f"{path} cannot be read as a workbook.") as book:
        return {sheet.title: _rows(sheet, allowance) for sheet in book.worksheets}


def _rows(sheet: Any, allowance: Allowance) -> list[dict[str, Any]]:
    """Return the rows of a sheet under its headings; one without cells is a row all the same where others follow."""
    from doe.store.workbook import rows_of

    lines = {
        number: [_unescaped(cell) for cell in row]
        for number, row in rows_of(sheet, allowance, values_only=True)
        if any(cell is not None for cell in row)
    }
    headings = lines.pop(1, [])
    found = [lines.get(number, []) for number in range(2, max(lines, default=1) + 1)]
    return [dict(zip_longest(headings, cells[: len(headings)])) for cells in found]


def _unescaped(value: Any) -> Any:
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), value) if isinstance(value, str) else value


def typed(
    rows: Sequence[Mapping[str, Any]], columns: Mapping[str, Kind], name: str, required: Collection[str] = ()
) -> list[dict[str, Any]]:
    """Return rows with each cell in its own type; an empty cell is None, save in the required columns.

    Raises
    ------
    DataError
        If a column is missing, or a cell is not what its column should hold, or empty where it must not be.
    """
    missing = [column for column in columns if rows and column not in rows[0]]
    if missing:
        raise DataError(f"Table {name} of the export has no column '{missing[0]}'.")
    return [
        {
            column: _as(kind, row[column], f"{name}, row {place}, {column}", is_required=column in required)
            for column, kind in columns.items()
        }
        for place, row in enumerate(rows, 1)
    ]


def _as(kind: Kind, cell: Any, where: str, *, is_required: bool) -> Any:
    if cell is None or cell == "":
        if is_required:
            raise DataError(f"{where} of the export is empty; it must be filled in.")
        return None
    try:
        return _READ[kind](cell)
    except (LookupError, TypeError, ValueError, OverflowError):
        told = {"claim": "neither true nor false", "whole": "no whole number"}.get(kind, f"no {kind}")
        raise DataError(f"{where} of the export is '{shown(cell)}', which is {told}.") from None


def _object(cell: Any) -> str:
    """Return text that holds a JSON object."""
    if not isinstance(json.loads(cell), dict):
        raise ValueError("no object")
    return str(cell)


def _whole(cell: Any) -> int:
    """Return a whole number; of a workbook it may come as any other one."""
    number = int(cell)
    if isinstance(cell, float) and cell != number:
        raise ValueError("no whole number")
    return number


_CLAIMS = {"true": True, "1": True, "false": False, "0": False}
_READ: dict[str, Callable[[Any], Any]] = {
    "text": str,
    "number": float,
    "whole": _whole,
    "time": lambda cell: datetime.fromisoformat(str(cell)),
    "claim": lambda cell: _CLAIMS[str(cell).casefold()],
    "json": _object,
}
