"""What the commands that define have in common: options into a definition's table."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from doe.cli.chosen import open_project
from doe.cli.parser import NOTHING, Parser
from doe.cli.screen import print_json, say, stored, table
from doe.model.errors import DataError, did_you_mean, there_are
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.setup import Setup, table_of

_A = {"factor": "a factor", "outcome": "an outcome", "limit": "a limit", "derived": "a derived quantity"}
"""What `removal` takes out, in words."""

_Named = TypeVar("_Named", Factor, Outcome, Limit, Derived, Expectation)


def given(options: Namespace, names: Iterable[str]) -> dict[str, Any]:
    """Return what was typed for these fields; the word that empties a field becomes None."""
    values = {name: getattr(options, name, None) for name in names}
    return {
        name: None if isinstance(value, str) and value == NOTHING else value
        for name, value in values.items()
        if value is not None
    }


def filled(table: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """Return a definition's table with changes; a field changed to None goes back to its default."""
    merged = {**table, **changes}
    return {name: value for name, value in merged.items() if value is not None}


def pick(records: Sequence[_Named], name: str, what: str) -> _Named:
    """Return the definition of that name (a limit by its rule).

    Raises
    ------
    DataError
        If there is none; a near name is suggested.
    """
    known = {name_of(record): record for record in records}
    if name in known:
        return known[name]
    raise DataError(f"There is no {what} '{name}'; {there_are(known)}.{did_you_mean(name, known)}")


def name_of(record: Factor | Outcome | Limit | Derived | Expectation) -> str:
    """Return what a definition goes by."""
    return record.rule if isinstance(record, Limit) else record.name


def removal(kind: str, metavar: str, example: str) -> Parser:
    """Return the parser of an action that takes a definition out."""

    def run(options: Namespace) -> None:
        project = open_project(options.project)
        pick(defined(project.setup, kind), options.name, "derived quantity" if kind == "derived" else kind)
        entry = project.file.change_setup(kind, None, name=options.name)
        stored(f"Removed: {kind} {options.name}. What was logged with it stays in the history.", entry)

    parser = Parser(f"fettle {kind} remove", f"Take {_A[kind]} out of the project.", [example], run)
    parser.add_argument("name", metavar=metavar, help="which one")
    return parser


def listing(kind: str, headings: Sequence[str], row: Callable[[Any, Setup], Sequence[Any]], plural: str) -> Parser:
    """Return the parser of an action that lists definitions as a table.

    Parameters
    ----------
    kind : str
        As typed: factor, outcome, derived or limit.
    headings : sequence of str
        Of the table.
    row : callable
        Definition, all definitions -> its cells.
    plural : str
        What they are called in a sentence.
    """

    def run(options: Namespace) -> None:
        setup = open_project(options.project).setup
        records = defined(setup, kind)
        if options.json:
            print_json([table_of(record) for record in records])
        elif not records:
            say(f"No {plural} yet; 'fettle {kind} add --help' shows how to define one.")
        else:
            say(table(headings, [row(record, setup) for record in records]))

    parser = Parser(f"fettle {kind} list", f"List the {plural}.", [f"fettle {kind} list"], run)
    parser.json_option()
    return parser


def defined(setup: Setup, kind: str) -> Sequence[Any]:
    """Return the definitions of one kind."""
    found: Sequence[Any] = getattr(setup, "derived" if kind == "derived" else f"{kind}s")
    return found
