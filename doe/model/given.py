"""Whether a caller gave the kind of thing that a public function takes: a word to who types in a notebook."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from numbers import Integral, Real
from typing import Any

from doe.model.errors import UsageError, shown


def check_each(what: str, given: object, kind: type) -> None:
    """Check that several definitions were given, as a list of them.

    Raises
    ------
    UsageError
        If it is no list, or one of it is something else.
    """
    if not isinstance(given, Sequence) or isinstance(given, str):
        raise UsageError(f"{what} is {described(given)}; it must be a list of doe.{kind.__name__}.")
    for item in given:
        if not isinstance(item, kind):
            raise UsageError(f"{what} holds {described(item)}; each must be a doe.{kind.__name__}.")


def check_one(what: str, given: object, kind: type) -> None:
    """Check that one definition was given.

    Raises
    ------
    UsageError
        If it is something else.
    """
    if not isinstance(given, kind):
        raise UsageError(f"{what} is {described(given)}; it must be a doe.{kind.__name__}.")


def check_frame(what: str, given: object, row: str = "reading") -> None:
    """Check that a table was given, each column once, without importing what makes tables.

    Raises
    ------
    UsageError
        If it is no data frame, or two columns share a name.
    """
    columns = getattr(given, "columns", None)
    if columns is None:
        raise UsageError(f"{what} must be a pandas DataFrame, one row per {row}, not a {type(given).__name__}.")
    taken: set[object] = set()
    for column in columns:
        if column in taken:
            raise UsageError(f"{what} has two columns '{shown(column, 40)}'; keep one.")
        taken.add(column)


def as_mapping(what: str, given: object) -> dict[Any, Any]:
    """Return values by name: of a mapping, or of a row of a data frame.

    Raises
    ------
    UsageError
        If it is neither.
    """
    if isinstance(given, Mapping) or hasattr(given, "keys"):
        row: Any = given
        return {key: row[key] for key in row.keys()}  # noqa: SIM118 - a row goes over its values, not its names
    raise UsageError(f"{what} is {described(given)}; it must be values by name, such as a dict.")


def check_names(what: str, given: object) -> tuple[str, ...]:
    """Return several names, whatever holds them; a single text is no such thing, though to Python a list of its letters.

    Raises
    ------
    UsageError
        If it is one text or no list, or one of it is no text.
    """
    if isinstance(given, str) or not isinstance(given, Iterable):
        raise UsageError(f"{what} is {described(given)}; it must be a list of names.")
    names = tuple(given)
    for name in names:
        if not isinstance(name, str):
            raise UsageError(f"{what} holds {described(name)}; each must be a name.")
    return names


def check_text(what: str, given: object) -> None:
    """Check that a name or a note was given as text: a variant called 12 is ``"12"``.

    Raises
    ------
    UsageError
        If it is something else.
    """
    if not isinstance(given, str):
        such = f", such as '{given}'" if isinstance(given, Integral) and not isinstance(given, bool) else ""
        raise UsageError(f"{what} is {described(given)}; it must be text{such}.")


def check_facts(when: object, note: object, **names: object) -> None:
    """Check what is told of a record beside its values; `when` and names may be None.

    Raises
    ------
    UsageError
        If a name or the note is no text, or `when` no time.
    """
    for what, name in names.items():
        if name is not None:
            check_text(what, name)
    check_text("note", note)
    if when is not None and (not isinstance(when, datetime) or when != when):  # NaT is a datetime, but not itself
        raise UsageError(f"when is {described(when)}; it must be a datetime, such as datetime(2026, 3, 3, 19, 30).")


def check_whole(what: str, given: object, least: int = 0, most: int | None = None) -> int:
    """Return a whole number within bounds, as a plain one; those of array libraries count too.

    Raises
    ------
    UsageError
        If it is none.
    """
    if isinstance(given, Integral) and not isinstance(given, bool):
        number = int(given)
        if least <= number and (most is None or number <= most):
            return number
    end = "" if most is None else f" to {most}"
    raise UsageError(f"{what} is {described(given)}; it must be a whole number from {least}{end}.")


def check_number(what: str, given: object) -> None:
    """Check that a number was given; its range is for the caller to judge.

    Raises
    ------
    UsageError
        If it is none.
    """
    if not isinstance(given, Real) or isinstance(given, bool):
        raise UsageError(f"{what} is {described(given)}; it must be a number.")


def described(given: object) -> str:
    """Say what was given: a number or a text as it is, anything else by its kind."""
    if isinstance(given, Real) or given is None:
        return shown(given, 40)
    if isinstance(given, str):
        return f"'{shown(given, 40)}'"
    kind = type(given).__name__
    return f"{'an' if kind[0] in 'AEIOaeio' else 'a'} {kind}"
