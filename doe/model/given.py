"""Whether a caller gave the kind of thing that a public function takes: a word to who types in a notebook."""

from __future__ import annotations

from collections.abc import Sequence

from doe.model.errors import UsageError, shown


def check_each(what: str, given: object, kind: type) -> None:
    """Check that several definitions were given, as a list of them.

    Raises
    ------
    UsageError
        If it is no list, or one of it is something else.
    """
    if not isinstance(given, Sequence) or isinstance(given, str):
        raise UsageError(f"{what} is {_shown(given)}; it must be a list of doe.{kind.__name__}.")
    for item in given:
        if not isinstance(item, kind):
            raise UsageError(f"{what} holds {_shown(item)}; each must be a doe.{kind.__name__}.")


def check_one(what: str, given: object, kind: type) -> None:
    """Check that one definition was given.

    Raises
    ------
    UsageError
        If it is something else.
    """
    if not isinstance(given, kind):
        raise UsageError(f"{what} is {_shown(given)}; it must be a doe.{kind.__name__}.")


def check_frame(what: str, given: object) -> None:
    """Check that a table was given, without importing what makes tables.

    Raises
    ------
    UsageError
        If it is no data frame.
    """
    if not hasattr(given, "columns"):
        raise UsageError(f"{what} must be a pandas DataFrame, one row per reading, not a {type(given).__name__}.")


def _shown(given: object) -> str:
    if isinstance(given, str | int | float):
        return f"'{shown(given, 40)}'"
    kind = type(given).__name__
    return f"{'an' if kind[0] in 'AEIOaeio' else 'a'} {kind}"
