"""``fettle derived`` and ``fettle limit``: quantities computed from factors, and rules that every variant keeps."""

from __future__ import annotations

from argparse import Namespace

from doe.cli.chosen import open_project
from doe.cli.definitions import listing, removal
from doe.cli.parser import Parser
from doe.cli.screen import doubts, note, stored
from doe.model.limit import Derived, Limit
from doe.model.possible import doubtful
from doe.model.slips import broken_on_record
from doe.model.wording import unit_behind


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
    stored(f"Stored: {quantity.name} = {quantity.expression}{unit_behind(quantity.unit)}.", entry)


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
    limit = Limit(options.rule, options.note)
    project = open_project(options.project)
    entry = project.file.change_setup("limit", limit)
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
