"""Plain tables in files: one CSV or Parquet file each, or one sheet each of a workbook. What is written is read back."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from doe.model.errors import DataError

Kind = Literal["text", "number", "whole", "time", "claim"]
"""Text, float, int, datetime, bool; each may be missing (None)."""

KINDS_OF_FILE = ("csv", "parquet", "xlsx")
_LONGEST_CELL = 32_767  # of a cell in XLSX (ECMA-376; the limit is the one spreadsheet programs keep)
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
    """Read ``<name>.csv`` as text under its headings."""
    csv.field_size_limit(2**31 - 1)
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


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
    }
    arrays = [pa.array([row[name] for row in table.rows], types[kind]) for name, kind in table.columns.items()]
    pq.write_table(pa.Table.from_arrays(arrays, names=list(table.columns)), folder / f"{table.name}.parquet")


def read_parquet(folder: Path, name: str) -> list[dict[str, Any]]:
    """Read ``<name>.parquet``."""
    import pyarrow.parquet as pq

    rows: list[dict[str, Any]] = pq.read_table(folder / f"{name}.parquet").to_pylist()
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
        If it is no workbook.
    """
    import openpyxl

    try:
        book = openpyxl.load_workbook(path)
    except Exception as err:  # the library lets the errors of zip and XML through
        raise DataError(f"{path} cannot be read as a workbook.") from err
    found = {}
    for sheet in book.worksheets:
        lines = [[_unescaped(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
        found[sheet.title] = [dict(zip(lines[0], cells, strict=True)) for cells in lines[1:]] if lines else []
    return found


def _unescaped(value: Any) -> Any:
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), value) if isinstance(value, str) else value


_READ: dict[str, Callable[[Any], Any]] = {
    "text": str,
    "number": float,
    "whole": int,
    "time": lambda cell: cell if isinstance(cell, datetime) else datetime.fromisoformat(str(cell)),
    "claim": lambda cell: str(cell).casefold() in ("true", "1"),
}


def typed(rows: Sequence[Mapping[str, Any]], columns: Mapping[str, Kind], name: str) -> list[dict[str, Any]]:
    """Return rows with each cell in its own type; an empty cell is None.

    Raises
    ------
    DataError
        If a column is missing, or a cell is not what its column should hold.
    """
    missing = [column for column in columns if rows and column not in rows[0]]
    if missing:
        raise DataError(f"Table {name} of the export has no column '{missing[0]}'.")
    return [
        {column: _as(kind, row[column], f"{name}, row {place}, {column}") for column, kind in columns.items()}
        for place, row in enumerate(rows, 1)
    ]


def _as(kind: Kind, cell: Any, where: str) -> Any:
    if cell is None or cell == "":
        return None
    try:
        return _READ[kind](cell)
    except (TypeError, ValueError):
        raise DataError(f"{where} of the export is '{cell}', which is no {kind}.") from None
