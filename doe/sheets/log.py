"""The log as a table: every variant with its settings and the plain means of its readings."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from doe.charts import text
from doe.charts.rows import Row, rows_of
from doe.model import wording
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.sheets.contexts import LogTable

if TYPE_CHECKING:
    import pandas as pd


def log_table(setup: Setup, variants: pd.DataFrame, readings: pd.DataFrame) -> LogTable:
    """List all variants in the order they were logged.

    Parameters
    ----------
    setup : Setup
        Factors give columns, outcomes too.
    variants, readings : DataFrame
        As the project hands them out.

    Returns
    -------
    LogTable
        Means are of raw readings, with how many there are; nothing is adjusted.
    """
    return log_of_rows(setup, rows_of(variants), rows_of(readings))


def log_of_rows(setup: Setup, variants: Iterable[Row], readings: Iterable[Row]) -> LogTable:
    """List all variants as `log_table` does, from rows at hand.

    Parameters
    ----------
    setup : Setup
        Factors give columns, outcomes too.
    variants, readings : iterable of mapping
        One for each row; of a reading variant, versus, outcome and value count.
    """
    headings = ["Variant", "Unit", "From"]
    headings += [_heading(factor.name, factor.unit) for factor in setup.factors]
    headings += [_heading(outcome.name, outcome.unit) for outcome in setup.outcomes]
    numeric = [False] * 3 + [factor.is_numeric for factor in setup.factors] + [True] * len(setup.outcomes)
    values = _values(readings)
    rows = []
    for row in variants:
        name = str(row["variant"])
        unit = text.plain(row.get("unit"))
        if row.get("status") == "planned":
            unit = f"planned, {unit}" if unit else "planned"
        cells = [name, unit, text.plain(row.get("parent"))]
        cells += [text.plain(row.get(factor.name)) for factor in setup.factors]
        cells += [_mean(values.get((name, outcome.name), []), outcome) for outcome in setup.outcomes]
        rows.append(tuple(cell or "-" for cell in cells))
    return LogTable(tuple(headings), tuple(numeric), tuple(rows))


def _heading(name: str, unit: str) -> str:
    return f"{text.name(name)}, {unit}" if unit else text.name(name)


def _values(readings: Iterable[Row]) -> dict[tuple[str, str], list[float]]:
    values: dict[tuple[str, str], list[float]] = {}
    for row in readings:
        values.setdefault((str(row["variant"]), str(row["outcome"])), []).append(float(row["value"]))
        versus = text.plain(row.get("versus"))
        if versus:
            values.setdefault((versus, str(row["outcome"])), []).append(float(row["value"]))
    return values


def _mean(values: list[float], outcome: Outcome) -> str:
    if not values:
        return ""
    if outcome.kind == "compared":
        return wording.counted(len(values), "comparison")
    mean = wording.number(sum(values) / len(values))
    return mean if len(values) == 1 else f"{mean} ({len(values)})"
