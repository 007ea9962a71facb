"""``fettle init``, ``fettle about`` and ``fettle effort``."""

from __future__ import annotations

from argparse import Namespace
from dataclasses import fields, replace
from pathlib import Path

from doe.cli.chosen import SUFFIX, open_project, projects_in
from doe.cli.parser import Parser, bench_minutes, not_below_zero
from doe.cli.screen import doubts, heading, note, print_json, say, stored, table
from doe.model.effort import Effort
from doe.model.errors import StoreError, UsageError, listed
from doe.model.names import file_stem
from doe.model.possible import doubtful, impossible
from doe.model.setup import Setup, table_of
from doe.model.slips import slip_in_matters, slip_in_minutes
from doe.model.wording import counted, duration, number

_EFFORT_HELP = {
    "new_unit_minutes": "minutes to make a new unit, before its settings",
    "session_minutes": "minutes to set a session up and put it away",
    "reading_minutes": "minutes for one round of readings of one variant",
    "new_unit_price": "money for a new unit",
}


def build_init() -> Parser:
    """Return the parser of ``fettle init``."""
    parser = Parser(
        "fettle init",
        "Start a project: one file that keeps the definitions and the whole history. With --setup the definitions come\n"
        "from a TOML file, with --starter from a set that ships with Fettle, all to be edited; without either the project\n"
        "is empty, and 'fettle factor add' and 'fettle outcome add' fill it.",
        [
            "fettle init radio --setup setup.toml",
            "fettle init --starters",
            "fettle init shelf-box --starter loudspeaker",
            'fettle init --title "Desk fan" --question "It whines"',
            "fettle init radio --from-export radio-tables",
        ],
        run_init,
    )
    parser.add_argument("file", nargs="?", metavar="FILE", help="the new file; by default named after the title")
    parser.add_argument("--setup", metavar="FILE", help="TOML file with factors, outcomes, limits and effort")
    parser.add_argument("--starter", metavar="NAME", help="begin with a starter set; --starters lists them")
    parser.add_argument("--starters", action="store_true", help="list the starter sets and stop")
    parser.add_argument("--from-export", metavar="SOURCE", help="folder or XLSX file written by 'fettle export'")
    parser.add_argument("--title", help="what is being tuned")
    parser.add_argument("--question", help="what is wrong, in your own words")
    return parser


def run_init(options: Namespace) -> None:
    """Start a project file."""
    if options.starters:
        _list_starters()
        return
    if options.from_export:
        _restore(options)
        return
    from doe.project import Project

    setup, cautions = _definitions(options)
    words = {name: getattr(options, name) for name in ("title", "question") if getattr(options, name) is not None}
    setup = replace(setup, **words)
    project = Project.create(_new_path(options, setup.title), setup)
    counts = [
        counted(len(setup.factors), "factor"),
        counted(len(setup.outcomes), "outcome"),
        counted(len(setup.limits), "limit"),
    ]
    say(f"Stored: project '{setup.title}' in {project.path}, with {listed(counts, 'and')}.")
    say(f"Nothing else was touched; to take it back, delete {project.path}.")
    for likely in filter(None, map(slip_in_matters, setup.outcomes)):
        note(f"Note: {likely}. If that is a slip, put it right with 'fettle outcome change'.")
    if doubt := doubtful(setup):
        note(f"Note: {doubt}. If that is a slip, put it right with 'fettle limit remove' and 'fettle limit add'.")
    if not setup.factors:
        note("Next: say what can be changed with 'fettle factor add', and what is judged with 'fettle outcome add'.")
    elif options.starter:
        say("\n".join(["", heading("Take care"), *(f"  {caution}" for caution in cautions)]))
        note("Next: edit what does not fit ('fettle factor list', 'fettle outcome list'), then 'fettle next'.")
    else:
        note("Next: bring in a log with 'fettle import FILE', or log the first variant with 'fettle log'.")


def _definitions(options: Namespace) -> tuple[Setup, tuple[str, ...]]:
    """Return what the project begins with, and what to beware of.

    Raises
    ------
    UsageError
        If two beginnings are named, or there is no such starter set.
    DataError
        If the setup file cannot be read.
    """
    from doe.store.setup_file import read_setup

    if options.starter is None:
        return (read_setup(options.setup) if options.setup else Setup()), ()
    if options.setup:
        raise UsageError("--starter does not go with --setup; give one of them.")
    from doe.guides.starters import starter

    found = starter(options.starter)
    return found.setup, found.cautions


def _list_starters() -> None:
    from doe.guides.starters import starters

    for found in starters():
        say(f"{heading(found.key)}: {found.name}. {found.told}")
    note("'fettle init --starter NAME' begins with one; every definition in it can be edited.")


