"""``fettle factor``: what can be changed."""

from __future__ import annotations

from argparse import ArgumentTypeError, Namespace
from typing import TYPE_CHECKING, Any, get_args

from doe.cli.chosen import open_project
from doe.cli.definitions import filled, given, listing, pick, removal
from doe.cli.parser import Parser, a_number, a_number_or_none, a_pair, bench_minutes, not_below_zero, once, one_of
from doe.cli.screen import doubts, note, stored
from doe.model.choices import FactorKind, Way
from doe.model.effort import Effort, change_told
from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.model.setup import Setup, record_of, table_of
from doe.model.slips import slip_in_minutes, steps_too_short

if TYPE_CHECKING:
    from doe.project import Project

_FIELDS = ("kind", "low", "high", "step", "levels", "unit", "way", "minutes", "minutes_per_step", "price", "note")


def build_factor_add() -> Parser:
    """Return the parser of ``fettle factor add``."""
    parser = Parser(
        "fettle factor add",
        "Define one thing that can be changed: a number on a range, a count, or a choice of levels.",
        [
            "fettle factor add vents --kind count --low 0 --high 6 --way up --minutes 12",
            'fettle factor add wool --low 0 --high 60 --step 5 --unit "%" --minutes 8',
            "fettle factor add driver --kind categorical --levels paper poly bamboo --minutes 25",
        ],
        run_add,
    )
    parser.add_argument("name", metavar="NAME", help="letters, digits and underscores, such as tip_gap")
    _field_options(parser)
    return parser


def build_factor_change() -> Parser:
    """Return the parser of ``fettle factor change``."""
    parser = Parser(
        "fettle factor change",
        "Change a definition; what is not given stays, as far as its kind has it. A number is emptied with the word none.",
        ["fettle factor change vents --high 8", "fettle factor change wool --rename stuffing --step none"],
        run_change,
    )
    parser.add_argument("name", metavar="NAME", help="the factor to change")
    parser.add_argument("--rename", metavar="NAME", help="its new name; what speaks of it takes it over")
    _field_options(parser)
    return parser


def build_factor_remove() -> Parser:
    """Return the parser of ``fettle factor remove``."""
    return removal("factor", "NAME", "fettle factor remove feet")


def build_factor_list() -> Parser:
    """Return the parser of ``fettle factor list``."""
    headings = ("factor", "kind", "settings", "way", "one change")
    return listing("factor", headings, _row, "factors")


def _row(factor: Factor, setup: Setup) -> tuple[str, ...]:
    settings = factor.allowed().removeprefix("must be ")
    return factor.name, factor.kind, settings, factor.way, change_told(factor, setup.effort)


def _field_options(parser: Parser) -> None:
    add = parser.add_argument
    add("--kind", type=one_of(get_args(FactorKind)), metavar="KIND", help=f"one of {', '.join(get_args(FactorKind))}")
    add("--low", type=a_number, help="low end of its range")
    add("--high", type=a_number, help="high end of its range")
    add("--step", type=a_number_or_none, help="smallest useful change; a count steps by 1")
    add("--levels", nargs="+", metavar="LEVEL", help="the levels of an ordered or categorical factor")
    add("--unit", help="unit of measure, such as mm")
    add("--way", type=one_of(get_args(Way)), metavar="WAY", help=f"on a unit that exists: {', '.join(get_args(Way))}")
    add("--minutes", type=bench_minutes, help="bench minutes of one change")
    add("--minutes-per-step", type=bench_minutes, metavar="MINUTES", help="minutes added for each step of a change")
    add("--price", type=not_below_zero, metavar="MONEY", help="money for one change")
    add("--prices", nargs="+", action="extend", type=a_pair, metavar="LEVEL=MONEY", help="money for a level, paid once")
    add("--note", help="how to change it, what to beware of")
    add("--was", metavar="SETTING", help="the setting that the variants logged so far had")


def _changes(options: Namespace) -> dict[str, Any]:
    changes = given(options, _FIELDS)
    if options.prices:
        changes["prices"] = {level: _price(level, money) for level, money in once(options.prices).items()}
    return changes


def _price(level: str, money: str) -> float:
    """Read the price of a level.

    Raises
    ------
    UsageError
        If it is no number from 0.
    """
    try:
        return not_below_zero(money)
    except ArgumentTypeError as err:
        raise UsageError(f"--prices {level} {err}") from None


def run_add(options: Namespace) -> None:
    """Define a factor."""
    project = open_project(options.project)
    factor = record_of(Factor, filled({"name": options.name}, _changes(options)))
    _store(project, factor, options, None)


def run_change(options: Namespace) -> None:
    """Change a factor."""
    project = open_project(options.project)
    old = pick(project.setup.factors, options.name, "factor")
    changes = _changes(options) | ({"name": options.rename} if options.rename else {})
    if not changes:
        raise UsageError(f"Nothing about factor {old.name} was changed; give the options that should change.")
    kept = {name: value for name, value in table_of(old).items() if name not in _foreign_to(options.kind)}
    _store(project, record_of(Factor, filled(kept, changes)), options, old.name)


def _foreign_to(kind: str | None) -> tuple[str, ...]:
    """Name the fields that a factor loses as it takes a kind; none where it keeps its own."""
    if kind is None:
        return ()
    return ("levels", "prices") if kind in ("continuous", "count") else ("low", "high", "step")


def _store(project: Project, factor: Factor, options: Namespace, name: str | None) -> None:
    entry = project.file.change_setup("factor", factor, name=name, was=options.was)
    effort = project.setup.effort
    stored(f"Stored: factor {factor.name} {described(factor, effort)}.", entry)
    doubts(
        slip_in_minutes(f"one change of {factor.name}", minutes)
        for minutes in (factor.minutes, factor.minutes_per_step)
    )
    if factor.way == "rebuild" and not effort.new_unit_minutes:
        note("Note: nothing says yet how long a new unit takes; 'fettle effort --new-unit-minutes MINUTES' does.")
    if short := steps_too_short(factor):
        note(f"Note: {short}.")


def described(factor: Factor, effort: Effort) -> str:
    """Say in half a sentence what a factor may be and how it goes."""
    ways = {
        "either": "it goes either way; ",
        "up": "it only goes up on a unit; ",
        "down": "it only goes down on a unit; ",
        "rebuild": "",
    }
    verb = "needs" if factor.way == "rebuild" else "takes"
    return f"{factor.allowed()}; {ways[factor.way]}one change {verb} {change_told(factor, effort)}"
