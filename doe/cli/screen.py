"""What is printed, and where: data to standard output, everything else to standard error."""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, TextIO

from doe.cli.columns import UNKNOWN, folded, laid_out
from doe.model.errors import FettleError
from doe.model.plain import plain
from doe.model.wording import cell_text

if TYPE_CHECKING:
    from doe.store import Entry


def say(text: str = "") -> None:
    """Print a line of the answer."""
    print(folded(text, room(sys.stdout)))


def note(text: str) -> None:
    """Print a line beside the answer, to standard error."""
    print(folded(text, room(sys.stderr)), file=sys.stderr)


def room(stream: TextIO) -> int:
    """Return how many characters a line may have on a terminal; 0 where it goes elsewhere, and as many as it takes."""
    return shutil.get_terminal_size().columns if stream.isatty() else 0


def refusal(err: FettleError) -> str:
    """Say what is wrong, and what to type against it where the error knows."""
    return f"{str(err).removesuffix('.')}; {err.command}." if err.command else str(err)


def is_colourful() -> bool:
    """Tell whether headings may be set in bold: a terminal, and nobody asked for plain text (https://no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def heading(text: str) -> str:
    """Return a heading, bold on a terminal."""
    return f"\033[1m{text}\033[0m" if is_colourful() else text


def titled(summary: str) -> str:
    """Return a result's summary with its first line as a heading."""
    title, _, rest = summary.strip().partition("\n")
    return f"{heading(title)}\n{rest}".rstrip()


def cell(value: Any) -> str:
    """Return the text of one cell."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return UNKNOWN
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M")
    return cell_text(value)


def table(
    headings: Sequence[str], rows: Iterable[Sequence[Any]], inset: int = 0, *, spare: Collection[str] = ()
) -> str:
    """Set rows in columns, numbers to the right, without a line that ends in blanks.

    On a terminal, long text is folded within its column, and columns that have no room beside the others follow below;
    `inset` is how far in the table will be set. Columns that are `spare` are left out where nothing stands in them.
    """
    values = [list(row) for row in rows]
    kept = [
        place
        for place, name in enumerate(headings)
        if name not in spare or any(row[place] not in (None, "") for row in values)
    ]
    headings, values = [headings[place] for place in kept], [[row[place] for place in kept] for row in values]
    texts = [list(headings), *([cell(value) for value in row] for row in values)]
    is_right = [_is_numeric(row[column] for row in values) for column in range(len(headings))]
    width = room(sys.stdout)
    blocks = laid_out(texts, is_right, max(width - inset, 0))
    return "\n\n".join("\n".join([heading(lines[0]), *lines[1:]]) for lines in blocks)


def _is_numeric(column: Iterable[Any]) -> bool:
    known = [value for value in column if value is not None]
    return bool(known) and all(isinstance(value, int | float) for value in known)


def print_json(content: Any) -> None:
    """Print plain data, frames and records as JSON, at full precision; what is unknown becomes null."""
    print(json.dumps(plain(content), indent=2, ensure_ascii=False, allow_nan=False))


def stored(text: str, entry: Entry) -> None:
    """Tell what was stored, and how to take it back."""
    say(f"{text}\nTake it back with 'fettle undo {entry.id}'.")


def doubts(notes: Iterable[str]) -> None:
    """Tell what in that which was just stored looks like a slip."""
    for line in notes:
        if line:
            note(f"Note: {line}. If that is a slip, take it back.")
