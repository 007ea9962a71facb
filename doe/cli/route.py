"""``fettle route``: in which order to build what is planned, and on which unit."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_whole_number, not_below_zero
from doe.cli.progress import Progress
from doe.cli.screen import heading, note, print_json, say, table
from doe.model.names import quoted
from doe.model.told import told_route
from doe.model.wording import duration, number, percent

if TYPE_CHECKING:
    from doe.advise.route import Route
    from doe.project import Project


def build_route() -> Parser:
    """Return the parser of ``fettle route``."""
    parser = Parser(
        "fettle route",
        "Find the order, and the unit for each variant, that takes the fewest bench minutes: of everything planned, or of\n"
        "a table of settings. Steps that only go one way are kept, and what needs a rebuild stays fixed on a unit.\n"
        "Ctrl-C ends a long search with the best route reached so far.",
        [
            "fettle route",
            "fettle route --shuffle 0.25",
            "fettle route settings.csv --new-units 1 --plot route.html",
        ],
        run_route,
    )
    add = parser.add_argument
    add("file", nargs="?", metavar="FILE", help="settings to build, a line each: CSV, Parquet or XLSX")
    add("--new-units", type=a_whole_number, metavar="COUNT", help="new units that may be made at most; any by default")
    add("--shuffle", type=not_below_zero, default=0.0, metavar="SHARE",
        help="let a random order take so much more time: 0.25 for a quarter more")  # fmt: skip
    add(
        "--seconds",
        type=not_below_zero,
        default=20.0,
        help="time that each round of the search may take; 20 by default",
    )
    add("--seed", type=a_count, default=1, metavar="NUMBER", help="of whatever is drawn at random; 1 by default")
    add("--plot", metavar="FILE", help="draw the route as a time line to a .html, .png or .svg file")
    add("--replace", action="store_true", help="let --plot overwrite a file")
    parser.json_option()
    return parser


def run_route(options: Namespace) -> None:
    """Find a route."""
    if options.plot:
        from doe.charts.export import check_target

        check_target(Path(options.plot), replace=options.replace)
    project = open_project(options.project)
    with Progress() as tell:
        found = project.route(
            _table(project, options.file), new_units=options.new_units, shuffle=options.shuffle,
            seconds=options.seconds, seed=options.seed, tell=tell,
        )  # fmt: skip
    if options.json:
        print_json(told_route(found))
    else:
        say(f"{heading(found.headline)}\n")
        say("\n\n".join([*_of_units(found), _of_chance(found)]))
        say("\n" + "\n".join(f"Note: {line}" for line in found.notes))
        if options.file is None:  # variants of a file are not planned
            note(_next_step(found))
    if options.plot:
        from doe.charts import figure, write_figure  # plotly is slow to import

        note(f"Drawn: {write_figure(figure(found), options.plot, replace=options.replace)}.")


def _table(project: Project, file: str | None) -> Any:
    if file is None:
        return None
    import pandas as pd

    from doe.store.run_table import read_run_table

    return pd.DataFrame(read_run_table(file, project.setup.factors))


def _of_units(found: Route) -> list[str]:
    """Tell per unit the steps in order, numbered as they come on the one bench."""
    parts = []
    for unit in found.units.to_dict("records"):
        steps = found.table[found.table["unit"] == unit["unit"]]
        rows = [
            (f"{step['order']}.", f"variant {step['variant']}", step["what to do"], duration(step["minutes"]))
            for step in steps.to_dict("records")
        ]
        new = ", to be made" if unit["is_new"] else ""
        title = heading(f"{unit['unit']}{new}: {duration(unit['minutes'])}")
        parts.append("\n".join([title, *(f"  {line}" for line in table(("", "", "", ""), rows, 2).splitlines()[1:])]))
    return parts


def _next_step(found: Route) -> str:
    """Tell what to type when the first step is built, and how later ones on a new unit differ."""
    first = min(found.table.to_dict("records"), key=lambda step: int(step["order"]))
    unit = quoted(str(first["unit"]))
    is_new = {row["unit"]: row["is_new"] for row in found.units.to_dict("records")}[first["unit"]]
    typed = f"fettle log --planned {quoted(str(first['variant']))} {'--new-unit' if is_new else '--unit'} {unit}"
    later = f"; what is built on it later, with --unit {unit}" if is_new else ""
    return f"Next: build step {first['order']}, then log it with '{typed}'{later}."


def _of_chance(found: Route) -> str:
    """Tell what is randomised within which, and how far each factor runs with the order."""
    is_shuffled = found.shuffle > 0
    rows = []
    for row in found.randomised.to_dict("records"):
        cells = (row["factor"], row["how"], str(row["changes"]), number(row["correlation"], 2))
        rows.append((*cells, number(row["correlation_least"], 2)) if is_shuffled else cells)
    headings = ("factor", "order", "changes", "with the order")
    text = table((*headings, "unshuffled") if is_shuffled else headings, rows)
    if not is_shuffled:
        return text
    extra = percent(found.minutes / found.least_minutes - 1) if found.least_minutes else "0 %"
    prices = (
        f"Shuffled: {duration(found.minutes)}; the shortest: {duration(found.least_minutes)}; {extra} more for chance."
    )
    return f"{prices}\n\n{text}"
