"""``fettle symptom``: from what is wrong to what is usually tried."""

from __future__ import annotations

import os
from argparse import Namespace
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from doe.cli.chosen import open_project, projects_in
from doe.cli.parser import Parser
from doe.cli.screen import heading, note, print_json, say
from doe.model.wording import duration

if TYPE_CHECKING:
    from doe.guides.symptoms import Symptom, Tries, Try
    from doe.model.setup import Setup


def build_symptom() -> Parser:
    """Return the parser of ``fettle symptom``."""
    parser = Parser(
        "fettle symptom",
        "Say what is wrong in a word or two, and see what is usually tried, why, and what is cheapest to try first with the\n"
        "factors of your own project. Without words the symptoms are listed. These are rules of the trade, not findings:\n"
        "'fettle analyse' says what your own log knows.",
        ["fettle symptom", "fettle symptom boomy", "fettle symptom runs hot"],
        run_symptom,
    )
    parser.add_argument("words", nargs="*", metavar="WORD", help="what is wrong; without it the symptoms are listed")
    parser.json_option()
    return parser


def run_symptom(options: Namespace) -> None:
    """List the symptoms, or tell what is tried against one."""
    from doe.guides.symptoms import symptom, symptoms, tries

    if not options.words:
        if options.json:
            print_json([asdict(item) for item in symptoms()])
        else:
            say("\n".join(f"{heading(item.name)}: {item.told}" for item in symptoms()))
        return
    found = tries(symptom(" ".join(options.words)), _definitions(options.project))
    if options.json:
        print_json(asdict(found))
        return
    say("\n".join(_lines(found)))


def _definitions(named: str | None) -> Setup:
    """Return the definitions of the project at hand; empty ones where there is none, since the rules hold without."""
    from doe.model.setup import Setup

    if not named and not os.environ.get("FETTLE_PROJECT") and not projects_in(Path()):
        note("There is no project in this folder, so these are the rules alone.")
        return Setup()
    return open_project(named).setup


def _lines(found: Tries) -> list[str]:
    item: Symptom = found.symptom
    lines = [f"{heading(item.name.capitalize())}: {item.told}", f"First: {item.check}"]
    lines += [f"Take care: {item.caution}"] if item.caution else []
    if found.here:
        lines += ["", heading("With your factors, cheapest first")]
        lines += [line for place, each in enumerate(found.here, start=1) for line in _tried(each, f"{place}. ")]
    if found.seldom:
        lines += ["", heading("Seldom helps")]
        lines += [line for each in found.seldom for line in _tried(each, "")]
    if found.elsewhere:
        lines += ["", heading("Usually tried, too" if found.here else "Usually tried")]
        lines += [line for idea in found.elsewhere for line in (f"  {idea.what}", f"     {idea.why} ({idea.source})")]
    return lines


def _tried(each: Try, number: str) -> list[str]:
    cost = f", {duration(each.minutes)}" if each.minutes else ""
    way = f"; {each.way_told}" if each.way_told else ""
    return [
        f"  {number}{each.factor}: {each.idea.what}{cost}{way}",
        f"     {each.idea.why} ({each.idea.source})",
    ]
