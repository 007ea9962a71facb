"""A model in words: one with a name, or its terms with commas between."""

from __future__ import annotations

from doe.model.errors import UsageError

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
