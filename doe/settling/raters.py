"""Who should read fresh builds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from doe.model.errors import listed
from doe.model.outcome import Outcome

if TYPE_CHECKING:
    import pandas as pd

_MOST_NAMED = 6


def who_should_read(readings: pd.DataFrame, outcomes: Sequence[Outcome], names: Iterable[str]) -> list[str]:
    """Say by whom fresh builds should be read: by raters who read other variants, else nothing can be told of them.

    Parameters
    ----------
    readings : DataFrame
        One row per reading, with `outcome` and `rater`.
    outcomes : sequence of Outcome
    names : iterable of str
        Outcomes that are to be confirmed. Where a reading names nobody, or two are compared, anybody may read.
    """
    kinds = {outcome.name: outcome.kind for outcome in outcomes}
    by_raters: dict[tuple[str, ...], list[str]] = {}
    for name in names:
        raters = readings.loc[readings["outcome"] == name, "rater"]
        if kinds[name] != "compared" and len(raters) and not raters.isna().any():
            by_raters.setdefault(tuple(dict.fromkeys(raters.astype(str))), []).append(name)
    return [
        f"Have {listed(judged, 'and')} of the fresh builds read by who read other variants: {_named(raters)}. Of what only a "
        "newcomer reads nothing is known."
        for raters, judged in by_raters.items()
    ]


def _named(raters: Sequence[str]) -> str:
    if len(raters) <= _MOST_NAMED:
        return listed(raters)
    return f"{', '.join(raters[: _MOST_NAMED - 1])} or {len(raters) - _MOST_NAMED + 1} others"
