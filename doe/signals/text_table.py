"""Numbers in text files as instruments and programs write them: any usual separator, either decimal sign, comments."""

from __future__ import annotations

import codecs
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from doe.model import wording
from doe.model.errors import DataError

Array = NDArray[np.float64]

LARGEST_BYTES = 100_000_000
_SEPARATORS = (";", "blanks", ",")
_LOOKED_AT = 200
_LINE_ENDS = re.compile(r"\r\n|\n|\r")
_IN_QUOTES = re.compile(r'"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*"')
"""A number in quotation marks; one with a comma is left alone, since the comma may be a decimal sign or part thousands."""

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*|,\d+)?|[.,]\d+)(?:e[+-]?\d+)?|[+-]?(?:nan|inf(?:inity)?)", re.IGNORECASE)
_BYTE_ORDER_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


@dataclass(frozen=True, slots=True, eq=False)
class NumberTable:
    """The numbers of a text file.

    Attributes
    ----------
    name : str
        File name, for messages.
    values : ndarray of shape (n_rows, n_columns)
        All finite.
    lines : ndarray of shape (n_rows,)
        Line of the file that each row stands on, from 1.
    headings : tuple of str
        Words above the columns, as many as there are columns; empty where there are none.
    """

    name: str
    values: Array
    lines: NDArray[np.int64]
    headings: tuple[str, ...]

    def where(self, row: int) -> str:
        """Return ``"file, line n"`` for messages."""
        return f"{self.name}, line {int(self.lines[row])}"


def read_table(path: Path | str, *, least_columns: int = 1) -> NumberTable:
    """Read the numbers of a text file.

    Comments may stand before, between and after the rows: any line that does not begin with a number. Before the first
    row of numbers anything may stand.

    Parameters
    ----------
    path : path
        Text with one row of numbers a line, separated by semicolons, commas, tabs or blanks. A comma is a decimal sign
        where something else separates. Quotation marks around a number without a comma are passed over.
    least_columns : int
        Numbers that a row must have.

    Raises
    ------
    DataError
        If the file is missing, empty, too large, no text, holds no rows, a row is short or holds something else than a
        number, or it cannot be told whether a comma is a decimal sign.
    """
    path = Path(path)
    text = _read_text(path).replace("\u2212", "-").replace("\xa0", " ")
    lines = _LINE_ENDS.split(_IN_QUOTES.sub(r"\1", text) if '"' in text else text)
    separator = _choose_separator(path.name, lines, least_columns)
    first = next(place for place, line in enumerate(lines) if len(_numbers(line, separator)) >= least_columns)
    columns = len(_numbers(lines[first], separator))
    table = _read_fast(lines, first, separator, columns) or _read_slowly(path.name, lines, first, separator, columns)
    values, numbers = table
    _check_finite(path.name, values, numbers)
    return NumberTable(path.name, values, numbers, _headings(lines[:first], separator, columns))


def _read_text(path: Path) -> str:
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise DataError(
                f"{path.name} holds {wording.number(size / 1e6)} MB; a text file may hold at most "
                f"{LARGEST_BYTES // 1_000_000} MB: thin it out."
            )
        data = path.read_bytes()
    except OSError as err:
        raise DataError(f"{path.name} cannot be read: {(err.strerror or 'unknown reason').lower()}.") from err
    if not data.strip():
        raise DataError(f"{path.name} is empty; it must hold rows of numbers.")
    for mark, encoding in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return data.decode(encoding, errors="replace")
    if b"\0" in data:
        raise DataError(f"{path.name} is no text; it must hold rows of numbers.")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _split(line: str, separator: str) -> list[str]:
    cells = line.split() if separator == "blanks" else [cell.strip() for cell in line.split(separator)]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _numbers(line: str, separator: str) -> list[str]:
    """Return the cells that a line begins with as long as they are numbers; none by blanks where these stand beside commas."""
    found: list[str] = []
    for cell in _split(line, separator):
        if separator == "blanks" and (cell.endswith(",") or (found and cell.startswith(","))):
            return []
        if not _NUMBER.fullmatch(cell):
            break
        found.append(cell)
    return found


def _begins_with_number(line: str) -> bool:
    return bool(re.match(r"\s*[+-]?[.,]?\d", line))


