"""Suggestions as plain data, to be put on record with what they predict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from doe.advise.advice import Advice

_KEPT = ("unit", "readings", "minutes", "cost", "kind", "worth_now", "worth_expected", "chance_better", "reason")
_PREDICTED = ("outcome", "mean", "low", "high", "widened", "readings", "reading_sd")


def suggestions_of(advice: Advice, factors: Sequence[str]) -> list[dict[str, Any]]:
    """Return each suggestion with its settings and what it predicts, best first.

    Parameters
    ----------
    advice : Advice
    factors : sequence of str
        Names of the factors, whose columns are the settings.

    Returns
    -------
    list of dict
        As `doe.advise.track` takes them; what is missing is None.
    """
    return [_suggestion(advice, place, factors) for place in range(len(advice.table))]


def _suggestion(advice: Advice, place: int, factors: Sequence[str]) -> dict[str, Any]:
    row = {str(name): _scalar(value) for name, value in advice.table.iloc[place].items()}
    promised = advice.predictions[advice.predictions["place"] == 1 + place]
    predictions = [{name: _scalar(line[name]) for name in _PREDICTED} for _, line in promised.iterrows()]
    return {
        "settings": {name: row[name] for name in factors},
        **{name: row[name] for name in _KEPT},
        "predictions": predictions,
    }


def _scalar(value: Any) -> Any:
    """Return a cell of a frame as plain Python, None for what is missing."""
    plain = value.item() if hasattr(value, "item") else value
    return None if plain is None or plain != plain else plain
