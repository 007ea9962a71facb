"""``fettle read``: readings of a variant."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_count, a_pair, a_time
from doe.cli.screen import doubts, note, print_json, stored
from doe.model.change import find_variant
from doe.model.errors import DataError, UsageError
from doe.model.outcome import Outcome
from doe.model.records import Reading
from doe.model.slips import new_session
from doe.model.told import told_reading
from doe.model.wording import rounded

if TYPE_CHECKING:
    from doe.project import Project


class _ReadParser(Parser):
    """A parser that sees when the variant was left out, so that the first reading stands in its place."""

    def parse_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: Namespace | None = None
    ) -> Namespace:
        read = namespace or Namespace()
        try:
            return super().parse_args(args, read)
        except UsageError:
            if "=" in (getattr(read, "variant", None) or "") and not getattr(read, "values", None):
                raise _no_variant(read.variant) from None
            raise


def _no_variant(first: str) -> UsageError:
    return UsageError(f"The variant that was read is missing; name it before '{first}'.")


def build_read() -> Parser:
    """Return the parser of ``fettle read``."""
    parser = _ReadParser(
        "fettle read",
        "Log readings of a variant as they were taken, each one by itself, never an average. An outcome may be given\n"
        "several times. A comparison names the second variant and says first, second or tie.",
        [
            "fettle read 12 bass=1.5 bass=1.7 --session Tuesday",
            "fettle read 12 echo=3 --session Tuesday --rater Ann --order 3",
            "fettle read 12 clarity=first --versus 11 --rater Ann",
        ],
        run_read,
    )
    add = parser.add_argument
    add("variant", metavar="VARIANT", help="what was read")
    add("values", nargs="+", type=a_pair, metavar="OUTCOME=VALUE", help="what came out")
    add("--versus", metavar="VARIANT", help="the second variant of a comparison")
    add("--session", metavar="NAME", help="the sitting; a new name makes a new session")
    add("--rater", metavar="NAME", help="who judged")
    add("--order", type=a_count, metavar="PLACE", help="place in the order of the session, from 1")
    add("--when", type=a_time, metavar="TIME", help="when, as 2026-03-03 or 2026-03-03 19:30; now")
    add("--note", default="", help="free text")
    parser.json_option()
    return parser


def run_read(options: Namespace) -> None:
    """Log readings."""
    project = open_project(options.project)
    if "=" in options.variant:
        _check_variant(project, options.variant)
    done = project.read(
        options.variant,
        options.values,
        versus=options.versus,
        session=options.session,
        rater=options.rater,
        order=options.order,
        when=options.when,
        note=options.note,
    )
    if options.json:
        readings = [told_reading(reading) for reading in done.readings]
        print_json({"entry": done.entry.id, "readings": readings, "notes": list(done.notes)})
        return
    stored(_told(done.readings, done.setup.outcomes), done.entry)
    doubts(done.notes)
    if done.is_new_session:
        warn_of_near_names(project, str(options.session))


def _check_variant(project: Project, variant: str) -> None:
    """Refuse a reading in the place of the variant, unless a variant is called so."""
    try:
        find_variant(variant, project.file.variants())
    except DataError:
        raise _no_variant(variant) from None


def _told(readings: Sequence[Reading], outcomes: Sequence[Outcome]) -> str:
    first = readings[0]
    parts = [f"variant {first.variant}"]
    parts += [f"against variant {first.versus}"] if first.versus else []
    parts += [f"session {first.session}"] if first.session else []
    parts += [f"by {first.rater}"] if first.rater else []
    parts += [f"place {first.order}"] if first.order else []
    units = {outcome.name: outcome.unit for outcome in outcomes}
    width = max(len(reading.outcome) for reading in readings)
    lines = [f"Stored: {', '.join(parts)}:"]
    lines += [f"  {item.outcome:<{width}}  {_value(item)} {units[item.outcome]}".rstrip() for item in readings]
    return "\n".join(lines)


def _value(reading: Reading) -> str:
    if reading.versus is None:
        return rounded(reading.value)
    if reading.value == 0.5:
        return "tie"
    return f"variant {reading.variant if reading.value == 1 else reading.versus} was better"


def warn_of_near_names(project: Project, session: str) -> None:
    """Say that a session is new, and what it may be a misspelling of."""
    note(new_session(session, [item.name for item in project.file.sessions()]))