def _choose_separator(name: str, lines: Sequence[str], least_columns: int) -> str:
    rows = [line for line in lines if _begins_with_number(line)]
    # Head and tail: what stands before the numbers may itself begin with some.
    looked_at = [*rows[: _LOOKED_AT // 2], *rows[-_LOOKED_AT // 2 :]]
    scores = {
        separator: sum(len(_numbers(line, separator)) >= least_columns for line in looked_at)
        for separator in _SEPARATORS
    }
    best = max(_SEPARATORS, key=lambda separator: scores[separator])
    if not scores[best]:
        wanted = f"at least {wording.counted(least_columns, 'number')}"
        raise DataError(
            f"{name} holds no rows of numbers; it must have {wanted} a line, separated by ; , tab or blanks, "
            "without thousands separators."
        )
    told = [line for line in looked_at if len(_numbers(line, best)) >= least_columns]
    if best == "," or all(len(_numbers(line, best)) == 1 for line in told):
        _check_ambiguous_commas(name, told, 4 if best == "," else 2)
    return best


def _check_ambiguous_commas(name: str, rows: Sequence[str], fewest: int) -> None:
    """Refuse ``20,5,80,1`` and ``20,5, 80``: each comma parts two numbers, or some are decimal commas."""
    cells = [_split(line, ",") for line in rows]
    parts = [re.split(r"\s+,\s*|,\s+", line.strip()) for line in rows]
    in_pairs = all(len(row) % 2 == 0 and len(row) >= fewest for row in cells)
    at_blanks = all(1 < len(part) < len(row) for part, row in zip(parts, cells, strict=True))
    if any("." in line for line in rows) or not (in_pairs or at_blanks):
        return
    fewer = len(parts[0]) if at_blanks else len(cells[0]) // 2
    raise DataError(
        f"{name}: '{rows[0].strip()[:60]}' may hold {len(cells[0])} numbers or {fewer} with decimal commas; "
        "separate the numbers with semicolons, or write decimal points."
    )


def _read_fast(
    lines: Sequence[str], first: int, separator: str, columns: int
) -> tuple[Array, NDArray[np.int64]] | None:
    """Read an unbroken block of plain rows; None if anything in it needs a closer look."""
    last = len(lines)
    while last > first and not lines[last - 1].strip():
        last -= 1
    block = lines[first:last]
    if len(block) < _LOOKED_AT or any(len(line) < 2 * columns - 1 or "_" in line for line in block):
        return None
    if separator != ",":
        if any("." in line for line in block) and any("," in line for line in block):
            return None
        block = [line.replace(",", ".") for line in block]
    try:
        values = np.loadtxt(block, delimiter=None if separator == "blanks" else separator, comments=None, ndmin=2)
    except ValueError:
        return None
    if values.shape != (len(block), columns):
        return None
    return values, np.arange(first + 1, last + 1)


def _read_slowly(
    name: str, lines: Sequence[str], first: int, separator: str, columns: int
) -> tuple[Array, NDArray[np.int64]]:
    rows: list[list[str]] = []
    numbers: list[int] = []
    for place in range(first, len(lines)):
        line = lines[place]
        found = _numbers(line, separator)
        if len(found) >= columns:
            rows.append(found[:columns])
            numbers.append(place + 1)
        elif found or _begins_with_number(line):
            raise DataError(
                f"{name}, line {place + 1}: '{line.strip()[:60]}' must begin with {wording.counted(columns, 'number')}, as "
                f"line {first + 1} does."
            )
    return _to_floats(name, rows, numbers), np.array(numbers, dtype=np.int64)


def _to_floats(name: str, rows: Sequence[Sequence[str]], numbers: Sequence[int]) -> Array:
    commas = next((place for place, row in enumerate(rows) if any("," in cell for cell in row)), None)
    points = next((place for place, row in enumerate(rows) if any("." in cell for cell in row)), None)
    if commas is not None and points is not None:
        raise DataError(
            f"{name} writes decimal commas (line {numbers[commas]}) and decimal points (line {numbers[points]}); it must "
            "keep to one, without thousands separators."
        )
    return np.array([[float(cell.replace(",", ".")) for cell in row] for row in rows])


def _check_finite(name: str, values: Array, lines: NDArray[np.int64]) -> None:
    bad = np.argwhere(~np.isfinite(values))
    if len(bad):
        row, column = bad[0]
        raise DataError(f"{name}, line {int(lines[row])}: column {column + 1} must be a finite number.")


def _headings(above: Sequence[str], separator: str, columns: int) -> tuple[str, ...]:
    """Return the words over the columns: the nearest line above the numbers that parts into as many."""
    for line in reversed([line for line in above if line.strip()][-3:]):
        bare = line.strip().lstrip("#*;%!/\"'").strip()
        for parts in (bare.split("\t"), _split(bare, separator), re.split(r"\s{2,}", bare), bare.split(",")):
            words = [part.strip().strip("\"'") for part in parts if part.strip()]
            if len(words) == columns and not any(_NUMBER.fullmatch(word) for word in words):
                return tuple(words)
    return ()
