"""``fettle next``: the next change that is worth its bench time, and what became of earlier ones."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, bench_hours, one_of
from doe.cli.screen import heading, note, print_json, say, table, titled
from doe.model.errors import StoreError, UsageError, listed
from doe.model.outcome import Outcome, columns_told
from doe.model.wording import chance, number

if TYPE_CHECKING:
    from doe.advise import Advice, Track
    from doe.advise.trade_off import Row
    from doe.project import Project
    from doe.store import Entry

SIDES = ("improve", "learn")
FIGURES = ("candidates", "worth", "front")
_MOST_FRONT = 12


def build_next() -> Parser:
    """Return the parser of ``fettle next``."""
    parser = Parser(
        "fettle next",
        "Suggest what to do next: the change, repeat or confirmation that is worth most for its bench time, and why. Each\n"
        "suggestion is kept with its prediction, to be held against what comes; --track shows how they held.",
        [
            "fettle next",
            "fettle next --count 3 --hours 4",
            'fettle next --unit "body B" --only improve',
            "fettle next --front --plot front.html --figure front",
            "fettle next --track",
        ],
        run_next,
    )
    add = parser.add_argument
    add("--count", type=a_count, metavar="NUMBER", help="how many suggestions, chosen for one session; 1 by default")
    add("--hours", type=bench_hours, help="bench hours that are left, or a time such as 2h30")
    add("--unit", metavar="NAME", help="only this unit; new for a new one")
    add("--only", type=one_of(SIDES), metavar="WHY", help=f"only one side of a move: {' or '.join(SIDES)}")
    add("--front", action="store_true", help="show too where one outcome is traded for another, and at which weights")
    add("--track", action="store_true", help="suggest nothing; hold earlier predictions against what came")
    add("--plot", metavar="FILE", help="draw to a .html, .png or .svg file")
    add(
        "--figure",
        type=one_of(FIGURES),
        metavar="WHICH",
        help=f"what to draw: {', '.join(FIGURES)}; the first by default",
    )
    add("--replace", action="store_true", help="let --plot overwrite a file")
    add("--seed", type=a_count, metavar="NUMBER", help="of whatever is drawn at random; 1 by default")
    parser.json_option()
    return parser


def run_next(options: Namespace) -> None:
    """Suggest the next change, or look back at earlier suggestions."""
    if options.figure and not options.plot:
        raise UsageError("--figure says what --plot draws; give --plot FILE too.")
    if options.plot:
        from doe.charts.export import check_target

        check_target(Path(options.plot), replace=options.replace)
    project = open_project(options.project)
    if options.track:
        _look_back(project, options)
    else:
        _suggest(project, options)


def _suggest(project: Project, options: Namespace) -> None:
    advice = project.recommend(
        options.count or 1, hours=options.hours, only=options.only, unit=options.unit, seed=options.seed or 1
    )
    kept, refusal = _kept(project, advice)
    if options.json:
        print_json(advice.to_tables())
    else:
        say(titled(advice.summary()))
        _tell_trade_offs(advice, whole=options.front)
    if options.plot:
        _draw(advice, options, options.figure or FIGURES[0])
    if refusal:
        note(f"Not kept for 'fettle next --track': {refusal}")
    if kept and not options.json:
        undo = listed([f"'fettle undo {entry.id}'" for entry in kept], "and")
        one = len(kept) == 1
        note(f"Kept with {'its prediction; take it' if one else 'their predictions; take them'} back with {undo}.")


def _kept(project: Project, advice: Advice) -> tuple[list[Entry], str]:
    """Put advice on record, or say why it could not be: whoever may only read a project is advised all the same."""
    try:
        return project.keep_advice(advice), ""
    except StoreError as err:
        return [], str(err)


def _tell_trade_offs(advice: Advice, *, whole: bool) -> None:
    from doe.advise.trade_off import build_sentence, front_sentence, kept_sentence, others_kept
    from doe.advise.twin import rows_of

    if whole and not len(advice.front):
        say("\nThere is nothing to trade off: that takes two outcomes with goals, and readings.")
    if not len(advice.front):
        return
    if not whole:
        if others := others_kept(advice.weights):
            say(
                f"\nTrade-off: at other weights variant {listed(others)} would be the one to keep; see 'fettle next --front'."
            )
        return
    say(f"\n{heading(front_sentence(advice.front))}\n")
    names = [outcome.name for outcome in advice.outcomes if outcome.name in advice.front.columns]
    factors = list(advice.front.columns[1 : list(advice.front.columns).index("mean worth")])
    rows = [_front_row(row, factors, advice) for row in rows_of(advice.front.head(_MOST_FRONT))]
    say(table(["variant", *factors, "worth", *names, "on the front", "alike"], rows))
    if advice.front["more alike"].any():
        say(
            "(alike: how many more could be built that differ from it by less than half of what matters, and in what; "
            "the chance is that it or one of them is on the front.)"
        )
    if len(advice.front) > _MOST_FRONT:
        say(f"({len(advice.front) - _MOST_FRONT} more of less worth.)")
    say(f"\n{kept_sentence(advice.weights)}\n{build_sentence(advice.weights)}")


def _front_row(row: Row, factors: list[str], advice: Advice) -> list[object]:
    shown = [outcome for outcome in advice.outcomes if outcome.name in row]
    values = [advice.told_on_front(row, one) for one in shown]
    cells = [row[name] for name in factors]
    alike = f"{row['more alike']}, in {advice.alike_in(row)}" if row["more alike"] else ""
    on_front = chance(row["chance on front"])
    return [row["variant"] or "to build", *cells, round(row["mean worth"], 3), *values, on_front, alike]


def _look_back(project: Project, options: Namespace) -> None:
    for name in ("count", "hours", "unit", "only", "front", "figure", "seed"):
        if getattr(options, name):
            raise UsageError(f"--track looks back and suggests nothing, so --{name} does not go with it.")
    track = project.track()
    if options.json:
        print_json(track.to_tables())
    else:
        say(titled(_track_text(track)))
    if options.plot:
        _draw(track, options, "track")


def _track_text(track: Track) -> str:
    if not len(track.table) and not track.waiting:
        return "No suggestion is on record yet; 'fettle next' makes one, and keeps it with its prediction."
    if not len(track.table):
        return track.summary()
    outcomes = {outcome.name: outcome for outcome in track.outcomes}
    gone, known = Outcome("gone"), track.table.to_dict("records")
    columns = columns_told(track.outcomes, known)
    rows = [
        (
            row["suggestion"],
            row["variant"],
            row["outcome"],
            outcomes.get(row["outcome"], gone).told(row["mean"], row["low"], row["high"], columns.get(row["outcome"])),
            number(row["read"]),
            "held" if row["held"] else "missed",
        )
        for row in known
    ]
    head, *rest = track.summary().rstrip().split("\n")
    shown = table(("suggestion", "variant", "outcome", "predicted (95 %)", "read", "and it"), rows)
    return "\n".join([head, "", shown, "", *rest])


def _draw(result: Advice | Track, options: Namespace, which: str) -> None:
    from doe.charts import figure, write_figure  # plotly is slow to import

    note(f"Drawn: {write_figure(figure(result, which), Path(options.plot), replace=options.replace)}.")
