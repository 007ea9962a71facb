"""``fettle session``: sittings in which readings are taken under the same conditions."""

from __future__ import annotations

from argparse import Namespace

from doe.cli.chosen import open_project
from doe.cli.parser import Parser, a_time
from doe.cli.screen import print_json, say, stored, table
from doe.model.records import Session
from doe.model.told import told_prepared, told_session


def build_session_add() -> Parser:
    """Return the parser of ``fettle session add``."""
    parser = Parser(
        "fettle session add",
        "Add a session with its time and conditions. 'fettle read --session NAME' makes one too, without a note.",
        ['fettle session add "Tuesday evening" --note "small room, three listeners"'],
        run_add,
    )
    parser.add_argument("name", metavar="NAME", help="its label")
    parser.add_argument("--when", type=a_time, metavar="TIME", help="when, as 2026-03-03 or 2026-03-03 19:30; now")
    parser.add_argument("--note", default="", help="room, level, who was there")
    return parser


def run_add(options: Namespace) -> None:
    """Add a session."""
    from doe.store.clock import now

    session = Session(options.name, options.when or now(), options.note)
    entry = open_project(options.project).file.add_session(session)
    stored(f"Stored: session {session.name}.", entry)


def build_session_list() -> Parser:
    """Return the parser of ``fettle session list``."""
    parser = Parser(
        "fettle session list",
        "List the sessions and how much was read in each; of one that is still blind, how much is judged.",
        ["fettle session list"],
        run_list,
    )
    parser.json_option()
    return parser


def run_list(options: Namespace) -> None:
    """List the sessions."""
    file = open_project(options.project).file
    readings = file.readings()
    rows = [told_session(session, readings) for session in file.sessions()]
    rows += [
        told_prepared(item.session, len(item.judgements))
        for item in file.prepared_sessions()
        if not item.session.is_closed
    ]
    if options.json:
        print_json(rows)
    elif not rows:
        say("No sessions yet; 'fettle read --session NAME' makes the first.")
    else:
        cells = [{**row, "raters": ", ".join(row["raters"]) or "-"} for row in rows]
        say(table(list(cells[0]), [list(row.values()) for row in cells], spare=("note", "blind")))
