"""Single cells of a spreadsheet, read strictly: what is ambiguous is refused with what would be allowed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from doe.model.choices import Value
from doe.model.errors import DataError, FettleError, did_you_mean
from doe.model.factor import Factor
from doe.model.names import check_label
from doe.model.numbers import read_moment, read_number
from doe.model.outcome import Outcome
from doe.store.rows import bench_time

NOTHING = frozenset(["", "-", "–", "—", "n/a", "na", "n.a.", "#n/a", "none", "null"])
"""What people write where there is nothing to write."""

_LONGEST_LABEL = 80
_CERTAIN_COMMA = re.compile(r"[+\-−]?(\d+,(\d{1,2}|\d{4,})|0,\d+)")
_CERTAIN_POINT = re.compile(r"[+\-−]?\d*\.\d+")
_POINT_OF_THOUSANDS = re.compile(r"[+\-−]?[1-9]\d{0,2}\.\d{3}")
_NUMBER = r"[+\-−]?\d+(?:[.,]\d+)?"
_GRADE_OF = re.compile(rf"({_NUMBER})\s*(?:/|of|out of)\s*({_NUMBER})", re.IGNORECASE)
_DAY_FIRST = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})(?:[ T,]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?")


class Refused(Exception):  # noqa: N818 - it is an answer, caught where the cell's place is known
    """A cell that cannot be read; the message is what would be allowed."""


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads the cells of one file.

    Attributes
    ----------
    has_comma : bool
        Whether the file writes numbers with a decimal comma beyond doubt.
    """

    has_comma: bool = False

    @classmethod
    def of(cls, numbers: Iterable[object]) -> Reader:
        """Decide from all cells that should hold numbers: some surely with a comma, none with a point."""
        texts = [text_of(cell) for cell in numbers if isinstance(cell, str)]
        has_comma = any(_CERTAIN_COMMA.fullmatch(text) for text in texts)
        doubtful = (text for text in texts if not _POINT_OF_THOUSANDS.fullmatch(text))
        return cls(has_comma and not any(_CERTAIN_POINT.fullmatch(text) for text in doubtful))

    def setting(self, factor: Factor, cell: object) -> Value:
        """Read a factor's cell.

        Raises
        ------
        Refused
            If it is not allowed; the nearest level is suggested.
        """
        if not factor.is_numeric:
            try:
                return factor.read(_as_shown(cell) if isinstance(cell, float) else _plain(cell))
            except DataError:
                near = did_you_mean(text_of(cell), factor.levels)
                raise Refused(f"{factor.allowed()}{'.' if near else ''}{near}") from None
        number = self.number(cell, factor.unit, factor.allowed())
        try:
            return factor.read(number)
        except DataError:
            raise Refused(factor.allowed()) from None

    def value(self, outcome: Outcome, cell: object) -> float:
        """Read an outcome's cell; a grade may be written ``5/7`` if 7 is the top of the scale.

        Raises
        ------
        Refused
            If it is not allowed.
        """
        try:
            if outcome.kind == "compared":
                return outcome.read(text_of(cell))
            if outcome.scale is not None:
                cell = self._grade(cell, outcome.scale[1])
            return outcome.read(self.number(cell, outcome.unit, outcome.allowed()))
        except DataError:
            raise Refused(outcome.allowed()) from None

    def _grade(self, cell: object, top: float) -> object:
        found = _GRADE_OF.fullmatch(text_of(cell))
        if found and self.number(found[2], "", "") == top:
            return found[1]
        return cell

    def number(self, cell: object, unit: str, allowed: str) -> float:
        """Read a number, with its unit behind it if that is the unit defined.

        Raises
        ------
        Refused
            If it is no finite number, or could be meant in two ways.
        """
        typed = _plain(cell)
        text = _without_unit(typed, unit) if isinstance(typed, str) else typed
        if isinstance(text, str):
            text = self._with_point(text)
        try:
            return read_number(text, "")
        except DataError as err:
            if "thousands" in str(err):
                raise Refused("could be thousands or decimals; write it with a decimal point") from None
            raise Refused(allowed) from None

    def _with_point(self, text: str) -> str:
        if not self.has_comma:
            return text
        if _POINT_OF_THOUSANDS.fullmatch(text):
            raise Refused("could be thousands or decimals, since this file has decimal commas")
        return text.replace(",", ".") if text.count(",") == 1 and "." not in text else text

    def place(self, cell: object) -> int:
        """Read a place in an order, from 1.

        Raises
        ------
        Refused
            If it is no whole number from 1.
        """
        number = _as_shown(self.number(cell, "", "must be a whole number from 1"))
        if number != int(number) or number < 1:
            raise Refused("must be a whole number from 1")
        return int(number)

    def effort(self, cell: object) -> float:
        """Read minutes or money.

        Raises
        ------
        Refused
            If it is no number, or negative.
        """
        number = self.number(cell, "min", "must be a number, 0 or more")
        if number < 0:
            raise Refused("must be a number, 0 or more")
        return number


def _plain(cell: object) -> object:
    if isinstance(cell, Decimal):
        return float(cell)
    return text_of(cell) if isinstance(cell, str) else cell


def _without_unit(text: str, unit: str) -> str:
    end = unit.strip().casefold()
    return text[: -len(end)].rstrip() if end and text.casefold().endswith(end) and len(text) > len(end) else text


def _as_shown(number: float) -> float:
    """Return a number as a spreadsheet shows it, in 15 digits: 0.1 + 0.2 is 0.3 there."""
    return float(f"{number:.15g}")


def text_of(cell: object) -> str:
    """Return a cell as a person sees it: 3.0 is ``3``, 0.1 + 0.2 is ``0.3``, a day has no hours, hard blanks are blanks."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return str(cell).removesuffix(" 00:00:00")
    if isinstance(cell, float):
        return f"{cell + 0.0:.15g}"  # no sign before a zero
    return " ".join(str(cell).replace("\u00a0", " ").split())


def is_nothing(cell: object, levels: Iterable[str] = ()) -> bool:
    """Tell whether a cell says that there is nothing, unless that is the name of a level."""
    text = text_of(cell).casefold()
    return text in NOTHING and text not in {level.casefold() for level in levels}


def label(cell: object) -> str | None:
    """Read a name, None where there is nothing.

    Raises
    ------
    Refused
        If it is too long.
    """
    if is_nothing(cell):
        return None
    try:
        return check_label("", text_of(cell), _LONGEST_LABEL)
    except FettleError:
        raise Refused(f"must be text on one line, 1 to {_LONGEST_LABEL} characters") from None


def moment(cell: object) -> datetime | None:
    """Read a time: a date cell, ``2026-03-01 14:30`` or ``1.3.2026 14:30``; a zone is dropped.

    Raises
    ------
    Refused
        If it is written so that day and month could be mistaken, or is no time.
    """
    if isinstance(cell, datetime):
        return bench_time(cell)
    if is_nothing(cell):
        return None
    text = text_of(cell)
    found = _DAY_FIRST.fullmatch(text)
    try:
        if found:
            day, month, year, hour, minute, second = (int(part or 0) for part in found.groups())
            return datetime(year, month, day, hour, minute, second)
        return read_moment(text)
    except ValueError:
        raise Refused("must be a time such as 2026-03-01 or 2026-03-01 14:30") from None
