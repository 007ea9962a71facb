"""``fettle analyse``: which factor moves which outcome."""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count
from doe.cli.screen import note, print_json, refusal, room, say, table, titled
from doe.model.errors import DataError, FettleError, UsageError
from doe.model.model_words import MODELS, read_model

if TYPE_CHECKING:
    import pandas as pd

    from doe.fit.effects import Effects
    from doe.project import Project


def build_analyse() -> Parser:
    """Return the parser of ``fettle analyse``."""
    parser = Parser(
        "fettle analyse",
        "Find out which factor moves which outcome, by how much, and how surely. Without a name every outcome is\n"
        "analysed. Left alone, the engine searches main effects, two-factor interactions and curvature.",
        [
            "fettle analyse",
            "fettle analyse bass --plot bass.html",
            "fettle analyse bass --terms main",
            "fettle analyse bass --terms driver,inner_air,driver:inner_air --json",
        ],
        run_analyse,
    )
    add = parser.add_argument
    add("outcomes", nargs="*", metavar="OUTCOME", help="which outcomes; all by default")
    add("--terms", metavar="TERMS", help=f"{', '.join(MODELS)}, or terms with commas between: a,b,a:b,a^2")
    add("--plot", metavar="FILE", help="draw the effects to a .html, .png or .svg file; needs one outcome")
    add("--replace", action="store_true", help="let --plot overwrite a file")
    add("--seed", type=a_count, default=1, metavar="NUMBER", help="of whatever is drawn at random; 1 by default")
    parser.json_option()
    return parser


def run_analyse(options: Namespace) -> None:
    """Analyse one outcome or all."""
    project = open_project(options.project)
    names = options.outcomes or [outcome.name for outcome in project.setup.outcomes]
    if options.plot and len(names) != 1:
        raise UsageError(f"--plot draws one outcome; name it: 'fettle analyse OUTCOME --plot {options.plot}'.")
    terms = read_model(options.terms, "--terms")
    results, refusals = _analysed(project, names, terms, options)
    if options.json:
        print_json(
            [
                *(effects.to_tables() for effects in results),
                *({"outcome": name, "refused": text} for name, text in refusals),
            ]
        )
    else:
        width = room(sys.stdout)
        say("\n\n".join(titled(effects.summary(width, _in_columns)) for effects in results))
        for name, text in refusals:
            note(f"{name} was left out: {text}")
    if options.plot:
        _draw(results[0], Path(options.plot), options.replace)


def _in_columns(frame: pd.DataFrame) -> list[str]:
    return table(list(frame.columns), frame.itertuples(index=False)).splitlines()


def _analysed(
    project: Project, names: Sequence[str], terms: str | list[str] | None, options: Namespace
) -> tuple[list[Effects], list[tuple[str, str]]]:
    """Analyse each outcome; where all were asked for, one that cannot be analysed does not stop the others.

    Raises
    ------
    DataError
        If the project has no outcome.
    FettleError
        If a named outcome, or every outcome, cannot be analysed.
    """
    if not names:
        raise DataError("This project has no outcomes yet.", command="'fettle outcome add' defines one")
    from doe.fit.answered import answered  # numpy

    results: list[Effects] = []
    refusals: list[tuple[str, FettleError]] = []
    for name in names:
        try:
            results.append(answered(project.analyse(name, terms, seed=options.seed), terms))
        except FettleError as err:
            if options.outcomes:
                raise
            refusals.append((name, err))
    if not results:
        raise refusals[0][1]
    return results, [(name, refusal(err)) for name, err in refusals]


def _draw(effects: Effects, path: Path, replace: bool) -> None:
    from doe.charts import figure, write_figure  # plotly is slow to import

    note(f"Drawn: {write_figure(figure(effects), path, replace=replace)}.")
