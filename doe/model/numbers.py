"""Numbers and times as people type them, read strictly."""

from __future__ import annotations

import math
import re
from datetime import datetime
from numbers import Real

from doe.model.errors import DataError, UsageError, shown
from doe.model.wording import exact

_THOUSANDS = re.compile(r"[+-]?(?!0+,)\d+,\d{3}(?!\d)")
_BENCH_TIME = re.compile(
    r"(?:(?P<hours>\d+(?:[.,]\d+)?) ?h(?:ours?)?)? ?(?:(?P<minutes>\d+(?:[.,]\d+)?) ?(?P<unit>m(?:in(?:utes?)?)?)?)?"
)
_MOMENT = re.compile(
    r"\d{4}-?\d\d-?\d\d(?:[ T]\d\d(?::?\d\d(?::?\d\d(?:\.\d+)?)?)?(?:Z|[+-]\d\d(?::?\d\d)?)?)?", re.ASCII
)
"""A day, or a day and a time (ISO 8601)."""


def is_missing(value: object) -> bool:
    """Tell whether a cell holds nothing: None, NaN, or what pandas writes for a missing value.

    Examples
    --------
    >>> is_missing(None), is_missing(float("nan")), is_missing(0), is_missing("")
    (True, True, False, False)
    """
    if value is None:
        return True
    try:
        return bool(value != value)
    except TypeError:  # pandas' NA is neither equal nor unequal to anything
        return True
    except ValueError:  # an array
        return False


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
        raise DataError(f"{field} is '{shown(value)}'; it must be a finite number.")
    return number


def _as_float(value: object, field: str) -> float:
    if is_missing(value):
        raise DataError(f"{field} is ''; it must be a number.")
    try:
        if isinstance(value, Real) and not isinstance(value, bool):
            return float(value)
        return float(_plain_text(str(value), field))
    except (ValueError, OverflowError) as err:
        if isinstance(err, DataError):
            raise
        raise DataError(f"{field} is '{shown(value)}'; it must be a number.") from None


def _plain_text(text: str, field: str) -> str:
    """Return the text as Python writes numbers; an underscore is no part of what people write."""
    text = text.strip().replace("−", "-").replace("–", "-")
    if "_" in text:
        raise ValueError(text)
    if "," not in text:
        return text
    whole, _, fraction = text.partition(",")
    if "," in fraction or "." in text or _THOUSANDS.match(text):
        raise DataError(
            f"{field} is '{shown(text)}'; write it with a decimal point, since the comma could mean thousands."
        )
    return f"{whole}.{fraction}"


def read_minutes(text: str, field: str) -> float:
    """Turn a time at the bench, as people write it, into minutes; a bare number is minutes.

    Examples
    --------
    >>> [read_minutes(text, "minutes") for text in ("25", "95 min", "4 h 10 min", "4h10", "1.5 h", "2 hours")]
    [25.0, 95.0, 250.0, 250.0, 90.0, 120.0]

    Raises
    ------
    DataError
        If it is no time, or below zero.
    """
    found = _BENCH_TIME.fullmatch(" ".join(text.lower().split()))
    if found is not None and (found["hours"] or found["unit"]):
        return 60 * read_number(found["hours"] or "0", field) + read_number(found["minutes"] or "0", field)
    return _from_zero(text, field)


def read_hours(text: str, field: str) -> float:
    """Turn a time at the bench into hours; a bare number is hours.

    Examples
    --------
    >>> [read_hours(text, "hours") for text in ("6", "2.5", "45 min", "2 h 30 min")]
    [6.0, 2.5, 0.75, 2.5]

    Raises
    ------
    DataError
        If it is no time, or below zero.
    """
    try:
        return _from_zero(text, field)
    except DataError:
        return read_minutes(text, field) / 60


def read_moment(text: str) -> datetime:
    """Turn a day, or a day and a time, into a time by the bench's own clock: a zone is dropped, not converted.

    Half past two written as ``14.30`` is refused: the library takes it for 0.3 seconds past two.

    Examples
    --------
    >>> str(read_moment("2026-03-01")), str(read_moment("2026-03-01 14:30:05+02:00"))
    ('2026-03-01 00:00:00', '2026-03-01 14:30:05')

    Raises
    ------
    ValueError
        If it is no such time.
    """
    if not _MOMENT.fullmatch(text):
        raise ValueError("no time")
    return datetime.fromisoformat(text).replace(tzinfo=None)


def minutes_in(hours: float) -> float:
    """Return the minutes in so many hours, without the noise of binary fractions: 60 * 2.05 falls a little short of 123.

    Examples
    --------
    >>> minutes_in(2.05), 60 * 2.05 < 123
    (123.0, True)
    """
    return round(60.0 * hours, 6)


def _from_zero(text: str, field: str) -> float:
    try:
        number = read_number(text, field)
    except DataError:
        if "," in text:  # it could mean thousands
            raise
        number = -1.0
    if number < 0:
        raise DataError(f"{field} is '{shown(text)}'; it must be a number from 0, or a time such as 1 h 35 min.")
    return number


def without_unit(value: object, unit: str) -> object:
    """Return what was typed without its own unit behind it; any other unit stays, to be refused.

    Examples
    --------
    >>> without_unit("121 m3/h", "m3/h"), without_unit("121 l/s", "m3/h"), without_unit(121, "m3/h")
    ('121', '121 l/s', 121)
    """
    if not isinstance(value, str) or not unit or not unit[0].isprintable() or unit[0] in "0123456789.,+-":
        return value
    text = value.strip()
    return text.removesuffix(unit).rstrip() if len(text) > len(unit) else value


def parts_of(typed: str, unit: str) -> list[str]:
    """Return several numbers typed with blanks or semicolons between; their unit between them says nothing more.

    Examples
    --------
    >>> parts_of("3 l / min; 3,5 l / min", "l / min"), parts_of("35 dB 50dB", "dB")
    (['3', '3,5'], ['35', '50dB'])
    """
    apart = typed.replace(unit, " ") if " " in unit else typed
    return [part for part in re.split(r"[\s;]+", apart) if part not in ("", unit)]


def finite(field: str, value: object) -> float:
    """Return a definition's number.

    Raises
    ------
    UsageError
        If it is not a finite number.
    """
    try:
        number = float(value) if isinstance(value, Real) and not isinstance(value, bool) else math.nan
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise UsageError(f"{field} is '{shown(value)}'; it must be a finite number.")
    return number


def not_negative(field: str, value: object) -> float:
    """Return a definition's number that cannot be below zero (minutes, prices, weights).

    Raises
    ------
    UsageError
        If it is negative or no finite number.
    """
    number = finite(field, value)
    if number < 0:
        raise UsageError(f"{field} is {exact(number)}; it must be 0 or more.")
    return number
