"""``fettle log``: what was changed, on which unit."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_pair, a_time, bench_minutes, not_below_zero, once
from doe.cli.screen import doubts, note, print_json, say, table
from doe.model.errors import DataError, UsageError, listed
from doe.model.names import quoted
from doe.model.wording import cell_text, duration

if TYPE_CHECKING:
    from doe.project import Project
    from doe.store.receipts import Logged


def build_log() -> Parser:
    """Return the parser of ``fettle log``."""
    parser = Parser(
        "fettle log",
        "Log a variant by what was changed. It starts from what the unit carries now, or from the variant that --from\n"
        "names; every factor that is not given keeps its setting. The first variant needs a setting for each factor.",
        [
            "fettle log vents=5",
            'fettle log --set wool=20 driver=poly --unit "body B" --note "sounds fuller" --minutes 40',
            'fettle log --from 12 --new-unit "body F" --set rings=8 --photo back.jpg',
            'fettle log --planned 14 --unit "body A" --minutes 25',
            'fettle log --reference "shop radio"',
        ],
        run_log,
    )
    add = parser.add_argument
    add("changes", nargs="*", type=a_pair, metavar="FACTOR=SETTING", help="what was changed")
    add("--set", nargs="+", action="extend", type=a_pair, metavar="FACTOR=SETTING", help="the same, as an option")
    add("--unit", metavar="NAME", help="the unit that was changed; not needed if there is only one")
    add("--new-unit", nargs="?", const="", metavar="NAME", help="it was made as a new unit; without a name the next")
    add("--from", dest="start", metavar="VARIANT", help="variant whose settings it starts from")
    add("--planned", metavar="VARIANT", help="the planned variant that was built; give only what came out otherwise")
    add("--name", metavar="VARIANT", help="its own label instead of the next number")
    add("--again", action="store_true", help="nothing was changed, but the unit was taken apart and put together again")
    add("--reference", metavar="NAME", help="log a reference object, which has no settings, such as a bought radio")
    add("--minutes", type=bench_minutes, help="bench minutes that it really took, or a time such as 4h10")
    add("--price", type=not_below_zero, metavar="MONEY", help="money that it really took")
    add("--when", type=a_time, metavar="TIME", help="when it was built, as 2026-03-03 or 2026-03-03 19:30; now")
    add("--note", default="", help="free text")
    add("--photo", action="append", default=[], metavar="FILE", help="photo to keep beside the project; repeatable")
    parser.json_option()
    return parser


def run_log(options: Namespace) -> None:
    """Log a variant."""
    project = open_project(options.project)
    photos = [(Path(path).name, _photo(Path(path))) for path in options.photo]
    logged = (
        _reference(project, options, photos) if options.reference is not None else _variant(project, options, photos)
    )
    if options.json:
        print_json(logged.told())
        return
    say(_told(logged))
    for name, _ in photos:
        say(f"Photo {name} is kept beside the project.")
    entries = [*logged.photo_entries[::-1], logged.entry]
    undo = listed([f"'fettle undo {entry.id}'" for entry in entries], "and")
    say(f"Take it back with {undo}.")
    doubts(logged.notes)
    note(f"Next: log what is read of it with 'fettle read {quoted(logged.variant.name)} OUTCOME=VALUE'.")


def _variant(project: Project, options: Namespace, photos: list[tuple[str, bytes]]) -> Logged:
    pairs = [*options.changes, *(options.set or [])]
    new_unit = options.new_unit
    if new_unit and "=" in new_unit:  # '--new-unit rings=8': the name was left out
        pairs, new_unit = [a_pair(new_unit), *pairs], ""
    return project.log(
        once(pairs),
        unit=options.unit,
        new_unit=new_unit,
        start=options.start,
        name=options.name,
        again=options.again,
        planned=options.planned,
        minutes=options.minutes,
        price=options.price,
        when=options.when,
        note=options.note,
        photos=photos,
    )


def _reference(project: Project, options: Namespace, photos: list[tuple[str, bytes]]) -> Logged:
    others = ("changes", "set", "unit", "new_unit", "start", "planned", "name", "again", "minutes", "price", "when")
    given = [getattr(options, name) for name in others]
    if any(value is not None and value is not False and value != [] for value in given):  # 0 minutes are given, too
        raise UsageError("--reference logs an object without settings, so nothing but --note and --photo goes with it.")
    return project.log_reference(options.reference, note=options.note, photos=photos)


def _photo(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as err:
        raise DataError(f"Photo '{path}' cannot be read: {(err.strerror or str(err)).lower()}.") from err


def _told(logged: Logged) -> str:
    """Say what was stored, the changes one below the other."""
    variant, change = logged.variant, logged.change
    if variant.is_reference:
        return f"Stored: reference object {variant.name}."
    where = f" on {'the new ' if change.is_new_unit else ''}unit {variant.unit}" if variant.unit else ""
    origin = f", changed from variant {change.parent}" if change.parent else ""
    units = {factor.name: factor.unit for factor in logged.setup.factors}
    rows = [
        (f"  {name}", f"{cell_text(old)} -> {cell_text(new)}" if old is not None else cell_text(new), units[name])
        for name, (old, new) in change.changed.items()
    ]
    but = logged.entry.summary.partition(", but with ")[2]
    origin += f", as planned{f', but with {but}' if but else ''}" if logged.was_planned else ""
    lines = [f"Stored: variant {variant.name}{where}{origin}{':' if rows else ', settings unchanged.'}"]
    lines += table(("", "", ""), rows).splitlines()[1:]
    if change.minutes and variant.minutes is None:
        lines.append(f"By the definitions these changes take {duration(change.minutes)} at the bench.")
    return "\n".join(lines)
