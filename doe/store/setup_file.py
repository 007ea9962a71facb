"""The definitions of a project, read from a TOML file."""

from __future__ import annotations

from pathlib import Path

from doe.model.errors import DataError, UsageError
from doe.model.setup import Setup


def read_setup(path: str | Path) -> Setup:
    """Read the definitions from a TOML file.

    Raises
    ------
    DataError
        If the file is missing, no TOML, a definition in it contradicts itself, or no settings keep its limits; the sentence
        names the file.
    """
    import tomllib  # only starting a project needs it

    source = Path(path)
    try:
        tables = tomllib.loads(source.read_text(encoding="utf-8-sig"))
        setup = Setup.from_tables(tables)
        from doe.model.possible import check_storable  # takes a moment that few commands need

        check_storable(setup)
        return setup
    except FileNotFoundError:
        raise DataError(f"There is no setup file '{source}'.") from None
    except OSError as err:
        raise DataError(f"{source} cannot be read: {(err.strerror or 'the system refuses').lower()}.") from err
    except UnicodeDecodeError:
        raise DataError(f"{source} is no text in UTF-8; save it as such.") from None
    except tomllib.TOMLDecodeError as err:
        raise DataError(f"{source} is no TOML that can be read: {_lower_first(str(err))}.") from None
    except UsageError as err:
        raise DataError(f"{source}: {err}") from err


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]
