"""What the rows of a log state of its variants. Frames are taken as they are handed in; nothing that makes them is imported."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from doe.model.errors import DataError, did_you_mean, shown
from doe.model.factor import Factor
from doe.model.given import check_frame
from doe.model.names import versus_column
from doe.model.numbers import is_missing
from doe.model.records import Unit

if TYPE_CHECKING:
    import pandas as pd

MANY = 10_000
"""Readings from which on a data frame finds the different ones faster than a dict does."""


def distinct(readings: pd.DataFrame, columns: Sequence[str]) -> Iterable[tuple[Any, ...]]:
    """Return the different rows of some columns, in order of first appearance; missing values may come more than once."""
    if len(readings) > MANY:
        return readings[list(columns)].drop_duplicates().itertuples(index=False, name=None)
    return dict.fromkeys(zip(*(readings[column].tolist() for column in columns), strict=True))


def label_text(label: object) -> str:
    """Write a label of a variant, unit or rater; a whole number stays one where blanks in its column have made floats of all.

    Examples
    --------
    >>> label_text(3), label_text(3.0), label_text("3b")
    ('3', '3', '3b')
    """
    return str(int(label)) if isinstance(label, float) and label.is_integer() else str(label)


def as_labels(column: pd.Series[Any]) -> pd.Series[Any]:
    """Write a column of labels."""
    return column.astype(object).map(label_text)


def stated_settings(readings: pd.DataFrame, names: Sequence[str]) -> list[tuple[Any, ...]]:
    """Return what is stated of variants: each a name and its settings, as many as there are factor `names`.

    First where it stands first, then where it is the second of two compared and columns such as ``versus wool`` say so. A
    reference object has missing values, and a variant may come several times.
    """
    stated = [*distinct(readings, ["variant", *names])]
    second = ["versus", *map(versus_column, names)]
    if not set(second).issubset(readings.columns):
        return stated
    found = distinct(readings, second)
    return [*stated, *((label if is_missing(label) else label_text(label), *values) for label, *values in found)]


def is_empty(cell: object) -> bool:
    """Whether a cell holds nothing: an empty text or a missing value."""
    return is_missing(cell) or cell == ""


def stated_units(units: pd.DataFrame, factors: Sequence[Factor]) -> list[Unit]:
    """Read units with their present state from a table: ``unit``, optional ``variant`` and ``retired``, and factors.

    A factor whose cell is empty is left out.

    Raises
    ------
    DataError
        If the names have no column, one of them is empty, a setting is not allowed, or `retired` is neither yes nor no.
    """
    check_frame("units", units, "unit")
    if "unit" not in units.columns:
        raise DataError(f"The units have no column 'unit'.{did_you_mean('unit', map(str, units.columns))}")
    return [_stated_unit({str(name): cell for name, cell in row.items()}, factors) for row in units.to_dict("records")]


def _stated_unit(row: dict[str, Any], factors: Sequence[Factor]) -> Unit:
    if is_empty(row["unit"]):
        raise DataError("A unit has no name; give it as 'unit'.")
    name, variant, retired = label_text(row["unit"]), row.get("variant"), row.get("retired")
    try:
        settings = {
            factor.name: factor.read(row[factor.name]) for factor in factors if not is_empty(row.get(factor.name))
        }
    except DataError as err:
        raise DataError(f"Unit {name}: {err}") from None
    if is_empty(retired):
        retired = False
    elif retired not in (True, False):  # a text is true whatever it says
        raise DataError(f"retired of unit {name} is '{shown(retired)}'; it must be True or False.")
    return Unit(name, settings, None if is_empty(variant) else label_text(variant), bool(retired))
