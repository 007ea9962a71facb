"""Numbers as people type them, read strictly."""

from __future__ import annotations

import math

from doe.model.errors import DataError, UsageError


def read_number(value: object, field: str) -> float:
    """Turn a cell into a finite number; accepts ``1,5`` for 1.5, a leading plus and a typographic minus.

    A thousands separator is refused, not guessed: ``1,234`` could be either.

    Raises
    ------
    DataError
        If the cell is empty, no number, ambiguous, or not finite.
    """
    number = _as_float(value, field)
    if not math.isfinite(number):
        raise DataError(f"{field} is '{value}'; it must be a finite number.")
    return number


def _as_float(value: object, field: str) -> float:
    if isinstance(value, bool) or value is None:
        raise DataError(f"{field} is '{'' if value is None else value}'; it must be a number.")
    if isinstance(value, int | float):
        return float(value)
    text = str(value).strip().replace("−", "-")
    if "," in text:
        text = _decimal_comma(text, field)
    if "_" in text:
        raise DataError(f"{field} is '{value}'; it must be a number.")
    try:
        return float(text)
    except ValueError:
        raise DataError(f"{field} is '{value}'; it must be a number.") from None


def _decimal_comma(text: str, field: str) -> str:
    whole, _, fraction = text.partition(",")
    digits = whole.lstrip("+-")
    if "," in fraction or "." in text or (len(fraction) == 3 and digits not in ("", "0") and fraction.isdigit()):
        raise DataError(f"{field} is '{text}'; write it with a decimal point, since the comma could mean thousands.")
    return f"{whole}.{fraction}"


def finite(field: str, value: object) -> float:
    """Return a definition's number.

    Raises
    ------
    UsageError
        If it is not a finite number.
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise UsageError(f"{field} is '{value}'; it must be a finite number.")
    return float(value)


def not_negative(field: str, value: object) -> float:
    """Return a definition's number that cannot be below zero (minutes, prices, weights).

    Raises
    ------
    UsageError
        If it is negative or no finite number.
    """
    number = finite(field, value)
    if number < 0:
        raise UsageError(f"{field} is {number:g}; it must be 0 or more.")
    return number
