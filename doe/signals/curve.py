"""Response curves in text files: frequency and level; microphone corrections are read alike."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from doe.model import wording
from doe.model.errors import DataError
from doe.signals.response import Response
from doe.signals.text_table import NumberTable, read_table

Array = NDArray[np.float64]

LARGEST_LEVEL_DB = 300.0
HIGHEST_HZ = 1e6
_SAME = 1e-9
_WORDS = {
    "frequency": re.compile(r"\bf(?:req(?:uency|\.)?)?\b|\bk?hz\b", re.IGNORECASE),
    "phase": re.compile(r"phase|\bdeg|°|\brad\b", re.IGNORECASE),
    "level": re.compile(r"\bdb|\bspl\b|level|magnitude|amplitude|gain", re.IGNORECASE),
}
_COLUMNS = ("frequency", "level")


def read_curve(path: Path | str) -> Response:
    """Read a response curve.

    Parameters
    ----------
    path : path
        Text with frequency in Hz in the first column (in kHz if its heading says so), and level in dB in the second;
        others, such as phase, are passed over. How it may be written is told at `doe.signals.text_table.read_table`. A
        first row for 0 Hz is left out.

    Raises
    ------
    DataError
        If the file cannot be read, a column seems to be another than it should, a frequency is not above the one before,
        or a level is none. The message names the line.
    """
    table = read_table(path, least_columns=2)
    _check_headings(table)
    values = table.values
    if values[0, 0] == 0 and len(values) > 1:
        table = NumberTable(table.name, values[1:], table.lines[1:], table.headings)
    if len(table.values) < 2:
        raise DataError(f"{table.name} holds one row of numbers; a response curve needs two or more.")
    frequency = table.values[:, 0] * _unit_hz(table)
    _check_frequencies(table, frequency)
    _check_levels(table)
    return Response(Path(path).stem, frequency, table.values[:, 1].copy())


def _named(heading: str) -> str:
    """Return what a heading says its column is, or an empty string; the unit alone does not make a phase a level."""
    for what in ("phase", "level", "frequency"):
        if _WORDS[what].search(heading):
            return what
    return ""


def _check_headings(table: NumberTable) -> None:
    names = [_named(heading) for heading in table.headings]
    for place, wanted in enumerate(_COLUMNS):
        if place < len(names) and names[place] and names[place] != wanted and wanted in names:
            raise DataError(
                f"{table.name}: column {place + 1} is headed '{table.headings[place][:40]}' and column "
                f"{names.index(wanted) + 1} '{table.headings[names.index(wanted)][:40]}'; frequency must stand in column "
                "1 and level in column 2."
            )


def _unit_hz(table: NumberTable) -> float:
    return 1000.0 if table.headings and re.search(r"\bkhz\b", table.headings[0], re.IGNORECASE) else 1.0


def _check_frequencies(table: NumberTable, frequency: Array) -> None:
    low = np.flatnonzero((frequency <= 0) | (frequency > HIGHEST_HZ))
    falls = np.flatnonzero(np.diff(frequency) <= _SAME * np.abs(frequency[:-1]))
    if not len(low) and not len(falls):
        return
    other = _rising_column(table)
    if other is not None:
        raise DataError(
            f"{table.name}: the frequencies seem to stand in column {other + 1}; they must stand in column 1, in Hz, and "
            "the levels in column 2."
        )
    if len(low):
        row = int(low[0])
        raise DataError(
            f"{table.where(row)}: frequency is {wording.number(float(frequency[row]))} Hz; it must be above 0 and at most "
            f"{HIGHEST_HZ:.0f} Hz."
        )
    row = int(falls[0]) + 1
    now, before = (wording.number(float(value), 6) for value in (frequency[row], frequency[row - 1]))
    how = "stands twice" if now == before else f"comes after {before} Hz"
    raise DataError(f"{table.where(row)}: frequency {now} Hz {how}; frequencies must rise from line to line.")


def _rising_column(table: NumberTable) -> int | None:
    """Return another column that could be the frequencies: it rises throughout, from above 0, by an octave at least."""
    for place in range(1, table.values.shape[1]):
        column = table.values[:, place]
        if len(column) > 2 and column[0] > 0 and np.all(np.diff(column) > 0) and column[-1] >= 2 * column[0]:
            return place
    return None


def _check_levels(table: NumberTable) -> None:
    wild = np.flatnonzero(np.abs(table.values[:, 1]) > LARGEST_LEVEL_DB)
    if len(wild):
        row = int(wild[0])
        raise DataError(
            f"{table.where(row)}: level is {wording.number(float(table.values[row, 1]))}; the second column must be a level "
            f"in dB, from -{LARGEST_LEVEL_DB:.0f} to {LARGEST_LEVEL_DB:.0f}."
        )
