"""``fettle expect``: what the maker expects a factor to do, as a mild prior that readings overrule."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, get_args

from doe.cli.chosen import open_project
from doe.cli.definitions import filled, given, pick
from doe.cli.parser import Parser, a_number, a_number_or_none, one_of
from doe.cli.screen import doubts, note, print_json, say, stored, table
from doe.model.choices import Direction
from doe.model.errors import UsageError
from doe.model.expectation import Expectation, unit_of
from doe.model.setup import record_of, table_of
from doe.model.slips import slip_in_size
from doe.model.wording import exact, unit_behind

if TYPE_CHECKING:
    from doe.project import Project

MILD = "They steer the next change as a mild prior; a few clear readings overrule them."
EFFECTS: tuple[str, ...] = get_args(Direction)


def build_expect_add() -> Parser:
    """Return the parser of ``fettle expect add``."""
    parser = Parser(
        "fettle expect add",
        "Say what you think more of a factor does to an outcome. It makes such effects three times likelier to begin with;\n"
        "a few clear readings overrule it.",
        [
            'fettle expect add wool echo lowers --size 1 --note "as in the last box"',
            "fettle expect add feet bass nothing",
        ],
        run_add,
    )
    _names(parser)
    parser.add_argument("effect", type=one_of(EFFECTS), metavar="EFFECT", help=f"{', '.join(EFFECTS[:-1])} or nothing")
    parser.add_argument("--size", type=a_number, help="expected change over the factor's range, in the outcome's unit")
    parser.add_argument("--note", default="", help="why")
    return parser


def build_expect_change() -> Parser:
    """Return the parser of ``fettle expect change``."""
    parser = Parser(
        "fettle expect change",
        "Change what is expected; what is not given stays, but what does nothing has no size. A size is emptied with the word\n"
        "none.",
        ["fettle expect change wool echo --size 2", "fettle expect change wool echo --effect nothing"],
        run_change,
    )
    _names(parser)
    parser.add_argument(
        "--effect", type=one_of(EFFECTS), metavar="EFFECT", help=f"{', '.join(EFFECTS[:-1])} or nothing"
    )
    parser.add_argument(
        "--size", type=a_number_or_none, help="expected change over the factor's range, in the outcome's unit"
    )
    parser.add_argument("--note", help="why")
    return parser


def build_expect_remove() -> Parser:
    """Return the parser of ``fettle expect remove``."""
    parser = Parser("fettle expect remove", "Take an expectation out.", ["fettle expect remove wool echo"], run_remove)
    _names(parser)
    return parser


def build_expect_list() -> Parser:
    """Return the parser of ``fettle expect list``."""
    parser = Parser("fettle expect list", "List what is expected of the factors.", ["fettle expect list"], run_list)
    parser.json_option()
    return parser


def _names(parser: Parser) -> None:
    parser.add_argument("factor", metavar="FACTOR", help="of which factor")
    parser.add_argument("outcome", metavar="OUTCOME", help="on which outcome")


def run_add(options: Namespace) -> None:
    """Store an expectation."""
    made = Expectation(options.factor, options.outcome, options.effect, options.size, options.note)
    project = open_project(options.project)
    old = next((item for item in project.setup.expectations if item.name == made.name), None)
    if old is not None:
        raise UsageError(
            f"It is expected already that {_said(project, old)}; 'fettle expect change' puts it otherwise."
        )
    _store(project, made, None)


def run_change(options: Namespace) -> None:
    """Change an expectation."""
    project = open_project(options.project)
    old = _pick(project, options)
    changes = given(options, ("effect", "size", "note"))
    if not changes:
        raise UsageError(f"Nothing about {old.name} was changed; give the options that should change.")
    kept = table_of(old)
    if changes.get("effect") == "nothing":
        kept.pop("size", None)
    _store(project, record_of(Expectation, filled(kept, changes)), old.name)


def run_remove(options: Namespace) -> None:
    """Take an expectation out."""
    project = open_project(options.project)
    old = _pick(project, options)
    said = _said(project, old)
    entry = project.file.change_setup("expectation", None, name=old.name)
    stored(f"Removed: it is no longer expected that {said}.", entry)


def run_list(options: Namespace) -> None:
    """List the expectations."""
    setup = open_project(options.project).setup
    expectations = setup.expectations
    if options.json:
        print_json([table_of(item) for item in expectations])
        return
    if not expectations:
        say("Nothing is expected yet; 'fettle expect add --help' shows how to say what you think a factor does.")
        return
    rows = [
        (item.factor, item.outcome, item.effect, _size(item, unit_of(item, setup.outcomes)), item.note)
        for item in expectations
    ]
    say(table(("factor", "outcome", "effect", "size", "why"), rows))
    note(MILD)


def _size(expectation: Expectation, unit: str) -> str:
    return f"{exact(expectation.size)}{unit_behind(unit)}" if expectation.size is not None else "-"


def _said(project: Project, expectation: Expectation) -> str:
    return expectation.sentence(unit_of(expectation, project.setup.outcomes))


def _pick(project: Project, options: Namespace) -> Expectation:
    return pick(project.setup.expectations, f"{options.factor} on {options.outcome}", "expectation")


def _store(project: Project, made: Expectation, name: str | None) -> None:
    entry = project.file.change_setup("expectation", made, name=name)
    stored(f"Stored: it is expected that {_said(project, made)}; readings overrule it.", entry)
    outcome = next(item for item in project.setup.outcomes if item.name == made.outcome)
    doubts([slip_in_size(made, outcome, project.file.seen(outcome.name))])
