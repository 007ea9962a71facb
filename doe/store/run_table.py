"""Reading a table of runs: a plan as edited, or settings that somebody wants built."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from doe.model.errors import DataError, ImportProblems, Problem, did_you_mean, listed
from doe.model.factor import Factor
from doe.store.cells import text_of
from doe.store.sheet import Cells, Line, best_score, is_blank, read_sheet

ROLES = ("variant", "block", "unit", "kind")
"""Columns of a plan beside its factors; others are not read."""


def read_run_table(path: str | Path, factors: Sequence[Factor]) -> list[dict[str, object]]:
    """Read one row per run: a setting for each factor, and `variant`, `block`, `unit` and `kind` where they stand.

    Parameters
    ----------
    path : str or Path
        CSV, Parquet or XLSX, with a line of headings.
    factors : sequence of Factor
        All of them need a column.

    Raises
    ------
    DataError
        If the file cannot be read, a factor has no column, or there are no rows.
    ImportProblems
        With every setting that is not allowed.
    """
    known = {name.casefold(): name for name in (*(factor.name for factor in factors), *ROLES)}

    def score(cells: Cells) -> int:
        return sum(text_of(cell).strip().casefold() in known for cell in cells)

    sheet = read_sheet(Path(path), score)
    best = best_score([line.cells for line in sheet.lines], score)
    head = next(place for place, line in enumerate(sheet.lines) if score(line.cells) == best)
    headings = [text_of(cell).strip() for cell in sheet.lines[head].cells]
    places = {known[text.casefold()]: place for place, text in enumerate(headings) if text.casefold() in known}
    missing = [factor.name for factor in factors if factor.name not in places]
    if missing:
        hint = did_you_mean(missing[0], headings)
        raise DataError(f"{sheet.source} has no column for {listed(missing, 'and')}; a run needs every factor.{hint}")
    rows: list[dict[str, object]] = []
    problems: list[Problem] = []
    for line in sheet.lines[head + 1 :]:
        rows.append(_row(line, places, factors, problems))
    if problems:
        raise ImportProblems(sheet.source, problems)
    if not rows:
        raise DataError(f"{sheet.source} has no runs below its headings.")
    return rows


def _row(line: Line, places: dict[str, int], factors: Sequence[Factor], problems: list[Problem]) -> dict[str, object]:
    def cell_of(name: str) -> object:
        return line.cells[places[name]] if places[name] < len(line.cells) else None

    row: dict[str, object] = {
        name: None if is_blank(cell_of(name)) else text_of(cell_of(name)).strip() for name in ROLES if name in places
    }
    for factor in factors:
        cell = cell_of(factor.name)
        try:
            row[factor.name] = factor.read(cell)
        except DataError as err:
            problems.append(Problem(line.number, factor.name, text_of(cell), _allowed(str(err))))
    return row


def _allowed(sentence: str) -> str:
    """Return what is allowed: the part of a factor's sentence after the value."""
    return (sentence.partition("; ")[2] or sentence).rstrip(".")
