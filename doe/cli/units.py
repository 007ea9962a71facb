"""``fettle unit``: the physical objects that carry variants."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Mapping

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_pair, once
from doe.cli.screen import print_json, say, stored, table
from doe.model.change import find_unit
from doe.model.choices import Value
from doe.model.records import Unit, read_settings
from doe.model.wording import number


def build_unit_add() -> Parser:
    """Return the parser of ``fettle unit add``."""
    parser = Parser(
        "fettle unit add",
        "Add a unit that exists already, with the settings it has now. A unit made for a new variant needs no adding:\n"
        "'fettle log --new-unit' does both.",
        ['fettle unit add "body A" --set vents=0 rings=9 wool=0 driver=paper feet=felt'],
        run_add,
    )
    parser.add_argument("name", metavar="NAME", help="its label")
    parser.add_argument("--set", nargs="+", action="extend", type=a_pair, metavar="FACTOR=SETTING", help="as it is now")
    parser.add_argument("--note", default="", help="free text")
    return parser


def run_add(options: Namespace) -> None:
    """Add a unit."""
    project = open_project(options.project)
    settings = read_settings(once(options.set), project.setup.factors) if options.set else {}
    unit = Unit(options.name, settings, note=options.note)
    entry = project.file.add_unit(unit)
    stored(f"Stored: unit {unit.name}{f', now {_shown(settings)}' if settings else ''}.", entry)


def build_unit_retire() -> Parser:
    """Return the parser of ``fettle unit retire``."""
    parser = Parser(
        "fettle unit retire",
        "Mark a unit as no longer usable: broken, given away, cut up. Its variants and readings stay.",
        ['fettle unit retire "body C"'],
        run_retire,
    )
    parser.add_argument("name", metavar="NAME", help="which unit")
    return parser


def run_retire(options: Namespace) -> None:
    """Retire a unit."""
    project = open_project(options.project)
    unit = find_unit(options.name, project.file.units())
    stored(f"Stored: unit {unit.name} is retired; no suggestion will use it.", project.file.retire_unit(unit.name))


def build_unit_list() -> Parser:
    """Return the parser of ``fettle unit list``."""
    parser = Parser(
        "fettle unit list", "List the units and the variant that each carries now.", ["fettle unit list"], run_list
    )
    parser.json_option()
    return parser


def run_list(options: Namespace) -> None:
    """List the units."""
    units = open_project(options.project).file.units()
    if options.json:
        print_json(
            [
                {
                    "unit": unit.name,
                    "variant": unit.variant,
                    "settings": unit.settings,
                    "retired": unit.retired,
                    "note": unit.note,
                }
                for unit in units
            ]
        )
    elif not units:
        say("No units yet; the first 'fettle log' makes one.")
    else:
        rows = [
            (unit.name, "retired" if unit.retired else unit.variant or "-", _shown(unit.settings), unit.note)
            for unit in units
        ]
        say(table(("unit", "carries variant", "settings", "note"), rows, spare=("note",)))


def _shown(settings: Mapping[str, Value]) -> str:
    return ", ".join(
        f"{key} {number(value) if isinstance(value, int | float) else value}" for key, value in settings.items()
    )
