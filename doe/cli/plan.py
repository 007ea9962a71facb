"""``fettle plan``: which runs to make, before anything is built."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_number, a_whole_number, bench_hours
from doe.cli.plan_text import in_options, run_lines
from doe.cli.progress import Progress
from doe.cli.screen import heading, note, print_json, say, stored, titled
from doe.model.errors import DataError, UsageError, listed
from doe.model.told import told_choice, told_plan
from doe.planning.asked import asked_for

if TYPE_CHECKING:
    import pandas as pd

    from doe.planning.known import Judged
    from doe.plans import Plan, PlanChoice
    from doe.project import Project

_HOW_TO_BUILD = (
    "Next: 'fettle route' says in which order to build, on which unit, and what to type; or log a run when it is built with "
    "'fettle log --planned VARIANT --new-unit NAME', with --unit NAME on a unit that exists."
)
CHARTS = ("precision", "correlations", "prediction")


def build_plan() -> Parser:
    """Return the parser of ``fettle plan``."""
    parser = Parser(
        "fettle plan",
        "Plan which runs to make. With --hours, or with --runs alone, the plans that fit are compared and one is\n"
        "recommended; otherwise the plan asked for is made. Without any option the adopted plan is shown.\n"
        "Ctrl-C ends a long search with the best plan reached so far.",
        [
            "fettle plan --hours 12",
            "fettle plan --runs 10 --adopt",
            "fettle plan --runs 16 --kind fraction --blocks 2 --centre 3 --plot plan.html",
            "fettle plan --model vents,wool,vents:wool --runs 9 --beside-log --csv plan.csv",
            "fettle plan --edit plan.csv",
            "fettle plan --abandon",
        ],
        run_plan,
    )
    _add_request(parser)
    _add_keeping(parser)
    parser.json_option()
    return parser


def _add_request(parser: Parser) -> None:
    add = parser.add_argument
    add("--runs", type=a_count, metavar="COUNT", help="variants to build at most; what the kind needs by default")
    add("--hours", type=bench_hours, help="bench hours to spend at most, readings included, or a time such as 2h30")
    add("--kind", metavar="KIND", help="kind of plan, such as d-optimal, fraction or definitive")
    add("--model", metavar="MODEL", help="main, two-factor, quadratic, or terms with commas between; main by default")
    add("--blocks", type=a_count, metavar="COUNT", help="groups of runs, each read in one session")
    add("--session-runs", type=a_count, metavar="COUNT", help="runs that one session can take at most")
    add("--replicates", type=a_count, metavar="COUNT", help="how often every run is made")
    add("--centre", type=a_whole_number, metavar="COUNT", help="runs in the middle of all ranges")
    add("--units", type=a_count, metavar="COUNT", help="units to build where a factor needs a rebuild")
    add("--fold", metavar="FACTORS", help="fold-over only: the factors to mirror, with commas between; all by default")
    add("--beside-log", action="store_true", help="complement the variants that are built")
    add("--outcome", metavar="OUTCOME", help="judge by this outcome; by default the one that is hardest to see")
    add("--scatter", type=a_number, help="standard deviation between runs, instead of what the log says")
    add("--matters", type=a_number, help="smallest difference that matters, instead of the outcome's own")
    add("--starts", type=a_count, metavar="COUNT", help="starts of the search; what a few seconds allow by default")
    add("--seed", type=a_count, default=1, metavar="NUMBER", help="of search and run order; 1 by default")


def _add_keeping(parser: Parser) -> None:
    keep = parser.add_mutually_exclusive_group()
    keep.add_argument("--adopt", action="store_true", help="keep the plan: its runs become planned variants")
    keep.add_argument("--edit", metavar="FILE", help="adopt an edited table of runs instead: CSV, Parquet or XLSX")
    keep.add_argument("--abandon", action="store_true", help="give up the adopted plan; what is built of it stays")
    add = parser.add_argument
    add("--csv", metavar="FILE", help="write the runs to a .csv file, to look at or to edit")
    add("--plot", metavar="FILE", help="draw the plan to a .html, .png or .svg file")
    add("--chart", metavar="CHART", help=f"what --plot draws: {listed(CHARTS)}; {CHARTS[0]} by default")
    add("--replace", action="store_true", help="let --csv and --plot overwrite a file")


def run_plan(options: Namespace) -> None:
    """Make, compare, adopt, edit, show or abandon a plan."""
    try:
        _check(options)
        _run(options)
    except UsageError as err:
        raise UsageError(in_options(str(err)), command=err.command) from None


def _run(options: Namespace) -> None:
    project = open_project(options.project)
    if options.abandon:
        entry = project.abandon_plan()
        stored(f"{entry.summary[0].upper()}{entry.summary[1:]}.", entry)
        return
    judged = _judged(project, options)
    if options.edit:
        _edit(project, options, judged)
    elif _shows_adopted(options) and project.file.adopted_plan() is not None:
        made = _reviewed(project, judged, options)
        _show(made, None, judged, options)
        if not options.json:
            note(f"{_HOW_TO_BUILD}\n'fettle plan --abandon' gives the plan up; what is built of it stays.")
    else:
        _make(project, options, judged)


def _reviewed(project: Project, judged: Judged, options: Namespace) -> Plan:
    """Review the plan that is being built; where it cannot be judged any more, its runs are told before that is said.

    Raises
    ------
    UsageError
        If definitions were changed such that it cannot be judged.
    """
    try:
        return project.review_plan(judged)
    except UsageError:
        found = project.adopted()
        if found is not None and not options.json:
            plan, table = found
            say("\n".join([heading(plan.headline), "", *run_lines(table)]))
            if options.csv:  # to be edited
                _write_runs(table, Path(options.csv), options.replace)
        raise


def _check(options: Namespace) -> None:
    """Refuse options that contradict each other before anything is searched.

    Raises
    ------
    UsageError
        Naming both.
    """
    asked = asked_for(options)
    request = [*asked.named, *(name for name in ("runs", "hours") if getattr(options, name) is not None)]
    if asked.hours is not None and asked.named:
        raise UsageError(
            f"--hours compares plans of every kind, so {_option(asked.named[0])} does not go with it; give --runs instead."
        )
    for word in ("edit", "abandon"):
        others = [name for name in request if word != "edit" or name != "model"]
        if getattr(options, word) and others:
            raise UsageError(f"{_option(others[0])} does not go with --{word}; it belongs to a new plan.")
    if options.chart is not None and options.plot is None:
        raise UsageError("--chart says what --plot draws, so it needs --plot FILE.")
    if options.chart is not None and options.chart not in CHARTS:
        raise UsageError(f"--chart is '{options.chart}'; it must be {listed(CHARTS)}.")
    if options.abandon and (options.plot or options.csv):
        raise UsageError("--abandon draws and writes nothing; leave --plot and --csv out.")
    _check_files(options)


def _check_files(options: Namespace) -> None:
    from doe.charts.export import check_free, check_target

    if options.plot:
        check_target(Path(options.plot), replace=options.replace)
    if options.csv:
        if not options.csv.casefold().endswith(".csv"):
            raise UsageError(f"'{Path(options.csv).name}' must end in .csv.")
        check_free(Path(options.csv), replace=options.replace)


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def _shows_adopted(options: Namespace) -> bool:
    """Tell whether nothing is asked for, so that the adopted plan is meant."""
    return asked_for(options).is_open and not options.adopt


def _judged(project: Project, options: Namespace) -> Judged:
    """Work out the scatter known so far, which takes a moment of analysis."""
    outcome = options.outcome
    if outcome is None and (options.edit or _shows_adopted(options)):
        outcome = project.adopted_outcome()
    return project.judged_by(outcome, options.scatter, options.matters)


def _make(project: Project, options: Namespace, judged: Judged) -> None:
    with Progress() as tell:
        made, choice, model = asked_for(options).made(project, judged, tell)
    entry = project.adopt(made, model, judged.outcome) if options.adopt else None
    _show(made, choice, judged, options)
    if options.json:
        return
    if entry is not None:
        stored(f"{entry.summary[0].upper()}{entry.summary[1:]}.", entry)
        note(_HOW_TO_BUILD)
    elif project.file.adopted_plan() is not None:
        note(
            "Nothing is stored; a plan is being built: 'fettle plan --abandon' gives it up, --adopt then keeps this one."
        )
    else:
        note("Nothing is stored; add --adopt to keep this plan, or --csv FILE to edit it first.")


def _edit(project: Project, options: Namespace, judged: Judged) -> None:
    import pandas as pd

    from doe.store.run_table import read_run_table

    table = pd.DataFrame(read_run_table(options.edit, project.setup.factors))
    if project.file.adopted_plan() is not None:
        if options.model is not None:
            raise UsageError("--model does not go with --edit while a plan is adopted; the plan keeps its own.")
        entry, made = project.edit_plan(table, judged)
    else:
        if "variant" in table.columns and table["variant"].notna().any():
            raise DataError("The table names variants, but no plan is adopted; leave the column 'variant' out.")
        model = asked_for(options).model or "main"
        made = project.judge_plan(table, model, beside_log=options.beside_log, judged=judged)
        entry = project.adopt(made, model, judged.outcome)
    _show(made, None, judged, options)
    if not options.json:
        stored(f"{entry.summary[0].upper()}{entry.summary[1:]}.", entry)


def _show(made: Plan, choice: PlanChoice | None, judged: Judged, options: Namespace) -> None:
    if options.json:
        print_json(told_choice(choice) if choice is not None else told_plan(made))
    else:
        say(titled(choice.summary() if choice is not None else _first_lines(made)))
        say("\n" + "\n".join(run_lines(made.table)))
        for line in (*made.notes, *([judged.note] if judged.note else [])):
            say(f"Note: {line}")
    if options.csv:
        _write_runs(made.table, Path(options.csv), options.replace)
    if options.plot:
        from doe.charts import figure, write_figure  # plotly is slow to import

        drawn = write_figure(figure(made, options.chart or CHARTS[0]), options.plot, replace=options.replace)
        note(f"Drawn: {drawn}.")


def _first_lines(made: Plan) -> str:
    lines: Sequence[str] = (made.headline, *made.separation.sentences, *made.precision_sentences())
    return "\n".join(lines)


def _write_runs(table: pd.DataFrame, path: Path, replace: bool) -> None:
    from doe.charts.export import write_whole

    write_whole(path, table.to_csv(index=False).encode(), replace=replace)
    note(f"Written: {path}.")
