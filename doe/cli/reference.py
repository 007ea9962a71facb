"""The help of every command in one text, kept in ``reference.txt`` beside this file.

``python -m doe.cli.reference`` writes it anew; a test fails while it differs from what the commands say.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from doe.cli.commands import COMMANDS, overview
from doe.cli.parser import Parser

FILE = Path(__file__).with_name("reference.txt")


def all_parsers() -> Iterator[Parser]:
    """Make the parser of every command and every action of one."""
    for command in COMMANDS:
        for action in command.actions or ("",):
            yield command.parser(action)


def reference_text() -> str:
    """Return the whole reference."""
    parts = [overview()]
    for command in COMMANDS:
        parts += [command.help()] if command.actions else []
        parts += [command.parser(action).format_help() for action in command.actions or ("",)]
    rule = "\n\n" + "-" * 100 + "\n\n"
    return rule.join(part.strip() for part in parts) + "\n"


if __name__ == "__main__":
    FILE.write_text(reference_text(), encoding="utf-8", newline="\n")
