"""Rows of a result's frames as mappings, which is all that a chart or a page reads of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

Row = Mapping[str, Any]
Rows = Sequence[Row]


def rows_of(frame: pd.DataFrame) -> list[Row]:
    """Return the rows of a frame, each a mapping from column to cell."""
    return [{str(column): cell for column, cell in row.items()} for row in frame.to_dict("records")]
