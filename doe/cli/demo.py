"""``fettle demo``: an invented project, walked through from its log to the next change."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Collection, Sequence
from pathlib import Path
from shutil import copyfile
from typing import TYPE_CHECKING

from doe.cli.chosen import SUFFIX
from doe.cli.parser import Parser
from doe.cli.screen import heading, say, titled
from doe.guides.demos import demo_folder
from doe.model.errors import StoreError, UsageError, listed
from doe.model.model_words import in_place_of_parts
from doe.model.names import quoted
from doe.model.wording import MOVES, counted

if TYPE_CHECKING:
    from doe.fit import Effects
    from doe.project import Project

RADIO, FAN = "radio", "fan"
_FILES = ("setup.toml", "log.csv")


def build_demo() -> Parser:
    """Return the parser of ``fettle demo``."""
    parser = Parser(
        "fettle demo",
        "Set an invented project up in a new folder, bring its log in, find out what moves what, suggest the next change\n"
        "and write the report. Every number in it is made up, by a script in 'examples/' that states the truth.",
        ["fettle demo", "fettle demo fan-demo --fan"],
        run_demo,
    )
    parser.add_argument("folder", nargs="?", metavar="FOLDER", help="a new folder; radio-demo or fan-demo by default")
    parser.add_argument("--fan", action="store_true", help="the desk fan instead of the tabletop radio")
    return parser


def run_demo(options: Namespace) -> None:
    """Set the demo up and walk through it."""
    if options.project:
        raise UsageError("--project does not go with demo, which makes a project of its own; give it a folder.")
    from doe.project import Project

    name = FAN if options.fan else RADIO
    folder = Path(options.folder or f"{name}-demo")
    _fill(folder, name)
    project = Project.create(folder / f"{name}{SUFFIX}", folder / "setup.toml")
    done = project.import_log(folder / "log.csv")
    setup = project.setup
    say(heading(f"{setup.title}. {setup.question}"))
    say(f"Read from {folder / 'log.csv'}: {counted(done.variants, 'variant')}, {counted(done.readings, 'reading')}.")
    effects = [project.analyse(outcome.name) for outcome in setup.outcomes]
    _answer(project, effects)
    advice = project.recommend()
    project.keep_advice(advice)
    say(f"\n{titled(advice.summary())}")
    _where_to_look(folder, project)


def _fill(folder: Path, name: str) -> None:
    """Make the folder and copy the demo's files into it.

    Raises
    ------
    StoreError
        If the folder holds something, or cannot be made.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StoreError(f"'{folder}' exists and is not empty; give the demo another folder: 'fettle demo FOLDER'.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file in _FILES:
            copyfile(demo_folder(name) / file, folder / file)
    except OSError as err:
        raise StoreError(f"'{folder}' cannot be filled: {(err.strerror or str(err)).lower()}.") from err


def _answer(project: Project, effects: Sequence[Effects]) -> None:
    """Print what moves what; then, for each derived quantity, the same question asked in its terms."""
    for result in effects:
        say(f"\n{titled(result.summary())}")
    setup = project.setup
    factors = [factor.name for factor in setup.factors]
    for quantity in setup.derived:
        terms = in_place_of_parts(quantity, setup.factors, setup.derived)
        parts = listed([name for name in factors if name in quantity.parsed.names], "and")
        say(f"\n{heading(f'{parts} act through {quantity.name} = {quantity.expression}'.capitalize())}")
        for result in effects:
            if _follows(result, quantity.parsed.names):
                name = result.outcome.name
                say(f"  {project.analyse(name, terms).headline}  (fettle analyse {name} --terms {','.join(terms)})")


def _follows(result: Effects, names: Collection[str]) -> bool:
    """Tell whether one of these factors was found to move the outcome."""
    moving = result.table[result.table["verdict"] == MOVES]
    return any(term in names for term in moving["term"])


def _where_to_look(folder: Path, project: Project) -> None:
    from doe.sheets import report  # charts are slow to import

    page = report(project, folder / "reports" / f"{project.path.stem}.html")
    say(f"\n{heading('Have a look')}")
    say(f"  {page}  the whole story with charts; open it in a browser")
    there = quoted(str(folder))
    say(f"  {project.path}  the project; 'cd {there}' and every fettle command works on it")
    say(f"  {folder / 'log.csv'}  the log as the maker kept it")
    say(f"\nThen try: cd {there} && fettle show 17 && fettle next --count 3")
