"""The definitions of a project, read from a TOML file."""

from __future__ import annotations

import re
from pathlib import Path

from doe.model.errors import DataError, UsageError, shown
from doe.model.setup import Setup

_TWICE = re.compile("twice|overwrite|mutate|already", re.IGNORECASE)
_WRITTEN = 'text stands in quotes, a list in brackets, and each key on a line of its own: levels = ["felt", "cork"]'


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
        text = source.read_text(encoding="utf-8-sig")
        tables = tomllib.loads(text)
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
        raise DataError(f"{source} is no TOML that can be read: {toml_fault(text, str(err))}.") from None
    except UsageError as err:
        raise DataError(f"{source}: {err}") from err


def toml_fault(text: str, said: str) -> str:
    """Say where a text is no TOML (https://toml.io/en/v1.0.0), what stands there, and how it is written instead.

    Parameters
    ----------
    text : str
        The whole text.
    said : str
        What the reader of TOML says; only where it stopped, and whether something stands twice, is taken from it.
    """
    is_twice = bool(_TWICE.search(said))
    how = "a key stands a second time" if is_twice else _WRITTEN
    place = re.search(r"at line (\d+), column (\d+)", said)
    if place is None:
        return f"{'its last line' if is_twice else 'it ends too early'}; {how}"
    lines = text.splitlines()
    line = lines[int(place[1]) - 1].strip() if int(place[1]) <= len(lines) else ""
    shown_line = f", '{shown(line, 60)}'" if line else ""
    return f"line {place[1]}, column {place[2]}{shown_line}; {how}"
