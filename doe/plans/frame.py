"""Tables of settings as people read them, and as plain numbers for arithmetic."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from doe.model.choices import Value
from doe.model.errors import DataError, UsageError, listed
from doe.model.factor import Factor, tidy
from doe.model.given import check_each
from doe.model.stated import label_text
from doe.plans.layout import Array

ORDER, BLOCK, UNIT, POINT = "order", "block", "unit", "kind"
"""Columns of a plan's table beside the factors: place in the run order, block, unit, kind of point."""


def check_factors(factors: Sequence[Factor]) -> tuple[Factor, ...]:
    """Return the factors as a tuple.

    Raises
    ------
    UsageError
        If there is none, or something else among them.
    """
    check_each("factors", factors, Factor)
    if not factors:
        raise UsageError("A plan needs at least one factor.")
    return tuple(factors)


def setting(factor: Factor, number: float) -> Value:
    """Turn a plain number into a setting: the value (on the step where there is one), or the level of that index."""
    if not factor.is_numeric:
        return factor.levels[round(number)]
    return _on_step(factor, number)


def snapped(factor: Factor, number: float) -> Value:
    """Return the setting of a numeric factor that is nearest to a computed number, on its range and step."""
    return _on_step(factor, tidy(number))


def _on_step(factor: Factor, number: float) -> Value:
    low, high = factor.span
    number = min(max(number, low), high)
    if factor.step is not None:
        most = int((high - low) / factor.step + 1e-6)
        number = low + min(round((number - low) / factor.step), most) * factor.step
    return factor.read(number + 0.0)  # no negative zero


def at(factor: Factor, coded: float) -> float:
    """Return the plain number at a coded place -1..1: on the step of a number, or the index of the nearest level."""
    low, high = factor.span
    number = low + (coded + 1) / 2 * (high - low)
    return float(snapped(factor, number)) if factor.is_numeric else float(round(number))


def to_frame(factors: Sequence[Factor], values: Array) -> pd.DataFrame:
    """Return settings as a table with one column per factor.

    Parameters
    ----------
    factors : sequence of Factor
        In the order of the columns of `values`.
    values : ndarray of shape (n_runs, n_factors)
        Numbers; indices of levels.
    """
    return pd.DataFrame(
        {factor.name: [setting(factor, number) for number in values[:, place]] for place, factor in enumerate(factors)}
    )


def to_values(factors: Sequence[Factor], table: pd.DataFrame, what: str) -> Array:
    """Read settings from a table, shape (n_rows, n_factors).

    Parameters
    ----------
    factors : sequence of Factor
        All of them need a column.
    table : DataFrame
        One row per run; other columns are not looked at.
    what : str
        How a row is called in messages: ``"Existing run"``.

    Raises
    ------
    UsageError
        If a factor has no column.
    DataError
        If a setting is not allowed; the message names the row.
    """
    missing = [factor.name for factor in factors if factor.name not in table.columns]
    if missing:
        raise UsageError(f"The table has no column for {listed(missing, 'and')}.")
    values = np.empty((len(table), len(factors)))
    for column, factor in enumerate(factors):
        for row, cell in enumerate(table[factor.name].tolist()):
            try:
                values[row, column] = factor.position(factor.read(cell))
            except DataError as err:
                raise DataError(f"{what} {_row_name(table, row)}: {err}") from None
    return values


def _row_name(table: pd.DataFrame, row: int) -> str:
    return f"'{label_text(table['variant'].iloc[row])}'" if "variant" in table.columns else str(row + 1)


def without_references(factors: Sequence[Factor], table: pd.DataFrame) -> pd.DataFrame:
    """Leave out rows that have no settings at all: reference objects."""
    names = [factor.name for factor in factors if factor.name in table.columns]
    return table.dropna(subset=names, how="all") if names else table
