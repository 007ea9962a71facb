"""What the rows of a log state of its variants. Frames are taken as they are handed in; nothing that makes them is imported."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from doe.model.names import versus_column
from doe.model.numbers import is_missing

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
    """Write the label of a variant; a whole number stays one where blanks in its column have made floats of all.

    Examples
    --------
    >>> label_text(3), label_text(3.0), label_text("3b")
    ('3', '3', '3b')
    """
    return str(int(label)) if isinstance(label, float) and label.is_integer() else str(label)


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
