"""``fettle predict``: what settings that were not built yet should give, and what it takes to get there."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, Any

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_pair, once
from doe.cli.screen import note, print_json, say, table, titled
from doe.model.change import check_limits, find_variant
from doe.model.errors import DataError, FettleError
from doe.model.records import Variant, read_settings
from doe.model.wording import capital, setting, spaced

if TYPE_CHECKING:
    from doe.advise.nearest import Start
    from doe.advise.what_if import Foreseen
    from doe.project import Project


def build_predict() -> Parser:
    """Return the parser of ``fettle predict``."""
    parser = Parser(
        "fettle predict",
        "Predict what settings should give, built or not, beside the variant that they start from, and what it takes to get\n"
        "there. The interval of one build is wider, since builds differ by more than their settings.",
        ["fettle predict wool=20", "fettle predict vents=2 rings=9 --start 17"],
        run_predict,
    )
    add = parser.add_argument
    add("settings", nargs="*", type=a_pair, metavar="FACTOR=SETTING", help="what is to be otherwise")
    add("--start", metavar="VARIANT", help="variant whose other settings stay; the best one by default")
    parser.json_option()
    return parser


def run_predict(options: Namespace) -> None:
    """Predict settings."""
    project = open_project(options.project)
    start = _start(project, options.start)
    settings = read_settings(once(options.settings), project.setup.factors, start.settings)
    from doe.advise.effort import bought_levels
    from doe.advise.nearest import starts
    from doe.advise.what_if import foresee

    analyses, refusals = [], []
    for outcome in project.setup.outcomes:
        try:
            analyses.append(project.analyse(outcome.name))
        except FettleError as err:
            refusals.append((outcome.name, str(err)))
    found = foresee(analyses, settings, start.settings)
    refusals += [(one.outcome.name, one.refusal) for one in found if one.refusal]
    known, setup = project.snapshot(), project.setup
    there = [*(variant.settings for variant in known.variants), *(unit.settings for unit in known.units)]
    bought = bought_levels(setup.factors, there)
    ways = starts(setup.factors, known.units, settings, setup.effort, bought)
    broken = _broken(project, settings)
    if options.json:
        print_json(_tables(start, settings, found, refusals, ways, broken))
        return
    _tell(project, start, settings, found, ways)
    for name, why in refusals:
        note(f"{name} was left out: {why}")
    if broken:
        note(f"Note: {broken}")


def _start(project: Project, name: str | None) -> Variant:
    """Return the variant to start from.

    Raises
    ------
    DataError
        If there is none.
    """
    variants = [item for item in project.snapshot().variants if item.settings]
    if name is None:
        best = project.recommend().best.get("variant") if len(project.readings()) else None
        if not best:
            raise DataError(
                "No variant is known to be the best yet.", command="--start VARIANT names one to start from"
            )
        name = str(best)
    return find_variant(name, variants)


def _broken(project: Project, settings: Any) -> str:
    try:
        check_limits(settings, project.setup)
    except DataError as err:
        return str(err)
    return ""


def _tell(project: Project, start: Variant, settings: Any, found: list[Foreseen], ways: list[Start]) -> None:
    from doe.advise.nearest import start_told

    changed = [
        f"{spaced(factor.name)} {setting(settings[factor.name], factor.unit)}"
        for factor in project.setup.factors
        if settings[factor.name] != start.settings.get(factor.name)
    ]
    what = f"Variant {start.name} with {', '.join(changed)}" if changed else f"Variant {start.name} as it is"
    say(titled(f"{capital(what)}.\n"))
    rows = [
        (one.outcome.name, one.told(one.there), one.build, one.told(one.now)) for one in found if one.there is not None
    ]
    if rows:
        say(table(("outcome", "expected (95 %)", "one build (95 %)", f"variant {start.name}"), rows))
        say()
    for way in ways:
        say(start_told(way))


def _tables(
    start: Variant,
    settings: Any,
    found: list[Foreseen],
    refusals: list[tuple[str, str]],
    ways: list[Start],
    broken: str,
) -> dict[str, Any]:
    return {
        "start": start.name,
        "settings": settings,
        "outcomes": [
            {"outcome": one.outcome.name, **dict(one.there), "now": one.now} for one in found if one.there is not None
        ],
        "refused": dict(refusals),
        "broken": broken,
        "ways": [
            {"unit": way.unit, "minutes": way.cost.minutes, "cost": way.cost.price, "is there": way.is_there}
            for way in ways
        ],
    }
