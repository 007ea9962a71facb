"""Options read by argparse, with errors in whole sentences and help that ends in examples."""

from __future__ import annotations

import argparse
import itertools
import re
import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, NoReturn

from doe.cli.screen import room, say
from doe.model.choices import meant
from doe.model.errors import DataError, UsageError, did_you_mean, listed
from doe.model.numbers import read_hours, read_minutes, read_moment, read_number

WIDTH = 100
NOTHING = "none"
"""Typed to empty a field of a definition."""


class HelpLayout(argparse.RawDescriptionHelpFormatter):
    """Help of one width, so that the written reference is the same on every machine; narrower on a narrow terminal."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=30, width=min(WIDTH, room(sys.stdout) or WIDTH))

    def _format_usage(self, usage: Any, actions: Any, groups: Any, prefix: str | None) -> str:
        return super()._format_usage(usage, actions, groups, "Usage: " if prefix is None else prefix)


_NEGATIVE = re.compile(r"^-(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?$", re.IGNORECASE)
"""What may stand after an option as its value though it begins with a dash."""


class Parser(argparse.ArgumentParser):
    """The parser of one command.

    Parameters
    ----------
    prog : str
        The command as typed, such as ``"fettle factor add"``.
    description : str
        What it does, in a sentence or two.
    examples : sequence of str
        Command lines shown at the end of the help.
    run : callable
        What to call with the options once they are read.
    """

    def __init__(
        self, prog: str, description: str, examples: Sequence[str], run: Callable[[argparse.Namespace], None]
    ) -> None:
        lines = "\n".join(f"  {line}" for line in examples)
        super().__init__(
            prog=prog,
            description=description,
            epilog=f"Examples:\n{lines}",
            formatter_class=HelpLayout,
            allow_abbrev=False,
            add_help=False,
        )
        self._negative_number_matcher = _NEGATIVE  # -1e-6 and -1,5 had been taken for options
        self._positionals.title = "Give"
        self._optionals.title = "Options"
        self.set_defaults(run=run)
        self.add_argument("-h", "--help", action="help", help="show this page and stop")
        self.add_argument(
            "--project",
            metavar="FILE",
            help="project file; otherwise FETTLE_PROJECT, or the one project in this folder",
        )

    def print_help(self, file: Any = None) -> None:
        """Print the help as any answer is printed: folded where a terminal is narrower, each paragraph as one."""
        if room(sys.stdout) and self.description:
            self.description = re.sub(r"(?<=\S)\n(?=\S)", " ", self.description)
        say(self.format_help().rstrip("\n"))

    def parse_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> argparse.Namespace:
        """Read the options; an unknown one is named before anything else is complained about.

        Raises
        ------
        UsageError
            If something is unknown, missing or not allowed.
        """
        for word in itertools.takewhile(lambda word: word != "--", args or ()):
            if word.startswith("--") and word.partition("=")[0] not in self._option_string_actions:
                self.error(f"unrecognized arguments: {word}")
        return super().parse_args(args, namespace)

    def error(self, message: str) -> NoReturn:
        """Raise argparse's complaint as a sentence.

        Raises
        ------
        UsageError
            Always.
        """
        raise UsageError(sentence(self.prog, message, self._option_string_actions))

    def json_option(self) -> None:
        """Add ``--json``, which every command that reads has."""
        self.add_argument("--json", action="store_true", help="print full precision as JSON instead of text")


def sentence(prog: str, message: str, options: Sequence[str] | Any) -> str:
    """Turn an argparse message into one of ours."""
    if found := re.fullmatch(r"the following arguments are required: (.+)", message):
        return f"{prog} needs {listed(found[1].split(', '), 'and')}."
    if found := re.fullmatch(r"unrecognized arguments: (\S+).*", message, re.DOTALL):
        word = found[1].partition("=")[0]
        if not word.startswith("-"):
            return f"{prog} does not know what to do with '{found[1]}'."
        near = [name for name in options if name != "--help" or word.startswith("--he")]
        return f"{prog} has no option {word}.{did_you_mean(word, near)}"
    if found := re.fullmatch(r"argument (\S+): not allowed with argument (\S+)", message):
        return f"{found[1]} does not go with {found[2]}; give one of them."
    if found := re.fullmatch(r"argument (\S+): expected 2 .+", message):
        return f"{found[1]} needs two values after it."
    if found := re.fullmatch(r"argument (\S+): expected .+", message):
        return f"{found[1]} needs a value after it."
    if found := re.fullmatch(r"argument (\S+): ignored explicit argument (.+)", message):
        return f"{found[1]} takes no value, not even {found[2]}."
    if found := re.fullmatch(r"one of the arguments (.+) is required", message):
        return f"{prog} needs one of {listed(found[1].split())}."
    if found := re.fullmatch(r"argument (\S+): (.+)", message, re.DOTALL):
        return f"{found[1]} {found[2]}"
    return f"{prog}: {message}."


def a_number(text: str) -> float:
    """Read an option's number; decimal commas are understood."""
    try:
        return read_number(text, "it")
    except DataError:
        raise argparse.ArgumentTypeError(f"is '{text}'; it must be a number.") from None


