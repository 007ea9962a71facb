"""The only place where numbers become text, and where the verdicts are spelled. Imports nothing of ours."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal
from numbers import Real
from typing import Literal, NamedTuple

Verdict = Literal["moves it", "too small to matter", "can't tell yet", "tangled with"]

MOVES: Verdict = "moves it"
TOO_SMALL: Verdict = "too small to matter"
CANT_TELL: Verdict = "can't tell yet"
TANGLED: Verdict = "tangled with"

Kept = Literal["kept its promise", "fell short", "not yet known"]

KEPT: Kept = "kept its promise"
FELL_SHORT: Kept = "fell short"
NOT_KNOWN: Kept = "not yet known"


_SIZES = {6: "million", 9: "billion", 12: "trillion"}
_MOST_PLACES = 4
"""More decimal places than this nobody reads: a column then counts in something smaller."""


class Column(NamedTuple):
    """How the numbers of one column are written: all with the same unit, and all counted in the same.

    Attributes
    ----------
    unit : str
        Unit of measure.
    size : float
        What they are counted in: 1, a million, a millionth.
    word : str
        Its name behind a blank; empty for 1.
    """

    unit: str = ""
    size: float = 1.0
    word: str = ""

    def digits(self, value: float, width: float) -> str:
        """Write a value, as far as an interval of so much width can bear; `behind` follows."""
        return fixed(value / self.size, places_for(width / self.size))

    @property
    def behind(self) -> str:
        """What stands behind a number: what it is counted in, and the unit."""
        of = " of 1" if self.unit and self.word.endswith("ths") else ""
        return f"{self.word}{of}{unit_behind(self.unit)}"


def capital(text: str) -> str:
    """Begin a sentence with a capital letter.

    Examples
    --------
    >>> capital("inner air does"), capital("")
    ('Inner air does', '')
    """
    return text[:1].upper() + text[1:]


def spaced(name: str) -> str:
    """Write the name of a factor, an outcome or a quantity in a sentence; where it is typed it stays as it is.

    Examples
    --------
    >>> spaced("tip_gap"), spaced("wool")
    ('tip gap', 'wool')
    """
    return name.replace("_", " ")


def spoken(term: str) -> str:
    """Write a term in a sentence.

    Examples
    --------
    >>> spoken("vents:driver"), spoken("wool^2"), spoken("tip_gap")
    ('vents with driver', 'wool bent', 'tip gap')
    """
    if term.endswith("^2"):
        return f"{spaced(term[:-2])} bent"
    return spaced(term).replace(":", " with ")


def number(value: float | None, digits: int = 3) -> str:
    """Write a number to so many significant digits; from a billion on, and below a ten thousandth, counted in words.

    Examples
    --------
    >>> number(1234.5), number(0.04567), number(-2.0), number(None)
    ('1234', '0.0457', '-2', '-')
    >>> number(2.5e9), number(0.00001234), number(1e-6)
    ('2.5 billion', '12.3 millionths', '1 millionth')
    """
    if value is None or not math.isfinite(value):
        return "-"
    if abs(value) < 1e-300:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if size < -4 or size >= 9:
        each, word = _counted_in(float(f"{value:.{digits - 1}e}"))  # rounded first, as 999.96 million is 1 billion
        if word:  # else it was rounded up to a ten thousandth
            text = number(value / each, digits)
            return f"{text}{word.removesuffix('s') if text in ('1', '-1') else word}"
    return _plain(value, size, digits)


def _plain(value: float, size: int, digits: int) -> str:
    text = f"{value:.{max(0, digits - 1 - size)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def rounded(value: float | None, digits: int = 6) -> str:
    """Write a setting or a reading, all whole digits kept, in a form that can be typed again.

    Examples
    --------
    >>> rounded(1 / 3), rounded(1234567.8), rounded(0.00002), rounded(2e9), rounded(None)
    ('0.333333', '1234568', '0.00002', '2000000000', '-')
    """
    if value is None or not math.isfinite(value):
        return "-"
    if not 1e-12 <= abs(value) < 1e16:
        return f"{value:.{digits}g}" if value else "0"
    return _plain(value, math.floor(math.log10(abs(value))), digits)


def cell_text(value: object) -> str:
    """Write a setting, or what else stands in a cell: a number as `rounded` does, anything else as it is.

    Examples
    --------
    >>> cell_text(0.1 + 0.2), cell_text("felt")
    ('0.3', 'felt')
    """
    return rounded(value) if isinstance(value, int | float) else str(value)


def amount(value: float | None, unit: str, digits: int = 3) -> str:
    """Write a number as `number` does, with its unit.

    Examples
    --------
    >>> amount(2.5, "dB"), amount(2.5, ""), amount(0.00001234, "m"), amount(None, "m")
    ('2.5 dB', '2.5', '12.3 millionths of 1 m', '-')
    """
    text = number(value, digits)
    of = " of 1" if unit and text.endswith(("ths", "th")) else ""
    return f"{text}{of} {unit}".rstrip() if text != "-" else text


def exact(value: float) -> str:
    """Write a number of a definition, or one that was typed, so that nothing a person wrote is rounded away.

    It can be typed again as it stands, and has no exponent unless it would take a line of zeros without.

    Examples
    --------
    >>> exact(60.0), exact(1234567.5), exact(0.1 + 0.2), exact(0.00002), exact(2e12), exact(1e-20), exact(-0.0)
    ('60', '1234567.5', '0.3', '0.00002', '2000000000000', '1e-20', '0')
    """
    text = f"{value + 0:.12g}"  # no sign before a zero
    return f"{Decimal(text):f}" if "e" in text and 1e-12 <= abs(value) < 1e16 else text


def unit_behind(unit: str) -> str:
    """Return a unit as it stands behind a number: after a blank, and nothing where there is none.

    Examples
    --------
    >>> unit_behind("mm"), unit_behind("")
    (' mm', '')
    """
    return f" {unit}" if unit else ""


def setting(value: object, unit: str = "") -> str:
    """Write a setting so that nothing a person wrote is rounded away: a number with its unit, a level's name as it is.

    Examples
    --------
    >>> setting(25.0, "g"), setting(4), setting("felt", "mm")
    ('25 g', '4', 'felt')
    """
    if not isinstance(value, Real):
        return str(value)
    return f"{exact(float(value))}{unit_behind(unit)}"


def signed(value: float | None, digits: int = 3) -> str:
    """Write a change with its sign."""
    text = number(value, digits)
    return text if text in ("-", "0") or text.startswith("-") else f"+{text}"


def places_for(width: float) -> int:
    """Return the decimal places that an interval of this width can bear: two significant digits of the width."""
    if not math.isfinite(width) or width <= 0:
        return 2
    return max(0, 1 - math.floor(math.log10(width)))


def fixed(value: float | None, places: int) -> str:
    """Write a number with a fixed count of decimal places."""
    if value is None or not math.isfinite(value):
        return "-"
    text = f"{value:.{places}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def column_of(unit: str, intervals: Iterable[tuple[float, float, float]]) -> Column:
    """Settle how a column is counted: as its largest number is, unless its narrowest interval could not be told so.

    Examples
    --------
    >>> pressures = column_of("Pa", [(1.4e6, 1.2e6, 1.6e6), (419959, 409000, 431000)])
    >>> with_interval(419959, 409000, 431000, pressures, is_change=True)
    '+0.420 million Pa (0.409 to 0.431 million)'
    """
    known = [tuple(map(float, interval)) for interval in intervals]
    numbers = [value for interval in known for value in interval if math.isfinite(value)]
    widths = [high - low for _, low, high in known if math.isfinite(high - low) and high > low]
    size, word = _counted_in(*numbers)
    while size > 1 and widths and places_for(min(widths) / size) > _MOST_PLACES:
        size, word = _counted_in(size / 1000)
    return Column(unit, size, word)


def with_interval(value: float, low: float, high: float, unit: str | Column = "", *, is_change: bool = False) -> str:
    """Write an estimate with its 95 % interval, to the digits that the interval can bear.

    Numbers from a million, and those below a ten thousandth, are counted in millions, millionths and so on, all three in the
    same, so that they can be read aloud. In the place of a unit, `column_of` may say how all of a table's column are counted.

    Examples
    --------
    >>> with_interval(3.1, 1.23, 5.04, "N", is_change=True)
    '+3.1 N (1.2 to 5.0)'
    >>> with_interval(1234567, 1201231, 1267811, "Pa"), with_interval(1.23e-5, 1.1e-5, 1.36e-5)
    ('1.235 million Pa (1.201 to 1.268 million)', '12.3 millionths (11.0 to 13.6 millionths)')
    """
    column = unit if isinstance(unit, Column) else Column(unit, *_counted_in(value, low, high))
    text, *ends = (column.digits(part, high - low) for part in (value, low, high))
    if is_change and value > 0 and text.strip("0."):
        text = f"+{text}"
    if not (math.isfinite(low) and math.isfinite(high)):
        return f"{text}{column.behind} (no interval)"
    return f"{text}{column.behind} ({' to '.join(ends)}{column.word})"


def worth_told(worth: float, low: float, high: float) -> str:
    """Write a worth of 0 to 1 with its 95 % interval; less than a thousandth matters to nobody.

    Examples
    --------
    >>> worth_told(0.862, 0.826, 0.892), worth_told(2e-5, 0, 9e-5)
    ('0.862 (0.826 to 0.892)', '0.000 (0.000 to 0.000)')
    """
    places = min(places_for(high - low), 3)
    return f"{fixed(worth, places)} ({fixed(low, places)} to {fixed(high, places)})"


def _counted_in(*values: float) -> tuple[float, str]:
    """Return the size that numbers are best counted in, and its name behind a blank; 1 and nothing for everyday ones."""
    largest = max((abs(value) for value in values if math.isfinite(value)), default=0.0)
    if largest == 0 or 1e-4 <= largest < 1e6:
        return 1.0, ""
    exponent = max(3 * math.floor(math.log10(largest) / 3), -300)  # what is smaller still cannot be divided by
    name = _SIZES.get(abs(exponent))
    if name is None:
        return 10.0**exponent, f" x 10^{exponent}"
    return 10.0**exponent, f" {name}{'ths' if exponent < 0 else ''}"


def percent(share: float | None) -> str:
    """Write a probability or a share in whole percent; never a flat 0 or 100 for what is not certain."""
    if share is None or not math.isfinite(share):
        return "-"
    if 0 < share <= 0.005:
        return "<1 %"
    if 0.995 <= share < 1:
        return ">99 %"
    return f"{100 * share:.0f} %"


def p_value(p: float) -> str:
    """Write the p-value of a test; what is below a ten thousandth is not told apart.

    Examples
    --------
    >>> p_value(0.0123), p_value(3e-8)
    ('p = 0.012', 'p below 0.0001')
    """
    return f"p = {number(p, 2)}" if p >= 1e-4 else "p below 0.0001"


def chance(share: float | None) -> str:
    """Write a chance that was counted among a few hundred draws, which make nothing certain.

    Examples
    --------
    >>> chance(1.0), chance(0.0), chance(0.42)
    ('>99 %', '<1 %', '42 %')
    """
    return percent(None if share is None else min(max(share, 0.002), 0.998))


def duration(minutes: float) -> str:
    """Write bench time as a person would say it.

    Examples
    --------
    >>> duration(8), duration(95), duration(120)
    ('8 min', '1 h 35 min', '2 h')
    """
    if not math.isfinite(minutes):
        return "-"
    whole = round(minutes)
    hours, rest = divmod(whole, 60)
    if hours == 0:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def counted(count: int, noun: str, plural: str | None = None) -> str:
    """Write a count with its noun: ``1 variant``, ``2 variants``."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def compared(value: float) -> str:
    """Say how the first of two variants came out of a comparison.

    Examples
    --------
    >>> [compared(value) for value in (1.0, 0.0, 0.5)]
    ['better', 'worse', 'tie']
    """
    return {1.0: "better", 0.0: "worse"}.get(value, "tie")


def verdict_text(verdict: str, tangled_with: str = "") -> str:
    """Write a verdict with what it is tangled with, if anything."""
    return f"{TANGLED} {tangled_with}" if verdict == TANGLED and tangled_with else verdict
