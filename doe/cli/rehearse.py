"""``fettle rehearse``: how many builds and hours it will take, and which smallest effect could be seen."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_number, bench_hours
from doe.cli.progress import Progress
from doe.cli.screen import heading, note, print_json, say, table, titled
from doe.model.errors import UsageError
from doe.model.records import Unit
from doe.model.setup import Setup
from doe.model.wording import counted, number

_HOURS, _BENCHES, _SCATTER = 24.0, 20, 10.0
_FRAMES = ("headline", "hours", "noise", "plays", "effects", "smallest", "rivals", "notes")


def build_rehearse() -> Parser:
    """Return the parser of ``fettle rehearse``."""
    parser = Parser(
        "fettle rehearse",
        "Play your own setup on simulated benches whose truth is known, doing what 'fettle next' says: how many builds and\n"
        "hours until a good variant, and which smallest effect could be seen. Uses all cores; Ctrl-C keeps what is done.\n"
        "Your readings play no part, nothing is stored.",
        [
            "fettle rehearse",
            "fettle rehearse --hours 12 --benches 60 --compare --plot course.html",
            "fettle rehearse --setup setup.toml --scatter 20",
        ],
        run_rehearse,
    )
    add = parser.add_argument
    add("--setup", metavar="FILE", help="a setup file in place of a project")
    add("--hours", type=bench_hours, default=_HOURS, help=f"bench hours there will be; {_HOURS:g} by default")
    add("--benches", type=a_count, default=_BENCHES, metavar="NUMBER", help=f"benches to play; {_BENCHES} by default")
    add(
        "--scatter",
        type=a_number,
        default=_SCATTER,
        metavar="PERCENT",
        help=f"of one reading, as a share of each outcome's range from worst to best; {_SCATTER:g} by default",
    )
    add("--compare", action="store_true", help="play textbook ways of working on the same benches too")
    add("--plot", metavar="FILE", help="draw how many had a good variant by when to a .html, .png or .svg file")
    add("--replace", action="store_true", help="let --plot overwrite a file")
    add("--seed", type=a_count, default=1, metavar="NUMBER", help="of whatever is drawn at random; 1 by default")
    parser.json_option()
    return parser


def run_rehearse(options: Namespace) -> None:
    """Rehearse the setup."""
    if options.plot:
        from doe.charts.export import check_target

        check_target(Path(options.plot), replace=options.replace)
    setup, units = _asked(options)
    from doe.rehearse import rehearse  # takes a second, which a slip in the options need not wait for
    from doe.rehearse.answer import WAYS
    from doe.rehearse.begin import begins_with, unit_at_hand

    unit = unit_at_hand(units, setup.factors)
    with Progress("what is done") as progress:
        found = rehearse(
            setup,
            hours=options.hours,
            benches=options.benches,
            noise=options.scatter / 100,
            start=dict(unit.settings) if unit is not None else None,
            seed=options.seed,
            jobs=-1,
            progress=lambda done, count: progress(done / count, f"{done} of {counted(count, 'bench', 'benches')}"),
            compare=options.compare,
        )
    if options.plot:
        from doe.charts import figure, write_figure  # plotly is slow to import

        note(f"Drawn: {write_figure(figure(found), Path(options.plot), replace=options.replace)}.")
    if options.json:
        print_json({name: getattr(found, name) for name in _FRAMES})
        return
    say(titled(found.summary()))
    if rows := found.compared("what 'fettle next' says"):
        say(f"\n{heading('Other ways of working, on the same benches:')}\n\n{table(WAYS, rows)}")
    scatters = f"Each reading scatters by {number(options.scatter)} % of its outcome's range; --scatter sets it."
    note(f"{begins_with(unit)} {scatters}")


def _asked(options: Namespace) -> tuple[Setup, Sequence[Unit]]:
    """Return the setup, and the units that there are."""
    if options.setup and options.project:
        raise UsageError("--setup does not go with --project; give one of them.")
    if options.setup:
        from doe.store.setup_file import read_setup

        return read_setup(options.setup), ()
    known = open_project(options.project).snapshot()
    return known.setup, known.units
