"""``fettle rehearse``: how many builds and hours it will take, and which smallest effect could be seen."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, Any

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_number, bench_hours
from doe.cli.progress import Progress
from doe.cli.screen import heading, note, print_json, say, table, titled
from doe.model.choices import Settings
from doe.model.errors import UsageError
from doe.model.setup import Setup
from doe.model.wording import counted, duration, number, percent

if TYPE_CHECKING:
    import pandas as pd

    from doe.rehearse.answer import Rehearsal

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
            "fettle rehearse --hours 12 --benches 60 --compare",
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
    add("--seed", type=a_count, default=1, metavar="NUMBER", help="of whatever is drawn at random; 1 by default")
    parser.json_option()
    return parser


def run_rehearse(options: Namespace) -> None:
    """Rehearse the setup."""
    setup, start, where = _asked(options)
    from doe.rehearse import rehearse  # takes a second, which a slip in the options need not wait for

    with Progress("what is done") as progress:
        found = rehearse(
            setup,
            hours=options.hours,
            benches=options.benches,
            noise=options.scatter / 100,
            start=start,
            seed=options.seed,
            jobs=-1,
            progress=lambda done, count: progress(done / count, f"{done} of {counted(count, 'bench', 'benches')}"),
            compare=options.compare,
        )
    if options.json:
        print_json({name: getattr(found, name) for name in _FRAMES})
        return
    say(titled(found.summary()))
    if len(found.rivals):
        say(f"\n{heading('Other ways of working, on the same benches:')}\n\n{_compared(found)}")
    note(f"{where} Each reading scatters by {number(options.scatter)} % of its outcome's range; --scatter sets it.")


def _asked(options: Namespace) -> tuple[Setup, Settings | None, str]:
    """Return the setup, the unit to begin with, and where that comes from."""
    drawn = "Each rehearsal begins with one unit, its settings drawn."
    if options.setup and options.project:
        raise UsageError("--setup does not go with --project; give one of them.")
    if options.setup:
        from doe.store.setup_file import read_setup

        return read_setup(options.setup), None, drawn
    known = open_project(options.project).snapshot()
    usable = [unit for unit in known.units if not unit.retired and len(unit.settings) == len(known.setup.factors)]
    if not usable:
        return known.setup, None, drawn
    last = usable[-1]
    return (
        known.setup,
        dict(last.settings),
        f"Each rehearsal begins with unit {last.name} as it is now, and without readings.",
    )


def _compared(found: Rehearsal) -> str:
    groups = [("what 'fettle next' says", found.plays), *found.rivals.groupby("strategy", sort=False)]
    rows = [_row(str(name), plays, found.hours) for name, plays in groups]
    headings = ("way of working", "found a good one", "half of them by", "kept a good one", "short of the best by")
    return table(headings, rows)


def _row(name: str, plays: pd.DataFrame, hours: float) -> tuple[Any, ...]:
    half = float(plays["minutes"].median())
    return (
        name,
        percent(float(plays["reached"].mean())),
        duration(half) if half < 60 * hours else f"not in {hours:g} h",
        percent(float(plays["finally_right"].mean())),
        f"{number(plays['regret'].mean(), 2)} of worth",
    )
