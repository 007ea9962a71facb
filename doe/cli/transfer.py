"""``fettle import``, ``export``, ``backup`` and ``check``: files in, files out, and whether all is sound."""

from __future__ import annotations

from argparse import Namespace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from doe.cli.chosen import SUFFIX, open_project
from doe.cli.parser import Parser, a_pair, once, one_of
from doe.cli.screen import note, print_json, say
from doe.model.errors import DataError, UsageError
from doe.model.names import quoted
from doe.model.records import against_ways
from doe.model.wording import counted

if TYPE_CHECKING:
    from doe.store.receipts import Imported

_KINDS = ("csv", "parquet", "xlsx")


def build_import() -> Parser:
    """Return the parser of ``fettle import``."""
    parser = Parser(
        "fettle import",
        "Bring in a log kept in a spreadsheet (CSV, Parquet or XLSX), wide or long. All of it is stored, or nothing: every\n"
        "cell that cannot be read safely is listed with its line, its column, its value and what is allowed.",
        [
            "fettle import log.csv --dry-run",
            'fettle import log.xlsx --map "Bass (dB)=bass" --map "Who=rater"',
        ],
        run_import,
    )
    parser.add_argument("file", metavar="FILE", help="the spreadsheet")
    parser.add_argument(
        "--map",
        nargs="+",
        action="extend",
        type=a_pair,
        default=[],
        metavar="THEIRS=OURS",
        help="a column's name in the file, and what it is here",
    )
    parser.add_argument("--dry-run", action="store_true", help="read and check it, store nothing")
    parser.json_option()
    return parser


def run_import(options: Namespace) -> None:
    """Import a log."""
    from doe.store.headings import NOT_READ  # the store takes a moment that --help need not wait for

    project = open_project(options.project)
    done = project.import_log(options.file, once(options.map), dry_run=options.dry_run)
    for line in done.notes:
        note(f"Note: {line}")
    if any(line.startswith(NOT_READ) for line in done.notes):
        again = "take this back and " if done.entry is not None else ""
        note(
            f"If one of these is the variant, unit, session or rater, {again}say so: 'fettle import {quoted(options.file)} "
            "--map THEIRS=variant'."
        )
    if options.json:
        names = ("variants", "readings", "sessions", "units", "notes")
        entry = done.entry.id if done.entry is not None else None
        print_json({**{name: getattr(done, name) for name in names}, "entry": entry})
        return
    say(_told(options.file, done))


def _told(source: str, done: Imported) -> str:
    what = [
        counted(done.variants, "variant"),
        counted(done.readings, "reading"),
        counted(done.sessions, "session"),
        counted(done.units, "unit"),
    ]
    if done.entry is None:
        return f"{source} can be read as it is: {', '.join(what)}. Nothing was stored."
    return f"Stored from {source}: {', '.join(what)}.\nTake it back with 'fettle undo {done.entry.id}'."


def build_export() -> Parser:
    """Return the parser of ``fettle export``."""
    parser = Parser(
        "fettle export",
        "Write the whole project out: a folder of CSV or Parquet files, or one XLSX file. 'fettle init\n"
        "--from-export' makes a project of it again, and nothing is lost on the way.",
        ["fettle export radio-tables", "fettle export radio.xlsx"],
        run_export,
    )
    parser.add_argument("target", metavar="FOLDER_OR_FILE", help="where to; a name ending in .xlsx makes one file")
    parser.add_argument(
        "--kind", type=one_of(_KINDS), metavar="KIND", help=f"one of {', '.join(_KINDS)}; csv by default"
    )
    return parser


def run_export(options: Namespace) -> None:
    """Export the project."""
    target = Path(options.target)
    is_workbook = target.suffix.casefold() == ".xlsx"
    kind = options.kind or ("xlsx" if is_workbook else "csv")
    if (kind == "xlsx") != is_workbook:
        raise UsageError(
            f"'{target}' does not fit --kind {kind}; xlsx is one file ending in .xlsx, the others a folder."
        )
    say(f"Written: {open_project(options.project).file.export(target, kind=kind)}.")


def build_backup() -> Parser:
    """Return the parser of ``fettle backup``."""
    parser = Parser(
        "fettle backup",
        "Copy the project file with its attachments, while others may go on working on it.",
        ["fettle backup", "fettle backup /media/stick/radio.duckdb"],
        run_backup,
    )
    parser.add_argument(
        "file", nargs="?", metavar="FILE", help="the copy; by default in backups/, named after the moment"
    )
    return parser


def run_backup(options: Namespace) -> None:
    """Copy the project."""
    project = open_project(options.project)
    target = Path(options.file) if options.file else _backup_path(project.path)
    say(f"Written: {project.file.backup(target)}.")


def _backup_path(path: Path) -> Path:
    """Name a copy after the moment, in a folder of its own, so that the project stays the only one in its folder."""
    folder = path.parent / "backups"
    folder.mkdir(exist_ok=True)
    return folder / f"{path.stem}-{datetime.now():%Y-%m-%d-%H%M%S}{SUFFIX}"


def build_check() -> Parser:
    """Return the parser of ``fettle check``."""
    parser = Parser(
        "fettle check",
        "Check that everything in the project fits together, and that no attachment is missing or altered.",
        ["fettle check"],
        run_check,
    )
    parser.json_option()
    return parser


def run_check(options: Namespace) -> None:
    """Check the project.

    Raises
    ------
    DataError
        If something does not fit; the sentences name what.
    """
    project = open_project(options.project)
    problems = project.file.check()
    if options.json:
        print_json({"problems": problems, "fingerprint": project.file.fingerprint()})
    elif not problems:
        say(f"{project.path} is sound.")
        for name, told in against_ways(project.file.variants(), project.setup.factors).items():
            note(f"Note: against the way that a factor can go, variant {name}: {told}")
    if problems:
        raise DataError("\n".join([f"{project.path} has {counted(len(problems), 'problem')}:", *problems]))