def _restore(options: Namespace) -> None:
    """Make a project out of an export."""
    from doe.store import ProjectFile

    given = [f"--{name}" for name in ("setup", "starter", "title", "question") if getattr(options, name) is not None]
    if given:
        raise UsageError(f"{given[0]} does not go with --from-export, which brings its own definitions.")
    file = ProjectFile.restore(_new_path(options, Path(options.from_export).stem), options.from_export)
    say(f"Stored: project '{file.setup().title}' in {file.path}, with everything that {options.from_export} holds.")
    say(f"Nothing else was touched; to take it back, delete {file.path}.")
    if fault := impossible(file.setup()):  # it is kept as it was, since a restored project holds what was exported
        note(f"Note: {fault} It was exported that way; 'fettle limit' and 'fettle derived' put it right.")


def _new_path(options: Namespace, title: str) -> Path:
    """Return the path of the new file.

    Raises
    ------
    UsageError
        If it is named twice.
    StoreError
        If it is named nowhere and the folder holds a project already.
    """
    if options.file and options.project and options.file != options.project:
        raise UsageError(f"The new file is named twice, '{options.file}' and --project '{options.project}'.")
    named = options.file or options.project
    if named:
        path = Path(named)
        return path if path.suffix == SUFFIX else path.with_name(path.name + SUFFIX)
    found = projects_in(Path())
    if found:
        raise StoreError(
            f"This folder holds a project already, {found[0].name}; to keep a second one beside it, name its file: "
            "'fettle init FILE'."
        )
    words = title if title != Setup().title else Path.cwd().name
    return Path(file_stem(words) + SUFFIX)


def build_about() -> Parser:
    """Return the parser of ``fettle about``."""
    parser = Parser(
        "fettle about",
        "Show what is being tuned and what is wrong with it, or put it into other words.",
        ["fettle about", 'fettle about --question "The bass booms and speech echoes"'],
        run_about,
    )
    parser.add_argument("--title", help="what is being tuned")
    parser.add_argument("--question", help="what is wrong, in your own words")
    parser.json_option()
    return parser


def run_about(options: Namespace) -> None:
    """Show or set title and question."""
    project = open_project(options.project)
    given = {name: getattr(options, name) for name in ("title", "question") if getattr(options, name) is not None}
    for name, text in given.items():
        stored(f"Stored: the {name} is now '{text}'.", project.file.change_setup(name, text))
    if given:
        return
    setup = project.setup
    if options.json:
        print_json({"title": setup.title, "question": setup.question, "file": str(project.path)})
    else:
        say(f"{heading(setup.title)}\n{setup.question or 'No question yet.'}\nKept in {project.path}.")


def build_effort() -> Parser:
    """Return the parser of ``fettle effort``."""
    parser = Parser(
        "fettle effort",
        "Show what bench work costs beside the changes themselves, or set it. A new unit begins with every number at its low\n"
        "end (at the high one where it only goes down); what it is given beyond that counts as changes on top.",
        ["fettle effort", "fettle effort --new-unit-minutes 150 --session-minutes 15 --reading-minutes 6"],
        run_effort,
    )
    for item in fields(Effort):
        option = f"--{item.name.replace('_', '-')}"
        read = bench_minutes if item.name.endswith("_minutes") else not_below_zero
        parser.add_argument(
            option, type=read, metavar=item.name.rsplit("_", 1)[1].upper(), help=_EFFORT_HELP[item.name]
        )
    parser.json_option()
    return parser


def run_effort(options: Namespace) -> None:
    """Show or set the effort."""
    project = open_project(options.project)
    given = {item.name: getattr(options, item.name) for item in fields(Effort)}
    given = {name: value for name, value in given.items() if value is not None}
    effort = project.setup.effort
    if given:
        entry = project.file.change_setup("effort", replace(effort, **given))
        stored(
            "\n".join(["Stored:", *(f"  {_EFFORT_HELP[name]}: {number(value)}" for name, value in given.items())]),
            entry,
        )
        times = {_EFFORT_HELP[name]: value for name, value in given.items() if name.endswith("_minutes")}
        doubts(
            slip_in_minutes(f"the time {what.removeprefix('minutes ').partition(',')[0]}", value)
            for what, value in times.items()
        )
    elif options.json:
        print_json({**dict.fromkeys((item.name for item in fields(Effort)), 0.0), **table_of(effort)})
    else:
        rows = [(text, _shown(name, getattr(effort, name))) for name, text in _EFFORT_HELP.items()]
        say(table(("what", "effort"), rows))


def _shown(name: str, value: float) -> str:
    return duration(value) if name.endswith("minutes") else number(value)
