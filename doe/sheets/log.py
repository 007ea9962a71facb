"""The log as a table: every variant with its settings and the plain means of its readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
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
    """List all variants in the order they were built.

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
    values = _values(rows_of(readings))
    means = {key: (len(found), sum(found) / len(found)) for key, found in values.items()}
    return log_of_rows(setup, rows_of(variants), means)


def log_of_rows(setup: Setup, variants: Iterable[Row], means: Mapping[tuple[str, str], tuple[int, float]]) -> LogTable:
    """List all variants as `log_table` does, from what is at hand.

    Parameters
    ----------
    setup : Setup
        Factors give columns, outcomes too.
    variants : iterable of mapping
        One for each row.
    means : mapping of pair of str to pair of int and float
        By variant and outcome, how many readings and their mean.
    """
    headings = ["Variant", "Unit", "From"]
    headings += [_heading(factor.name, factor.unit) for factor in setup.factors]
    headings += [_heading(outcome.name, outcome.unit) for outcome in setup.outcomes]
    numeric = [False] * 3 + [factor.is_numeric for factor in setup.factors] + [True] * len(setup.outcomes)
    rows = []
    for row in variants:
        name = str(row["variant"])
        unit = text.plain(row.get("unit"))
        if row.get("status") == "planned":
            unit = f"planned, {unit}" if unit else "planned"
        cells = [name, unit, text.plain(row.get("parent"))]
        cells += [text.plain(row.get(factor.name)) for factor in setup.factors]
        cells += [_mean(*means.get((name, outcome.name), (0, 0.0)), outcome) for outcome in setup.outcomes]
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


def _mean(count: int, mean: float, outcome: Outcome) -> str:
    if not count:
        return ""
    if outcome.kind == "compared":
        return wording.counted(count, "comparison")
    return wording.number(mean) if count == 1 else f"{wording.number(mean)} ({count})"
