"""``fettle outcome``: what is judged."""

from __future__ import annotations

import re
from argparse import ArgumentTypeError, Namespace
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

from doe.cli.chosen import open_project
from doe.cli.definitions import filled, given, listing, pick, removal
from doe.cli.parser import NOTHING, Parser, a_number, a_number_or_none, a_pair, not_below_zero, one_of
from doe.cli.recipe_options import with_recipe
from doe.cli.screen import doubts, note, stored
from doe.model.choices import Goal, OutcomeKind
from doe.model.errors import UsageError
from doe.model.outcome import GOAL_FIELDS, Outcome, fits_goal
from doe.model.setup import Setup, record_of, table_of
from doe.model.slips import slip_in_matters
from doe.model.wording import counted, exact, setting, unit_behind

if TYPE_CHECKING:
    from doe.store import Entry

_NUMBER = r"[-+−]?\d+(?:[.,]\d+)?"
_TWO_ENDS = re.compile(rf"({_NUMBER})\s*(?:-|–|to|,|;|\.\.)\s*({_NUMBER})", re.IGNORECASE)
_FIELDS = (
    "kind", "unit", "goal", "best", "worst", "target", "low", "high", "scale", "matters", "weight", "relative_to", "note",
)  # fmt: skip


class _OutcomeParser(Parser):
    """A parser that understands a scale in one word too: 1-7, 1,7 or '1 to 7'."""

    def parse_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: Namespace | None = None
    ) -> Namespace:
        return super().parse_args(_scale_in_two(list(args or ())), namespace)


def _scale_in_two(words: list[str]) -> list[str]:
    """Return what was typed with the ends of the scale as two words; of two numbers, a comma is a decimal one."""
    for place, word in enumerate(words):
        option, equals, rest = word.partition("=")
        if option != "--scale":
            continue
        after = [rest, *words[place + 1 :]] if equals else words[place + 1 :]
        if len(after) > 1 and all(re.fullmatch(_NUMBER, end) for end in after[:2]):
            return [*words[:place], option, *after]
        for count in (1, 3):  # 1-7, or 1 to 7
            if found := _TWO_ENDS.fullmatch(" ".join(after[:count])):
                return [*words[:place], option, found[1], found[2], *after[count:]]
    return words


def _an_end(text: str) -> float:
    """Read one end of a scale."""
    try:
        return a_number(text)
    except ArgumentTypeError:
        raise ArgumentTypeError(f"is '{text}'; it must be its two ends, such as 1 7.") from None


def build_outcome_add() -> Parser:
    """Return the parser of ``fettle outcome add``."""
    parser = _OutcomeParser(
        "fettle outcome add",
        "Define one thing that is judged: measured, rated on a scale, or compared between two variants.",
        [
            "fettle outcome add bass --unit dB --goal hit --target 0 --worst 6 --matters 1",
            "fettle outcome add boom --unit dB --from band_level --with band=40,150 relative_to=300,1000",
            "fettle outcome add echo --kind rated --scale 1 7 --goal lower --best 1 --worst 6 --matters 0.5",
            "fettle outcome add clarity --kind compared",
        ],
        run_add,
    )
    parser.add_argument("name", metavar="NAME", help="letters, digits and underscores, such as air_flow")
    _field_options(parser)
    return parser


def build_outcome_change() -> Parser:
    """Return the parser of ``fettle outcome change``."""
    parser = _OutcomeParser(
        "fettle outcome change",
        "Change a definition; what is not given stays, as far as its kind has it. A field is emptied with the word none.",
        [
            "fettle outcome change bass --matters 0.5",
            "fettle outcome change bass --goal lower --target none --best 0",
            "fettle outcome change bass --from band_level --with band=40,150",
        ],
        run_change,
    )
    parser.add_argument("name", metavar="NAME", help="the outcome to change")
    parser.add_argument("--rename", metavar="NAME", help="its new name; what speaks of it takes it over")
    _field_options(parser)
    return parser


def build_outcome_remove() -> Parser:
    """Return the parser of ``fettle outcome remove``."""
    return removal("outcome", "NAME", "fettle outcome remove decay")


def build_outcome_list() -> Parser:
    """Return the parser of ``fettle outcome list``."""
    headings = ("outcome", "kind", "wanted", "smallest difference that matters")
    return listing("outcome", headings, _row, "outcomes")


def _row(outcome: Outcome, _: Setup) -> tuple[str, ...]:
    return outcome.name, outcome.kind, wanted(outcome), _matters(outcome)