def a_number_or_none(text: str) -> float | str:
    """Read an option's number, or the word that empties a field."""
    return NOTHING if text.strip().casefold() == NOTHING else a_number(text)


def a_count(text: str) -> int:
    """Read a whole number from 1."""
    if not text.strip().isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"is '{text}'; it must be a whole number from 1.")
    return int(text)


def a_whole_number(text: str) -> int:
    """Read a whole number from 0."""
    if not text.strip().isdecimal():
        raise argparse.ArgumentTypeError(f"is '{text}'; it must be a whole number from 0.")
    return int(text)


def not_below_zero(text: str) -> float:
    """Read a number from 0."""
    number = a_number(text)
    if number < 0:
        raise argparse.ArgumentTypeError(f"is '{text}'; it must be a number from 0.")
    return number


def bench_minutes(text: str) -> float:
    """Read a time at the bench, in minutes where no unit says otherwise."""
    return _told(read_minutes, text)


def bench_hours(text: str) -> float:
    """Read a time at the bench, in hours where no unit says otherwise."""
    return _told(read_hours, text)


def _told(read: Callable[[str, str], float], text: str) -> float:
    try:
        return read(text, "")
    except DataError as err:
        raise argparse.ArgumentTypeError(str(err).strip()) from None


def one_of(allowed: Sequence[str]) -> Callable[[str], str]:
    """Return a reader of one word out of a closed list."""

    def read(text: str) -> str:
        if text in allowed:
            return text
        raise argparse.ArgumentTypeError(f"is '{text}'; it must be {listed(allowed)}.{meant(text, allowed)}")

    return read


def a_pair(text: str) -> tuple[str, str]:
    """Split ``name=value`` at the first equals sign."""
    name, equals, value = text.partition("=")
    if not equals or not name.strip():
        raise argparse.ArgumentTypeError(f"is '{text}'; write it as NAME=VALUE, without blanks around the sign.")
    return name.strip(), value.strip()


def once(pairs: Sequence[tuple[str, str]] | None) -> dict[str, str]:
    """Return what was given as NAME=VALUE by name.

    Raises
    ------
    UsageError
        If a name is given twice.
    """
    found: dict[str, str] = {}
    for name, value in pairs or ():
        if name in found:
            raise UsageError(f"{name} is given twice, as {found[name]} and {value}; give it once.")
        found[name] = value
    return found


def a_time(text: str) -> datetime:
    """Read a day, or a day and a time."""
    try:
        return read_moment(text.strip())
    except ValueError:
        raise argparse.ArgumentTypeError(f"is '{text}'; write it as 2026-03-03 or '2026-03-03 19:30'.") from None
