"""``fettle next``: the next change that is worth its bench time."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, not_below_zero, one_of
from doe.cli.screen import note, print_json, say, titled
from doe.model.errors import listed

if TYPE_CHECKING:
    from doe.advise import Advice

SIDES = ("improve", "learn")


def build_next() -> Parser:
    """Return the parser of ``fettle next``."""
    parser = Parser(
        "fettle next",
        "Suggest what to do next: the change, repeat or confirmation that is worth most for its bench time, and why. Each\n"
        "suggestion is kept with its prediction, to be held against what comes.",
        ["fettle next", "fettle next --count 3 --hours 4", 'fettle next --unit "body B" --only improve'],
        run_next,
    )
    add = parser.add_argument
    add("--count", type=a_count, default=1, help="how many suggestions, chosen for one session; 1 by default")
    add("--hours", type=not_below_zero, help="bench hours that are left")
    add("--unit", metavar="NAME", help="only this unit; new for a new one")
    add("--only", type=one_of(SIDES), metavar="WHY", help=f"only one side of a move: {' or '.join(SIDES)}")
    add("--seed", type=a_count, default=1, metavar="NUMBER", help="of whatever is drawn at random; 1 by default")
    parser.json_option()
    return parser


def run_next(options: Namespace) -> None:
    """Suggest the next change."""
    project = open_project(options.project)
    advice = project.recommend(
        options.count, hours=options.hours, only=options.only, unit=options.unit, seed=options.seed
    )
    kept = project.keep_advice(advice)
    if options.json:
        print_json(as_tables(advice))
        return
    say(titled(advice.summary()))
    if kept:
        undo = listed([f"'fettle undo {entry.id}'" for entry in kept], "and")
        note(
            f"Kept with {'its prediction; take it' if len(kept) == 1 else 'their predictions; take them'} back with {undo}."
        )


def as_tables(advice: Advice) -> dict[str, object]:
    """Return everything the advice holds, at full precision."""
    names = ("headline", "table", "best", "stop", "predictions", "candidates", "worth", "front", "notes")
    return {name: getattr(advice, name) for name in names if hasattr(advice, name)}