def _field_options(parser: Parser) -> None:
    add = parser.add_argument
    goals = (*get_args(Goal), "none")
    add("--kind", type=one_of(get_args(OutcomeKind)), metavar="KIND", help=f"one of {', '.join(get_args(OutcomeKind))}")
    add("--unit", help="unit of measure, such as dB")
    add("--goal", type=one_of(goals), metavar="GOAL", help=f"one of {', '.join(goals)}")
    add("--best", type=a_number_or_none, help="goals raise and lower: beyond it more is not better")
    add("--worst", nargs="+", type=a_number_or_none, help="where it is worth nothing; two numbers for two sides")
    add("--target", type=a_number_or_none, help="goal hit: the value wanted")
    add("--low", type=a_number_or_none, help="goal within: low end of what is fine")
    add("--high", type=a_number_or_none, help="goal within: high end of what is fine")
    add("--scale", nargs=2, type=_an_end, metavar=("LOW", "HIGH"), help="ends of the grading scale")
    add("--matters", type=a_number_or_none, help="smallest change worth bench time")
    add("--weight", type=not_below_zero, help="share in the overall worth, 1 by default")
    add(
        "--relative-to",
        metavar="REFERENCE",
        help="judge by the difference from this reference object; so are its goal and its ends",
    )
    add("--note", help="how to take a reading")
    add(
        "--from", dest="recipe", metavar="RECIPE", help="how 'fettle measure' computes it; see fettle measure --recipes"
    )
    add(
        "--with",
        dest="keys",
        nargs="+",
        action="extend",
        type=a_pair,
        metavar="KEY=VALUE",
        help="the recipe's keys: band=40,150",
    )


def _changes(options: Namespace) -> dict[str, Any]:
    changes = given(options, _FIELDS)
    worst = changes.get("worst")
    if worst is not None:
        if len(worst) > 2:
            raise UsageError(f"--worst has {len(worst)} numbers; it takes one, or two for a goal with two sides.")
        changes["worst"] = None if "none" in worst else worst[0] if len(worst) == 1 else list(worst)
    return changes


def run_add(options: Namespace) -> None:
    """Define an outcome."""
    project = open_project(options.project)
    outcome = record_of(Outcome, filled({"name": options.name}, _changes(options)))
    outcome = with_recipe(outcome, options.recipe, options.keys)
    _tell(outcome, project.file.change_setup("outcome", outcome))


def run_change(options: Namespace) -> None:
    """Change an outcome."""
    project = open_project(options.project)
    old = pick(project.setup.outcomes, options.name, "outcome")
    changes = _changes(options) | ({"name": options.rename} if options.rename else {})
    if not changes and not options.recipe and not options.keys:
        raise UsageError(f"Nothing about outcome {old.name} was changed; give the options that should change.")
    kept = table_of(replace(old, recipe={}))
    if changes.get("kind", old.kind) != "rated":
        kept.pop("scale", None)
    if {"scale", "goal", "relative_to"} & set(changes):  # what was an end of the scale is one of the new scale
        ends = old.reach or ()
        kept = {name: value for name, value in kept.items() if name not in ("best", "worst") or value not in ends}
    outcome = _changed(kept, changes)
    outcome = with_recipe(replace(outcome, recipe=old.recipe), options.recipe, options.keys)
    entry = project.file.change_setup("outcome", outcome, name=old.name)
    _tell(outcome, entry)
    if outcome.recipe and outcome.recipe != old.recipe:
        _tell_stale(project.file.computations(), outcome.name)


def _tell(outcome: Outcome, entry: Entry) -> None:
    """Tell what was stored, and what in it may be a slip."""
    stored(f"Stored: outcome {outcome.name}, {described(outcome)}.", entry)
    doubts([slip_in_matters(outcome)])


def _changed(old: dict[str, Any], changes: dict[str, Any]) -> Outcome:
    """Build the changed outcome; what the old goal has left behind is named with the way to empty it."""
    table = filled(old, changes)
    try:
        return record_of(Outcome, table)
    except UsageError as err:
        unfit = [name for name in GOAL_FIELDS if name in table and not fits_goal(name, table.get("goal"))]
        left = [name for name in unfit if name not in changes]
        if left:
            err.command = f"'{' '.join(f'--{name} {NOTHING}' for name in left)}' beside it takes out what was there"
        raise


def _tell_stale(computed: Sequence[Mapping[str, Any]], outcome: str) -> None:
    """Say how many readings were computed as it was before."""
    count = sum(row["outcome"] == outcome for row in computed)
    if count:
        note(f"'fettle measure --again' recomputes its {counted(count, 'reading')} from the kept files.")


def wanted(outcome: Outcome) -> str:
    """Say what would be good."""
    unit = unit_behind(outcome.unit)
    if outcome.goal is None:
        return "no goal"
    if outcome.goal == "hit":
        return f"hit {setting(outcome.target, outcome.unit)}, worth nothing at {_ends(outcome.outer)}"
    if outcome.goal == "within":
        return f"{_ends(outcome.inner, 'to')}{unit}, worth nothing at {_ends(outcome.outer)}"
    return f"{outcome.goal} to {setting(outcome.best, outcome.unit)}, worth nothing at {setting(outcome.worst)}"


def described(outcome: Outcome) -> str:
    """Say in half a sentence what an outcome is."""
    scale = f" from {_ends(outcome.scale, 'to')}" if outcome.scale is not None else ""
    recipe = f", computed from files by {outcome.recipe['from']}" if "from" in outcome.recipe else ""
    matters = f", {_matters(outcome)} matters" if outcome.matters is not None else ""
    beside = f", taken as the difference from {outcome.relative_to}" if outcome.relative_to else ""
    return f"{outcome.kind}{scale}: {wanted(outcome)}{matters}{beside}{recipe}"


def _ends(pair: Sequence[float], joiner: str = "and") -> str:
    return f"{exact(pair[0])} {joiner} {exact(pair[1])}"


def _matters(outcome: Outcome) -> str:
    if outcome.matters is None:
        return "-"
    return setting(outcome.matters, outcome.unit)
