"""``fettle report``: the whole story as one page."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from doe.cli.chosen import open_project
from doe.cli.parser import Parser
from doe.cli.screen import say


def build_report() -> Parser:
    """Return the parser of ``fettle report``."""
    parser = Parser(
        "fettle report",
        "Write one HTML page with the question, the log, what moves what and what to do next. It opens offline and prints.",
        ["fettle report", "fettle report radio.html --replace"],
        run_report,
    )
    parser.add_argument("file", nargs="?", metavar="FILE", help="where to; by default reports/NAME.html")
    parser.add_argument("--replace", action="store_true", help="overwrite the file if it exists")
    return parser


def run_report(options: Namespace) -> None:
    """Write the report."""
    project = open_project(options.project)
    from doe.sheets import report  # charts are slow to import, and a missing project should be told at once

    target = Path(options.file) if options.file else project.path.parent / "reports" / f"{project.path.stem}.html"
    say(f"Written: {report(project, target, replace=options.replace)}. Open it in a browser.")
