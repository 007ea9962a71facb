"""A model in words: one with a name, or its terms with commas between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived, names_behind

MODELS = ("main", "two-factor", "quadratic")


def read_model(text: str | None, argument: str) -> str | list[str] | None:
    """Return a named model, or the terms listed with commas between; None for None.

    Parameters
    ----------
    text : str or None
    argument : str
        What the refusal calls it.

    Raises
    ------
    UsageError
        If there is no term.

    Examples
    --------
    >>> read_model("wool, vents, vents:wool", "model")
    ['wool', 'vents', 'vents:wool']
    """
    if text is None or text in MODELS:
        return text
    terms = between_commas(text)
    if not terms:
        raise UsageError(f"{argument} is '{text}'; give {', '.join(MODELS)}, or terms with commas between.")
    return terms


def between_commas(text: str) -> list[str]:
    """Return what stands between commas, without blanks and empty parts."""
    return [part.strip() for part in text.split(",") if part.strip()]


def in_place_of_parts(quantity: Derived, factors: Iterable[Factor], derived: Sequence[Derived]) -> list[str]:
    """Return the terms that ask for a derived quantity in the place of the factors that it is computed from."""
    parts = names_behind([quantity.name], derived)
    return [quantity.name, *(factor.name for factor in factors if factor.name not in parts)]
