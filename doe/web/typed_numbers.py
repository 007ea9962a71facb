"""Numbers of a form, and what is wrong with each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from doe.model.errors import DataError
from doe.model.numbers import parts_of, read_minutes, read_number, without_unit
from doe.web.definition_faults import NotRead


class TypedNumbers:
    """Reads the numbers of a form, and keeps what is wrong with each until all are read.

    Parameters
    ----------
    typed : mapping of str to str
        The form.
    unit : str
        Unit of measure that may stand behind a number.
    """

    def __init__(self, typed: Mapping[str, str], unit: str = "") -> None:
        self._typed, self._unit = typed, unit
        self._errors: dict[str, str] = {}

    def number(self, name: str) -> float | None:
        """Read a number, None for an empty field."""
        if not self._typed.get(name):
            return None
        return self._tried(name, partial(_read, self._typed[name], name, self._unit))

    def pair(self, name: str) -> float | tuple[float, ...] | None:
        """Read one number or two with a blank between."""
        parts = parts_of(self._typed.get(name, ""), self._unit)
        if len(parts) > 2:
            told = f"{name} is '{self._typed[name][:60]}'; it must be one number, or two with a blank between."
            self._errors[name] = told
            return None
        found = [self._tried(name, partial(_read, part, name, self._unit)) for part in parts]
        read = tuple(value for value in found if value is not None)
        return read[0] if len(read) == 1 else (read or None)

    def spent(self, name: str) -> float:
        """Read minutes or money; nothing where the field is empty."""
        if "minutes" not in name:
            return self.number(name) or 0.0
        if not self._typed.get(name):
            return 0.0
        return self._tried(name, partial(read_minutes, self._typed[name], name)) or 0.0

    def prices(self, name: str) -> dict[str, float]:
        """Read a level and its price from each line, with an equals sign between."""
        found: dict[str, float] = {}
        for line in filter(str.strip, self._typed.get(name, "").splitlines()):
            of, equals, number = (part.strip() for part in line.rpartition("="))
            if not equals or not of or of in found:
                wrong = f"name {of} twice" if of in found else f"have a line '{line.strip()[:60]}'"
                self._errors[name] = f"{name} {wrong}; write each level once, such as cork = 12."
                return {}
            read = self._tried(name, partial(_read, number, f"Price of {of}", ""))
            found |= {of: read} if read is not None else {}
        return found

    def check(self) -> None:
        """Check that all could be read.

        Raises
        ------
        NotRead
            If one could not.
        """
        if self._errors:
            raise NotRead(self._errors)

    def _tried(self, name: str, read: Callable[[], float]) -> float | None:
        try:
            return read()
        except DataError as err:
            self._errors[name] = str(err)
            return None


def _read(text: str, name: str, unit: str) -> float:
    try:
        return read_number(without_unit(text, unit), name)
    except DataError as err:
        if "thousands" in str(err):
            raise
        raise DataError(f"{name} is '{text[:60]}'; it must be a number.") from None
