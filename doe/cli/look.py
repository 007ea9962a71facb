"""``fettle variants``, ``show``, ``history`` and ``undo``: what is on record."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count
from doe.cli.screen import cell, print_json, say, stored, table
from doe.model.change import find_variant
from doe.model.choices import Value
from doe.model.errors import DataError
from doe.model.limit import derive_possible
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.model.told import told_variant, told_variants
from doe.model.wording import compared, duration, rounded

if TYPE_CHECKING:
    from doe.project import Project


def build_variants() -> Parser:
    """Return the parser of ``fettle variants``."""
    parser = Parser(
        "fettle variants",
        "List the variants in the order in which they were built, each outcome as the plain mean of its readings; what it is\n"
        "with sessions and raters allowed for, 'fettle analyse' works out.",
        ["fettle variants"],
        run_variants,
    )
    parser.json_option()
    return parser


def run_variants(options: Namespace) -> None:
    """List the variants."""
    project = open_project(options.project)
    known = project.snapshot()
    told = told_variants(known.variants, project.file.readings())
    if options.json:
        print_json(told)
    elif not known.variants:
        say("No variants yet; 'fettle log --help' shows how to log the first.")
    else:
        names = [factor.name for factor in known.setup.factors]
        read = [item.name for item in known.setup.outcomes if any(item.name in row["means"] for row in told)]
        rows = [
            (
                item.name,
                item.unit,
                item.parent,
                *(item.settings.get(name) for name in names),
                *(_short(row["means"].get(name)) for name in read),
                row["readings"],
                "planned" if item.status == "planned" else "",
                item.note,
            )
            for item, row in zip(known.variants, told, strict=True)
        ]
        headings = ("variant", "unit", "from", *names, *read, "readings", "status", "note")
        say(table(headings, rows, spare=("status", "note")))


def _short(value: float | None) -> float | None:
    """Return a mean with as many digits as a table has room for, whole ones all kept."""
    return value if value is None else float(rounded(value, 4))


def build_show() -> Parser:
    """Return the parser of ``fettle show``."""
    parser = Parser(
        "fettle show",
        "Show one variant: settings, what was changed, and its readings with the numbers that correct them.",
        ["fettle show 12"],
        run_show,
    )
    parser.add_argument("variant", metavar="VARIANT", help="which one")
    parser.json_option()
    return parser


def run_show(options: Namespace) -> None:
    """Show one variant."""
    project = open_project(options.project)
    known = project.snapshot()
    variant = find_variant(options.variant, known.variants)
    readings = [item for item in project.file.readings() if variant.name in (item["variant"], item["versus"])]
    if options.json:
        print_json({**told_variant(variant), "readings": readings})
        return
    parent = next((item for item in known.variants if item.name == variant.parent), None)
    say("\n".join(_facts(variant, project)))
    say()
    say(_settings(variant, parent, known.setup))
    say()
    say(_readings([_seen_from(variant.name, item) for item in readings], variant.note))


def _facts(variant: Variant, project: Project) -> list[str]:
    where = f" on {variant.unit}" if variant.unit else ""
    origin = f", changed from variant {variant.parent}" if variant.parent else ""
    lines = [f"Variant {variant.name}{where}{origin}"]
    if variant.status == "planned":
        lines.append("Planned, not built yet")
    elif variant.when is not None:
        lines.append(f"Built {cell(variant.when)}")
    if variant.minutes is not None:
        lines.append(f"Took {duration(variant.minutes)}")
    if variant.note:
        lines.append(f"Note: {variant.note}")
    files = [row["filename"] for row in project.file.attachments() if row["variant"] == variant.name]
    if files:
        lines.append(f"Files: {', '.join(files)}")
    return lines


def _settings(variant: Variant, parent: Variant | None, setup: Setup) -> str:
    if variant.is_reference:
        return "A reference object, without settings."
    before: Mapping[str, Value] = parent.settings if parent is not None else {}
    rows: list[Sequence[Any]] = []
    for factor in setup.factors:
        value, old = variant.settings.get(factor.name), before.get(factor.name)
        changed = f"was {cell(old)}" if old is not None and old != value else ""
        rows.append((factor.name, cell(value), factor.unit, changed))
    derived = derive_possible(variant.settings, setup.derived)
    rows += [(item.name, cell(derived.get(item.name)), item.unit, "") for item in setup.derived]
    return table(("factor", "setting", "unit", "changed"), rows)


def _seen_from(variant: str, item: Mapping[str, Any]) -> Mapping[str, Any]:
    """Tell a comparison as the variant's own: against which other one, and which of the two was better."""
    if item["versus"] is None:
        return item
    is_first = item["variant"] == variant
    value = item["value"] if is_first else 1 - item["value"]
    return {**item, "value": compared(value), "versus": item["versus"] if is_first else item["variant"]}


def _readings(readings: Sequence[Mapping[str, Any]], said: str) -> str:
    """Set the readings in a table; a note that was said of the variant is not said again with each of them."""
    if not readings:
        return "No readings yet."
    names = ("id", "outcome", "value", "versus", "session", "rater", "order", "when")
    rows = [[*(item[name] for name in names), "" if item["note"] == said else item["note"]] for item in readings]
    return table(("reading", *names[1:], "note"), rows, spare=(*names, "note"))


def build_history() -> Parser:
    """Return the parser of ``fettle history``."""
    parser = Parser(
        "fettle history",
        "List what was stored, and when. Nothing is ever destroyed: what was taken back or corrected is listed too.",
        ["fettle history", "fettle history --last 10"],
        run_history,
    )
    parser.add_argument("--last", type=a_count, metavar="COUNT", help="only the last ones")
    parser.json_option()
    return parser


def run_history(options: Namespace) -> None:
    """List the entries of the journal."""
    entries = open_project(options.project).file.history()
    entries = entries[-options.last :] if options.last else entries
    if options.json:
        print_json([asdict(entry) for entry in entries])
        return
    rows = [
        (entry.id, entry.at, entry.summary, f"taken back by {entry.taken_back_by}" if entry.taken_back_by else "")
        for entry in entries
    ]
    say(table(("entry", "when", "what", ""), rows))


def build_undo() -> Parser:
    """Return the parser of ``fettle undo``."""
    parser = Parser(
        "fettle undo",
        "Take one stored change back. The entry stays in the history, and undoing the undoing brings it back to life.\n"
        "Without a number it is the last change that still counts.",
        ["fettle undo", "fettle undo 17"],
        run_undo,
    )
    parser.add_argument("entry", nargs="?", type=a_count, metavar="ENTRY", help="its number in 'fettle history'")
    return parser


def run_undo(options: Namespace) -> None:
    """Take an entry back."""
    project = open_project(options.project)
    entry = options.entry if options.entry is not None else _last_change(project)
    done = project.file.take_back(entry)
    stored(f"{done.summary[0].upper()}{done.summary[1:]}.", done)


def _last_change(project: Project) -> int:
    kinds = ("create", "restore", "take back", "suggestion")
    for entry in reversed(project.file.history()):
        if entry.kind == "restore":  # what stands before it came with an export
            break
        if entry.taken_back_by is None and entry.kind not in kinds:
            return entry.id
    raise DataError("There is nothing to take back: this project holds no change since it was made.")
