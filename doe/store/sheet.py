"""A spreadsheet file as lines of cells: CSV, Parquet or XLSX, told apart by content, not by name."""

from __future__ import annotations

import csv
import glob
import hashlib
import io
import math
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from doe.model.errors import DataError, ImportProblems, Problem
from doe.store.rows import quote

Cells = tuple[object, ...]
Score = Callable[[Cells], int]
"""How many headings of a line are recognised; settles which sign separates the cells."""

_DELIMITERS = (",", ";", "\t", "|")
_OLD_WORKBOOK, _ZIP, _PARQUET = b"\xd0\xcf\x11\xe0", b"PK\x03\x04", b"PAR1"
_LONGEST_CELL = 1_000_000


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a sheet.

    Attributes
    ----------
    number : int
        As an editor counts, from 1; in Parquet, which has no lines, the heading is line 1.
    cells : tuple
        Text from CSV; text, numbers, times, true or false and None from the others.
    """

    number: int
    cells: Cells


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a file holds.

    Attributes
    ----------
    source : str
        File name.
    lines : tuple of Line
        Those that are not blank.
    digest : str
        sha256 of the file.
    notes : tuple of str
        What was decided while reading.
    """

    source: str
    lines: tuple[Line, ...]
    digest: str
    notes: tuple[str, ...] = ()


def read_sheet(path: Path, score: Score) -> Sheet:
    """Read a file.

    Raises
    ------
    DataError
        If it is missing, not readable, empty or of another kind.
    ImportProblems
        If cells of it cannot be told apart.
    """
    try:
        data = path.read_bytes()
    except IsADirectoryError:
        raise DataError(f"{path} is a folder; name the file in it: CSV, Parquet or XLSX.") from None
    except OSError as err:
        raise DataError(f"{path} cannot be read: {(err.strerror or str(err)).lower()}.") from err
    lines, notes = _lines(path, data, score)
    filled = tuple(line for line in lines if any(not is_blank(cell) for cell in line.cells))
    if not filled:
        raise DataError(f"{path.name} is empty: it has no line with anything in it.")
    return Sheet(path.name, filled, hashlib.sha256(data).hexdigest(), tuple(notes))


def is_blank(cell: object) -> bool:
    """Tell whether nothing stands in a cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _lines(path: Path, data: bytes, score: Score) -> tuple[list[Line], list[str]]:
    if data.startswith(_ZIP):
        from doe.store.workbook import read_workbook  # openpyxl is slow to import

        return read_workbook(path.name, data, score)
    if data.startswith(_PARQUET):
        return _parquet(path), []
    if data.startswith(_OLD_WORKBOOK) or path.suffix.casefold() in (".xlsx", ".xlsm", ".xls", ".ods", ".parquet"):
        raise DataError(f"{path.name} is not what its name says, or an old format; save it as CSV, Parquet or XLSX.")
    return _csv(path.name, data, score)


def _csv(source: str, data: bytes, score: Score) -> tuple[list[Line], list[str]]:
    text, notes = _decode(source, data)
    told = re.match(r"sep=(.)\r?\n", text)
    tried = [_split(text, sign) for sign in ((told[1],) if told else _DELIMITERS)]
    lines, problem = max(tried, key=lambda split: _fit(split[0], score))
    if problem is not None:
        raise ImportProblems(source, [problem])
    return (lines[1:] if told else lines), notes


def _decode(source: str, data: bytes) -> tuple[str, list[str]]:
    for encoding in ("utf-16",) if data.startswith((b"\xff\xfe", b"\xfe\xff")) else ("utf-8-sig", "cp1252"):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            note = f"{source} is not in UTF-8; it was read as Windows text (cp1252)."
            return text, [note] if encoding == "cp1252" else []
    raise DataError(f"{source} is no text that can be read; save it as CSV in UTF-8, Parquet or XLSX.")


def _split(text: str, sign: str) -> tuple[list[Line], Problem | None]:
    """Return the lines up to the end, or up to a quote that does not match."""
    csv.field_size_limit(_LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=sign, strict=True)
    lines: list[Line] = []
    start = 1
    try:
        for cells in reader:
            lines.append(Line(start, tuple(cells)))
            start = reader.line_num + 1
    except csv.Error:
        allowed = (
            "quotes do not match here: one is never closed, or text follows where it is; a quote inside a quoted cell is "
            "written twice"
        )
        return lines, Problem(start, "", _line_of(text, start), allowed)
    return lines, None


def _line_of(text: str, number: int) -> str:
    lines = text.splitlines()
    return lines[number - 1][:60] if number <= len(lines) else ""


def _fit(lines: list[Line], score: Score) -> tuple[float, ...]:
    """Rank a way of splitting: headings recognised, then lines of one length, then that length."""
    filled = [line.cells for line in lines if any(not is_blank(cell) for cell in line.cells)]
    if not filled:
        return (math.inf,) if lines else (0.0,)  # lines of separators only
    width, count = Counter(len(cells) for cells in filled).most_common(1)[0]
    return (best_score(filled, score), count / len(filled) if width > 1 else 0.0, width)


def best_score(lines: Sequence[Cells], score: Score, among: int = 30) -> int:
    """Return the most headings recognised in one of the first lines."""
    return max((score(cells) for cells in lines[:among]), default=0)


def _parquet(path: Path) -> list[Line]:
    import duckdb

    try:
        with duckdb.connect(config={"threads": 1}) as con:
            source = con.read_parquet(glob.escape(str(path)))  # a name with brackets is no pattern
            zoned = [str(kind) == "TIMESTAMP WITH TIME ZONE" for kind in source.types]
            columns = ", ".join(
                f"timezone('UTC', {quote(name)})" if is_zoned else quote(name)
                for name, is_zoned in zip(source.columns, zoned, strict=True)
            )
            rows = source.project(columns).fetchall()
            names = tuple(source.columns)
    except duckdb.Error as err:
        raise DataError(
            f"{path.name} cannot be read as Parquet: it is damaged, cut short, or written in a way that is not known here; "
            "write it anew, or save it as CSV."
        ) from err
    return [Line(1, names), *(Line(place, row) for place, row in enumerate(rows, start=2))]
