"""``fettle settle``: the permanent equivalent, tolerances, confirmation, versions."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, Any, get_args

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_number, one_of
from doe.cli.screen import note, print_json, say, stored, table, titled
from doe.model.choices import Paper
from doe.model.settled import SettledVersion, promise
from doe.model.told import told_settling, told_version
from doe.model.wording import cell_text, counted, number, with_interval

if TYPE_CHECKING:
    from doe.project import Project


def build_settle_find() -> Parser:
    """Return the parser of ``fettle settle find``."""
    parser = Parser(
        "fettle settle find",
        "Find the permanent equivalent: lasting settings that give the same derived quantity with a cheap, reversible\n"
        "stand-in taken away, what they promise, what they take, and which build would test that they do the same.",
        [
            "fettle settle find",
            "fettle settle find 17 --without wool",
            "fettle settle find --without wool --to 10 --count 5",
        ],
        run_settle_find,
    )
    add = parser.add_argument
    add("variant", nargs="?", metavar="VARIANT", help="what is to be made permanent; by default the best variant")
    add(
        "--without", metavar="FACTOR", help="the stand-in; by default the part of the quantity that goes back and forth"
    )
    add("--to", metavar="SETTING", help="its lasting setting; by default 0, the low end, or none of it")
    add("--through", metavar="QUANTITY", help="the derived quantity that is kept, where there are several")
    add(
        "--hold",
        metavar="FACTOR",
        action="append",
        default=[],
        help="a part of the quantity that must stay; may be repeated",
    )
    add("--count", type=a_count, default=3, help="how many to list; 3 by default")
    _seed(parser)
    return parser


def run_settle_find(options: Namespace) -> None:
    """Find the permanent equivalent."""
    found = open_project(options.project).settle(
        options.variant,
        without=options.without,
        to=options.to,
        through=options.through,
        hold=options.hold,
        count=options.count,
        seed=options.seed,
    )
    _tell(found, options)


def build_settle_tolerance() -> Parser:
    """Return the parser of ``fettle settle tolerance``."""
    parser = Parser(
        "fettle settle tolerance",
        "Say how far each setting may drift before an outcome leaves its limits or loses what matters: which dimension to\n"
        "hold, and which not to care about.",
        ["fettle settle tolerance", "fettle settle tolerance 24 --probability 0.95 --through inner_air"],
        run_settle_tolerance,
    )
    add = parser.add_argument
    add("variant", nargs="?", metavar="VARIANT", help="which variant; by default the best one")
    add("--probability", type=a_number, default=0.9, metavar="SHARE", help="with which all is kept; 0.9 by default")
    _through(parser)
    _seed(parser)
    return parser


def run_settle_tolerance(options: Namespace) -> None:
    """Say how far settings may drift."""
    found = open_project(options.project).tolerances(
        options.variant, probability=options.probability, through=options.through, seed=options.seed
    )
    _tell(found, options)


def build_settle_plan() -> Parser:
    """Return the parser of ``fettle settle plan``."""
    parser = Parser(
        "fettle settle plan",
        "Say how many fresh builds and readings would confirm what the log promises, at a stated risk.",
        ["fettle settle plan", "fettle settle plan 17 --risk 0.2"],
        run_settle_plan,
    )
    add = parser.add_argument
    add("variant", nargs="?", metavar="VARIANT", help="which variant; by default the best one")
    add("--risk", type=a_number, default=0.1, metavar="SHARE", help="of not confirming what is true; 0.1 by default")
    _seed(parser)
    return parser


def run_settle_plan(options: Namespace) -> None:
    """Say how many builds would confirm."""
    found = open_project(options.project).plan_confirmation(options.variant, risk=options.risk, seed=options.seed)
    _tell(found, options)
    if found.builds and not options.json:
        beside = " ... --beside VARIANT" if found.beside else ""
        note(
            "Next: build them with 'fettle log ... --new-unit NAME', have what people judge judged blind with 'fettle settle "
            f"session{beside}', read the rest with 'fettle read', and ask 'fettle settle confirm'."
        )


def build_settle_session() -> Parser:
    """Return the parser of ``fettle settle session``."""
    parser = Parser(
        "fettle settle session",
        "Prepare a blind session for fresh builds: codes, each listener's own balanced order, and something heard before\n"
        "beside them. Run it with 'fettle serve'.",
        ['fettle settle session 24 25 --beside "shop radio" --rater Ines --rater Tomas --rounds 2'],
        run_settle_session,
    )
    add = parser.add_argument
    add("builds", nargs="+", metavar="VARIANT", help="the fresh builds")
    add("--beside", metavar="VARIANT", action="append", default=[], help="something judged before; may be repeated")
    add("--rater", metavar="NAME", action="append", default=[], help="who judges; repeat for each")
    add("--rounds", type=a_count, default=1, help="how often each is judged; 1 by default")
    add("--name", default="confirmation", help="of the session; confirmation by default")
    return parser


def run_settle_session(options: Namespace) -> None:
    """Prepare a blind session."""
    project = open_project(options.project)
    session, entry = project.prepare_confirmation(
        options.builds, options.rater, beside=options.beside, rounds=options.rounds, name=options.name
    )
    stored(
        f"Prepared session {session.name}: {counted(len(session.samples), 'coded sample')} for "
        f"{counted(len(session.sheets), 'rater')}. Start quiet; 'fettle serve' hands each rater a page.",
        entry,
    )


def build_settle_confirm() -> Parser:
    """Return the parser of ``fettle settle confirm``."""
    parser = Parser(
        "fettle settle confirm",
        "Judge fresh builds by what the log before them promised: kept its promise, fell short by how much, or not yet known.",
        ["fettle settle confirm 24", "fettle settle confirm 24 25 --through inner_air --json"],
        run_settle_confirm,
    )
    parser.add_argument("builds", nargs="+", metavar="VARIANT", help="fresh builds of the same settings")
    _through(parser)
    _seed(parser)
    return parser


def run_settle_confirm(options: Namespace) -> None:
    """Judge fresh builds."""
    found = open_project(options.project).confirm(options.builds, through=options.through, seed=options.seed)
    _tell(found, options)


def build_settle_keep() -> Parser:
    """Return the parser of ``fettle settle keep``."""
    parser = Parser(
        "fettle settle keep",
        "Settle a version: freeze a variant under a name and a number, with what is known of it.",
        [
            'fettle settle keep 24 --name "kitchen radio" --build 24 --build 25',
            'fettle settle keep --name "kitchen radio"',
        ],
        run_settle_keep,
    )
    add = parser.add_argument
    add("variant", nargs="?", metavar="VARIANT", help="which variant; by default the first build, or the best variant")
    add("--name", required=True, help="what to call it")
    add(
        "--build",
        metavar="VARIANT",
        action="append",
        default=[],
        help="a fresh build that confirms it; may be repeated",
    )
    add("--note", default="", help="free text")
    _through(parser)
    _seed(parser)
    return parser


def run_settle_keep(options: Namespace) -> None:
    """Settle a version."""
    project = open_project(options.project)
    version, entry = project.keep_version(
        options.name,
        options.variant,
        builds=options.build,
        through=options.through,
        note=options.note,
        seed=options.seed,
    )
    stored("\n".join(_version_lines(version)), entry)
    say(f"Write its build sheet with 'fettle settle sheet {version.number}'.")


def build_settle_compare() -> Parser:
    """Return the parser of ``fettle settle compare``."""
    parser = Parser(
        "fettle settle compare",
        "Compare two settled versions outcome by outcome.",
        ["fettle settle compare 1 2"],
        run_settle_compare,
    )
    parser.add_argument("first", type=a_count, metavar="NUMBER", help="of one version")
    parser.add_argument("second", type=a_count, metavar="NUMBER", help="of the other")
    _seed(parser)
    return parser


def run_settle_compare(options: Namespace) -> None:
    """Compare two versions."""
    project = open_project(options.project)
    found = project.compare_versions(options.first, options.second, seed=options.seed)
    if options.json:
        print_json(found)
        return
    units = {outcome.name: outcome.unit for outcome in project.setup.outcomes}
    rows = [
        [
            row["outcome"],
            number(row["first"]),
            number(row["second"]),
            with_interval(row["difference"], row["low"], row["high"], units.get(row["outcome"], ""), is_change=True),
            row["verdict"],
        ]
        for row in found.to_dict("records")
    ]
    heads = ["outcome", f"version {options.first}", f"version {options.second}", "change (95 %)", "verdict"]
    say(table(heads, rows))


def build_settle_sheet() -> Parser:
    """Return the parser of ``fettle settle sheet``."""
    parser = Parser(
        "fettle settle sheet",
        "Write the build sheet of a settled version: one or two pages that someone else could rebuild from.",
        ["fettle settle sheet", "fettle settle sheet 1 --pdf"],
        run_settle_sheet,
    )
    add = parser.add_argument
    add("number", nargs="?", type=a_count, metavar="NUMBER", help="of the version; the newest by default")
    add("--file", metavar="FILE", help="where to; by default reports/NAME-version-NUMBER.html")
    add("--pdf", action="store_true", help="write a PDF beside it, where Chromium is installed")
    add(
        "--paper",
        type=one_of(get_args(Paper)),
        default="A4",
        metavar="SIZE",
        help="of the PDF: A4 (by default) or letter",
    )
    add("--replace", action="store_true", help="overwrite files that exist")
    return parser


def run_settle_sheet(options: Namespace) -> None:
    """Write the build sheet."""
    from pathlib import Path

    project = open_project(options.project)
    version = project.version(options.number)
    from doe.sheets import build_sheet, print_pdf

    name = f"{project.path.stem}-version-{version.number}.html"
    target = Path(options.file) if options.file else project.path.parent / "reports" / name
    page = build_sheet(project, target, version.number, replace=options.replace)
    say(f"Written: {page}. Open it in a browser and print it.")
    if options.pdf:
        say(f"Written: {print_pdf(page, page.with_suffix('.pdf'), paper=options.paper, replace=options.replace)}.")


def build_settle_list() -> Parser:
    """Return the parser of ``fettle settle list``."""
    parser = Parser(
        "fettle settle list", "List the settled versions.", ["fettle settle", "fettle settle --json"], run_settle_list
    )
    parser.json_option()
    return parser


def run_settle_list(options: Namespace) -> None:
    """List the versions."""
    project: Project = open_project(options.project)
    found = project.versions()
    if options.json:
        print_json([told_version(item) for item in found])
    elif not found:
        say("Nothing is settled yet. 'fettle settle find' looks for a permanent equivalent of the best variant.")
    else:
        say("\n\n".join("\n".join(_version_lines(item)) for item in found))


def _version_lines(version: SettledVersion) -> list[str]:
    settings = ", ".join(f"{name} {cell_text(value)}" for name, value in version.settings.items())
    confirmation: Any = version.evidence.get("confirmation") or {}
    came = f"changed from version {version.came_from}" if version.came_from else "begins a line of its own"
    lines = [
        f"{version.title[0].upper()}{version.title[1:]} (variant {version.variant or 'taken out since'}; {came}).",
        f"  {settings}",
    ]
    lines += [f"  {row['outcome']}: {promise(row)} of a new build" for row in version.evidence.get("expected", [])]
    return [*lines, f"  {confirmation.get('headline', 'Not confirmed by fresh builds.')}"]


def _tell(found: Any, options: Namespace) -> None:
    if options.json:
        print_json(told_settling(found))
    else:
        say(titled(found.summary()))


def _through(parser: Parser) -> None:
    parser.add_argument("--through", metavar="QUANTITY", help="predict through this derived quantity, not by its parts")


def _seed(parser: Parser) -> None:
    parser.add_argument(
        "--seed", type=a_count, default=1, metavar="NUMBER", help="of whatever is drawn at random; 1 by default"
    )
    if parser.prog != "fettle settle keep":
        parser.json_option()
