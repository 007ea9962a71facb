"""The help of every command in one text, kept in ``reference.txt`` beside this file.

``python -m doe.cli.reference`` writes it anew; a test fails while it differs from what the commands say.
"""

from __future__ import annotations

from pathlib import Path

from doe.cli.commands import COMMANDS, Command, overview
from doe.cli.parser import Parser

FILE = Path(__file__).with_name("reference.txt")


def parsers_of(command: Command) -> list[Parser]:
    """Make the parser of each action of a command, or of the command itself."""
    return [command.parser(action) for action in command.actions or ("",)]


def reference_text() -> str:
    """Return the whole reference."""
    parts = [overview()]
    for command in COMMANDS:
        parts += [command.help()] if command.actions else []
        parts += [parser.format_help() for parser in parsers_of(command)]
    rule = "\n\n" + "-" * 100 + "\n\n"
    return rule.join(part.strip() for part in parts) + "\n"


if __name__ == "__main__":
    FILE.write_text(reference_text(), encoding="utf-8", newline="\n")
