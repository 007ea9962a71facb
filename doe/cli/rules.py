"""``fettle derived`` and ``fettle limit``: quantities computed from factors, and rules that every variant keeps."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project
from doe.cli.definitions import filled, given, listing, pick, removal
from doe.cli.parser import NOTHING, Parser
from doe.cli.screen import doubts, note, stored
from doe.model.errors import UsageError
from doe.model.limit import Derived, Limit
from doe.model.possible import doubtful
from doe.model.setup import record_of, table_of
from doe.model.slips import broken_on_record
from doe.model.wording import unit_behind

if TYPE_CHECKING:
    from doe.project import Project


def build_derived_add() -> Parser:
    """Return the parser of ``fettle derived add``."""
    parser = Parser(
        "fettle derived add",
        "Define a quantity computed from factors, to be analysed, limited or held equal in their place.",
        ['fettle derived add inner_air "rings * 42 - wool * 2.1" --unit cm3'],
        run_derived_add,
    )
    parser.add_argument("name", metavar="NAME", help="letters, digits and underscores")
    parser.add_argument("expression", metavar="EXPRESSION", help="arithmetic over factors, in quotes")
    parser.add_argument("--unit", default="", help="unit of measure, such as cm3")
    return parser


def run_derived_add(options: Namespace) -> None:
    """Define a derived quantity."""
    quantity = Derived(options.name, options.expression, options.unit)
    entry = open_project(options.project).file.change_setup("derived", quantity)
    stored(f"Stored: {_equation(quantity)}.", entry)


def build_derived_change() -> Parser:
    """Return the parser of ``fettle derived change``."""
    parser = Parser(
        "fettle derived change",
        "Change a derived quantity; what is not given stays. Rules that use it follow a new name.",
        [
            'fettle derived change inner_air --expression "rings * 42 - wool * 2"',
            "fettle derived change inner_air --rename air",
        ],
        run_derived_change,
    )
    add = parser.add_argument
    add("name", metavar="NAME", help="which one")
    add("--rename", metavar="NAME", help="a new name")
    add("--expression", help="arithmetic over factors, in quotes")
    add("--unit", help=f"unit of measure, such as cm3; the word {NOTHING} empties it")
    return parser


def run_derived_change(options: Namespace) -> None:
    """Change a derived quantity."""
    project = open_project(options.project)
    old = pick(project.setup.derived, options.name, "derived quantity")
    changes = given(options, ("expression", "unit")) | ({"name": options.rename} if options.rename else {})
    if not changes:
        raise UsageError(f"Nothing about {old.name} was changed; give the options that should change.")
    quantity = record_of(Derived, filled(table_of(old), changes))
    entry = project.file.change_setup("derived", quantity, name=old.name)
    stored(f"Stored: {_equation(quantity)}.", entry)
    doubts([doubtful(project.setup)])


def _equation(quantity: Derived) -> str:
    return f"{quantity.name} = {quantity.expression}{unit_behind(quantity.unit)}"


def build_derived_remove() -> Parser:
    """Return the parser of ``fettle derived remove``."""
    return removal("derived", "NAME", "fettle derived remove inner_air")


def build_derived_list() -> Parser:
    """Return the parser of ``fettle derived list``."""
    headings = ("quantity", "expression", "unit")
    return listing("derived", headings, lambda item, _: (item.name, item.expression, item.unit), "derived quantities")


def build_limit_add() -> Parser:
    """Return the parser of ``fettle limit add``."""
    parser = Parser(
        "fettle limit add",
        "Define a rule over factors and derived quantities that every variant must keep.",
        ['fettle limit add "rings * 42 - wool * 2.1 >= 180" --note "the magnet needs the room"'],
        run_limit_add,
    )
    parser.add_argument("rule", metavar="RULE", help="a comparison, in quotes")
    parser.add_argument("--note", default="", help="why")
    return parser


def run_limit_add(options: Namespace) -> None:
    """Define a limit."""
    _store(open_project(options.project), Limit(options.rule, options.note), None)


def build_limit_change() -> Parser:
    """Return the parser of ``fettle limit change``."""
    parser = Parser(
        "fettle limit change",
        "Change a limit; what is not given stays.",
        ['fettle limit change "inner_air >= 180" --to "inner_air >= 190"'],
        run_limit_change,
    )
    parser.add_argument("rule", metavar="RULE", help="which one, in quotes")
    parser.add_argument("--to", metavar="RULE", help="the rule as it is to be, in quotes")
    parser.add_argument("--note", help=f"why; the word {NOTHING} empties it")
    return parser


def run_limit_change(options: Namespace) -> None:
    """Change a limit."""
    project = open_project(options.project)
    old = pick(project.setup.limits, options.rule, "limit")
    changes = given(options, ("note",)) | ({"rule": options.to} if options.to else {})
    if not changes:
        raise UsageError(f"Nothing about the limit {old.rule} was changed; give the options that should change.")
    _store(project, record_of(Limit, filled(table_of(old), changes)), old.rule)


def _store(project: Project, limit: Limit, rule: str | None) -> None:
    entry = project.file.change_setup("limit", limit, name=rule)
    stored(f"Stored: every variant must keep {limit.rule}.", entry)
    setup = project.setup
    doubts([doubtful(setup)])
    if broken := broken_on_record(limit, setup.derived, project.file.variants()):
        note(f"Note: {broken}.")


def build_limit_remove() -> Parser:
    """Return the parser of ``fettle limit remove``."""
    return removal("limit", "RULE", 'fettle limit remove "rings * 42 - wool * 2.1 >= 180"')


def build_limit_list() -> Parser:
    """Return the parser of ``fettle limit list``."""
    return listing("limit", ("limit", "why"), lambda item, _: (item.rule, item.note), "limits")
