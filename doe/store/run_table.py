"""Reading a table of runs: a plan as edited, or settings that somebody wants built."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from doe.model.errors import DataError, ImportProblems, Problem, did_you_mean, listed
from doe.model.factor import Factor
from doe.store.cells import Reader, Refused, text_of
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
        If the file cannot be read, a factor has no column, a column stands twice, or there are no rows.
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
    places: dict[str, int] = {}
    for place, text in enumerate(headings):
        name = known.get(text.casefold())
        if name in places:
            raise DataError(f"{sheet.source} has two columns for {name}; keep one of them.")
        if name is not None:
            places[name] = place
    missing = [factor.name for factor in factors if factor.name not in places]
    if missing:
        hint = did_you_mean(missing[0], headings)
        raise DataError(f"{sheet.source} has no column for {listed(missing, 'and')}; a run needs every factor.{hint}")
    body = sheet.lines[head + 1 :]
    reader = Reader.of(_cell(line, places[item.name]) for line in body for item in factors if item.is_numeric)
    problems: list[Problem] = []
    rows = [_row(line, places, factors, reader, problems) for line in body]
    if problems:
        raise ImportProblems(sheet.source, problems)
    if not rows:
        raise DataError(f"{sheet.source} has no runs below its headings.")
    return rows


def _cell(line: Line, place: int) -> object:
    return line.cells[place] if place < len(line.cells) else None


def _row(
    line: Line, places: dict[str, int], factors: Sequence[Factor], reader: Reader, problems: list[Problem]
) -> dict[str, object]:
    beside = {name: _cell(line, places[name]) for name in ROLES if name in places}
    row: dict[str, object] = {name: None if is_blank(cell) else text_of(cell).strip() for name, cell in beside.items()}
    for factor in factors:
        cell = _cell(line, places[factor.name])
        try:
            row[factor.name] = reader.setting(factor, cell)
        except Refused as refused:
            problems.append(Problem(line.number, factor.name, text_of(cell), str(refused)))
    return row
