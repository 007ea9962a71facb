"""Everything that Fettle raises on purpose.

The tree, by who can put it right::

    FettleError
    ├── UsageError      the call: a wrong argument, an unknown name
    ├── DataError       the records: a value off its range, an empty log
    │   ├── ImportProblems   many bad cells of one spreadsheet, each named
    │   └── NoVariant        a variant that is not there, or not there any more
    ├── FitError        the mathematics: nothing to estimate, a model that cannot be told apart
    └── StoreError      the project file: missing, locked, newer, not a project

Each message is one sentence that names the field, the value and what is allowed. Imports nothing of ours.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


class FettleError(Exception):
    """Base of every error that a user may be shown as it is, without a traceback.

    Parameters
    ----------
    message : str
        What is wrong, in a sentence.
    command : str
        What to type against it, as a clause that goes on from the sentence; told at the command line only.
    """

    def __init__(self, message: str = "", *, command: str = "") -> None:
        super().__init__(message)
        self.command = command


class UsageError(FettleError, ValueError):
    """The caller asked for something that does not exist or does not fit together."""


class DataError(FettleError, ValueError):
    """A record contradicts the project's own definitions, or is no number at all."""


class FitError(FettleError, ValueError):
    """The readings at hand cannot answer the question, however they are turned."""


class StoreError(FettleError, OSError):
    """The project file cannot be used: it is missing, held by another, newer, or something else."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One cell of a spreadsheet that cannot be read safely.

    Attributes
    ----------
    line : int
        Line in the file, counting from 1 as an editor does; 0 where the whole file is meant.
    column : str
        Heading as it stands in the file.
    value : str
        The cell's text as it stands.
    allowed : str
        What would have been accepted, as a phrase.
    """

    line: int
    column: str
    value: str
    allowed: str

    def sentence(self) -> str:
        """Return the problem as one line of text."""
        where = f"line {self.line}" if self.line else "the file"
        column = f", column '{self.column}'" if self.column else ""
        value = f": '{self.value}'" if self.value else ": empty"
        return f"{where}{column}{value} - {self.allowed}"


class ImportProblems(DataError):  # noqa: N818 - it is the list of them that users meet
    """A log that was not imported, with every cell that stands in the way.

    Parameters
    ----------
    source : str
        Name of the file.
    problems : sequence of Problem
        All of them, not only the first.
    """

    def __init__(self, source: str, problems: Sequence[Problem]) -> None:
        self.source = source
        self.problems = tuple(problems)
        count = len(self.problems)
        head = (
            f"{source} was not imported, nothing was stored: {count} {'cell' if count == 1 else 'cells'} to put right."
        )
        super().__init__("\n".join([head, *(f"  {problem.sentence()}" for problem in self.problems)]))


class NoVariant(DataError):  # noqa: N818 - what is missing names it best
    """A variant that is not there; the history may know what took it out.

    Parameters
    ----------
    variant : str
        As it was named.
    message : str
        In a sentence.
    entry : int
        Entry of the history that took it out; 0 where none is known to have.
    """

    def __init__(self, variant: str, message: str, *, command: str = "", entry: int = 0) -> None:
        super().__init__(message, command=command)
        self.variant = variant
        self.entry = entry


def shown(value: object, most: int = 120) -> str:
    r"""Return a value as it may be quoted in a sentence: on one line, without control characters, not too long.

    Examples
    --------
    >>> shown("felt\ncork")
    'felt cork'
    """
    try:
        text = str(value)
    except ValueError:  # Python refuses to spell whole numbers of more than some thousand digits
        return "a very long number"
    text = "".join(sign if sign.isprintable() else " " for sign in text[: most + 1])
    return text if len(text) <= most else f"{text[: most - 3]}..."


def listed(names: Iterable[object], joiner: str = "or") -> str:
    """Join names as a person would: ``a, b or c``.

    Examples
    --------
    >>> listed(["paper", "poly", "bamboo"])
    'paper, poly or bamboo'
    """
    words = [str(name) for name in names]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joiner} {words[-1]}"


def few(names: Iterable[object], most: int = 12) -> list[str]:
    """Return as many names as fit a sentence.

    Examples
    --------
    >>> few(range(1, 21), 4), few(["felt", "cork", "wool", "foam", "card"], 4)
    (['1', '2', '3', 'others up to 20'], ['felt', 'cork', 'wool', '2 others'])
    """
    words = [str(name) for name in names]
    if len(words) <= most:
        return words
    left = len(words) - most + 1
    others = f"others up to {words[-1]}" if words[-1][-1:].isdigit() else f"{left} others"
    return [*words[: most - 1], others]


def there_are(names: Iterable[object], nothing: str = "none is defined yet") -> str:
    """Say what there is instead, as far as it fits a sentence.

    Examples
    --------
    >>> there_are(["bass", "echo"]), there_are(["bass"]), there_are([])
    ('there are bass and echo', 'there is only bass', 'none is defined yet')
    """
    words = few(names)
    if not words:
        return nothing
    return f"there are {listed(words, 'and')}" if len(words) > 1 else f"there is only {words[0]}"


def did_you_mean(word: object, known: Iterable[str], least: float = 0.6) -> str:
    """Return ``" Did you mean 'x'?"`` for the nearest known name, or an empty string where none is at least so alike."""
    names = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(str(word).casefold(), names, n=1, cutoff=least)
    return f" Did you mean '{names[near[0]]}'?" if near else ""


def or_else(word: str, known: Iterable[str], nothing: str = "none is defined yet") -> str:
    """Return how the refusal of an unknown name ends: with the nearest known one, else with those there are.

    Examples
    --------
    >>> or_else("wol", ["wool", "feet"]), or_else("hum", ["wool", "feet"])
    (". Did you mean 'wool'?", '; there are wool and feet.')
    """
    names = list(known)
    near = did_you_mean(word, names)
    return f".{near}" if near else f"; {there_are(names, nothing)}."
