"""``fettle correct`` and ``fettle withdraw``: mistakes put right, with the history keeping what was there before."""

from __future__ import annotations

from argparse import Namespace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_pair, a_time, bench_minutes, not_below_zero, once
from doe.cli.screen import doubts, note, stored
from doe.model.change import find_variant
from doe.model.errors import DataError, UsageError, did_you_mean, there_are
from doe.model.records import newly_against_ways
from doe.model.slips import slips_of_build

if TYPE_CHECKING:
    from doe.project import Project

_READING = "--value, --of, --session, --rater and --note"
_FIELDS = ("name", "unit", "parent", "minutes", "price", "when", "note")


def build_correct() -> Parser:
    """Return the parser of ``fettle correct``."""
    parser = Parser(
        "fettle correct",
        "Put right what was logged wrongly: fields of a variant, or one reading by its number in 'fettle show'.",
        [
            "fettle correct 12 --set vents=4",
            'fettle correct 12 --unit "body B" --parent 9',
            "fettle correct --reading 41 --value 3.5",
            "fettle correct --reading 41 --of 12 --session Monday --rater Ann",
        ],
        run_correct,
    )
    add = parser.add_argument
    add("variant", nargs="?", metavar="VARIANT", help="the variant to put right")
    add("--set", nargs="+", action="extend", type=a_pair, metavar="FACTOR=SETTING", help="settings that were wrong")
    add("--name", metavar="VARIANT", help="its label; what speaks of it takes it over")
    add("--unit", metavar="NAME", help="the unit that it was built on")
    add("--parent", metavar="VARIANT", help="the variant that it was changed from")
    add("--minutes", type=bench_minutes, help="bench minutes that it took, or a time such as 4h10")
    add("--price", type=not_below_zero, metavar="MONEY", help="money that it took")
    add("--when", type=a_time, metavar="TIME", help="when it was built")
    add("--note", help="free text, of the variant or the reading")
    add("--reading", type=a_count, metavar="NUMBER", help="the reading to put right, instead of a variant")
    add("--value", help="what the reading should have been")
    add("--of", metavar="VARIANT", help="the variant that was read")
    add("--session", metavar="NAME", help="the sitting in which it was read; empty for none")
    add("--rater", metavar="NAME", help="who judged; empty for nobody")
    return parser


def run_correct(options: Namespace) -> None:
    """Correct a variant or a reading."""
    project = open_project(options.project)
    if (options.variant is None) == (options.reading is None):
        raise UsageError("Name what to put right: a variant, or one reading with --reading.")
    if options.reading:
        entry = _correct_reading(project, options)
        stored(f"Stored: {entry.summary}.", entry)
        return
    before = project.file.variants()
    entry = _correct_variant(project, options)
    stored(f"Stored: {entry.summary}.", entry)
    for told in newly_against_ways(before, project.file.variants(), project.setup.factors):
        note(f"Note: now against the way that a factor can go, {told}")
    doubts(slips_of_build(entry.subject, options.when, options.minutes, datetime.now()))


def _correct_variant(project: Project, options: Namespace) -> Any:
    for name in ("value", "of", "session", "rater"):
        if getattr(options, name) is not None:
            raise UsageError(f"--{name} belongs to a reading; name it with --reading.")
    changes: dict[str, Any] = {name: getattr(options, name) for name in _FIELDS if getattr(options, name) is not None}
    if options.set:
        known = {factor.name: factor for factor in project.setup.factors}
        unknown = next((name for name, _ in options.set if name not in known), None)
        if unknown is not None:
            there = there_are(known)
            raise DataError(f"'{unknown}' is no factor of this project; {there}.{did_you_mean(unknown, known)}")
        changes["settings"] = {name: known[name].read(value) for name, value in once(options.set).items()}
    if not changes:
        raise UsageError("Nothing was given to put right; 'fettle correct --help' lists what a variant has.")
    variant = find_variant(options.variant, project.file.variants())
    units = [unit.name for unit in project.file.units()]
    if options.unit is not None and options.unit not in units:
        there = there_are(units, "no unit is known yet")
        raise DataError(f"There is no unit '{options.unit}'; {there}.{did_you_mean(options.unit, units)}")
    return project.file.correct_variant(variant.name, **changes)


def _correct_reading(project: Project, options: Namespace) -> Any:
    own = ("set", "name", "unit", "parent", "minutes", "price", "when")
    wrong = [name for name in own if getattr(options, name) is not None]
    if wrong:
        raise UsageError(f"--{wrong[0]} belongs to a variant; a reading has {_READING}.")
    given = {name: getattr(options, name) for name in ("value", "note", "session", "rater")}
    given["variant"] = options.of
    if all(item is None for item in given.values()):
        raise UsageError(f"Nothing was given to put right: a reading has {_READING}.")
    return project.file.correct_reading(options.reading, **given)


def build_withdraw() -> Parser:
    """Return the parser of ``fettle withdraw``."""
    parser = Parser(
        "fettle withdraw",
        "Take out what should never have been logged: a variant with its readings, or one reading.",
        ["fettle withdraw 12", "fettle withdraw --reading 41"],
        run_withdraw,
    )
    parser.add_argument("variant", nargs="?", metavar="VARIANT", help="the variant to take out")
    parser.add_argument(
        "--reading", type=a_count, metavar="NUMBER", help="the reading to take out, instead of a variant"
    )
    return parser


def run_withdraw(options: Namespace) -> None:
    """Withdraw a variant or a reading."""
    project = open_project(options.project)
    if (options.variant is None) == (options.reading is None):
        raise UsageError("Name what to take out: a variant, or one reading with --reading.")
    if options.reading is not None:
        entry = project.file.withdraw_reading(options.reading)
    else:
        entry = project.file.withdraw_variant(find_variant(options.variant, project.file.variants()).name)
    stored(f"Stored: {entry.summary}. The history keeps it.", entry)
