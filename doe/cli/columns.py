"""Tables and sentences within the width of a terminal: words stay whole, and so do the commands to type."""

from __future__ import annotations

import re
from collections.abc import Sequence

GAP = "  "
UNKNOWN = "-"
"""What stands in a cell where nothing is known."""
_NARROWEST = 24
"""Text columns are not folded narrower than this; a table that is still too wide goes on below, its first column repeated."""
_SHORTEST_LINE = 30
_COMMAND = re.compile(r"'fettle [^']*'|`fettle [^`]*`")
_ITEM = re.compile(r" *(?:- |\d+\. |\S+(?: \S+)? {2,})?")
"""What stands before the text of a line: the mark of a list item, or the name that a list explains."""
_TYPED = ("$ ", "fettle ")
"""How a line begins that is a command as a whole."""
_WORD = re.compile(r"[ \n]*[^ \n]+")
_MARK = re.compile(r"\033\[\d*m")
"""Turns bold on or off, and takes no room."""
_HELD = "\N{NO-BREAK SPACE}"


def laid_out(rows: Sequence[Sequence[str]], is_right: Sequence[bool], room: int = 0) -> list[list[str]]:
    """Set cells in columns.

    Parameters
    ----------
    rows : sequence of sequence of str
        The headings first.
    is_right : sequence of bool
        Which columns end at the right.
    room : int
        Characters in a line; 0 for as many as it takes.

    Returns
    -------
    list of list of str
        Lines; more than one list where the columns do not all stand beside each other, each beginning with its headings.
        Those that go on below leave out the rows in which they say nothing.
    """
    widths = [max(len(row[column]) for row in rows) for column in range(len(is_right))]
    first, *further = _blocks(widths, is_right, room) or [[]]
    blocks = [(rows, first), *((_telling(rows, columns[1:]), columns) for columns in further)]
    return [_block(told, is_right, columns, _fitted(widths, is_right, columns, room)) for told, columns in blocks]


def _telling(rows: Sequence[Sequence[str]], columns: Sequence[int]) -> list[Sequence[str]]:
    """Return the headings, and the rows with something in one of the columns at least."""
    return [rows[0], *(row for row in rows[1:] if any(row[column] not in ("", UNKNOWN) for column in columns))]


def _blocks(widths: Sequence[int], is_right: Sequence[bool], room: int) -> list[list[int]]:
    """Share the columns out so that each block fits, folded where it must be."""
    least = [width if right else min(width, _NARROWEST) for width, right in zip(widths, is_right, strict=True)]
    blocks = [[0]]
    for column in range(1, len(widths)):
        if room and len(blocks[-1]) > 1 and _total(least, [*blocks[-1], column]) > room:
            blocks.append([0])
        blocks[-1].append(column)
    return blocks if len(widths) else []


def _fitted(widths: Sequence[int], is_right: Sequence[bool], columns: Sequence[int], room: int) -> dict[int, int]:
    """Take from the widest text column until the block fits."""
    fitted = {column: widths[column] for column in columns}
    while room and _total(fitted, columns) > room:
        widest = max(
            (column for column in columns if not is_right[column]), key=lambda column: fitted[column], default=None
        )
        if widest is None or fitted[widest] <= _NARROWEST:
            break
        fitted[widest] -= 1
    return fitted


def _total(widths: Sequence[int] | dict[int, int], columns: Sequence[int]) -> int:
    return sum(widths[column] for column in columns) + len(GAP) * (len(columns) - 1)


def _block(
    rows: Sequence[Sequence[str]], is_right: Sequence[bool], columns: Sequence[int], widths: dict[int, int]
) -> list[str]:
    lines = []
    for row in rows:
        cells = [
            [row[column]] if len(row[column]) <= widths[column] else _cell(row[column], widths[column])
            for column in columns
        ]
        for place in range(max(len(cell) for cell in cells)):
            parts = [cell[place] if place < len(cell) else "" for cell in cells]
            set_ = [
                part.rjust(widths[column]) if is_right[column] else part.ljust(widths[column])
                for part, column in zip(parts, columns, strict=True)
            ]
            lines.append(GAP.join(set_).rstrip())
    return lines


def _cell(text: str, width: int) -> list[str]:
    """Fold a cell; a word that is wider than its column, such as the name of a file, is broken, a command is not."""
    parts = _folded(text, width)
    return [
        piece
        for part in parts
        for piece in ([part] if _COMMAND.search(part) else re.findall(f".{{1,{width}}}", part) or [""])
    ]


def folded(text: str, room: int) -> str:
    """Fold lines that are longer than a terminal's at blanks, further lines as far in as the text of the first.

    Parameters
    ----------
    text : str
    room : int
        Characters in a line; 0 leaves all as it is.
    """
    if room < _SHORTEST_LINE:
        return text
    lines = []
    for line in text.split("\n"):
        if _width(line) <= room or line.lstrip().startswith(_TYPED):
            lines.append(line)
            continue
        begin = _ITEM.match(line)[0]  # type: ignore[index]  # it matches nothing at all, too
        if room - len(begin) < _NARROWEST:
            begin = ""
        first, *further = _folded(line[len(begin) :].strip(), room - len(begin))
        lines += [begin + first, *(" " * len(begin) + part for part in further)]
    return "\n".join(lines)


def _folded(text: str, width: int) -> list[str]:
    held = _COMMAND.sub(lambda found: found[0].replace(" ", _HELD), text)
    parts = [""]
    for word in _WORD.findall(held):
        word = word.replace("\n", " ")
        if parts[-1] and _width(parts[-1] + word) > width:
            parts.append(word.lstrip(" "))
        else:
            parts[-1] += word
    return [part.replace(_HELD, " ") for part in parts]


def _width(text: str) -> int:
    return len(_MARK.sub("", text))
