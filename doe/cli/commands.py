"""Every command, where it lives, and what it is for; nothing is imported until it is chosen."""

from __future__ import annotations

import importlib
from dataclasses import dataclass, field
from typing import Any

from doe.cli.parser import Parser
from doe.guides.topics import TOPICS
from doe.model.errors import UsageError, did_you_mean, listed

LIST = "list"


@dataclass(frozen=True, slots=True)
class Command:
    """One line of ``fettle --help``.

    Attributes
    ----------
    name : str
        As typed.
    stage : str
        Heading under which it stands.
    module : str
        Module of `doe.cli` that holds ``build_NAME``, or ``build_NAME_ACTION`` for each action; it returns a parser that
        knows what to run.
    summary : str
        What it is for, in a few words.
    actions : dict of str to str
        Second words and what each does; empty for a command that stands alone.
    """

    name: str
    stage: str
    module: str
    summary: str
    actions: dict[str, str] = field(default_factory=dict)

    def parser(self, action: str = "") -> Parser:
        """Import the command's module and return its parser."""
        name = f"build_{self.name}_{action}" if action else f"build_{self.name}"
        build: Any = getattr(importlib.import_module(f"doe.cli.{self.module}"), name)
        parser: Parser = build()
        return parser

    def help(self) -> str:
        """Return what ``fettle NAME --help`` prints for a command with actions."""
        width = max(len(action) for action in self.actions) + 2
        lines = [f"Usage: fettle {self.name} ACTION [options]", "", f"{self.summary[0].upper()}{self.summary[1:]}.", ""]
        lines += ["Actions:", *(f"  {action:<{width}}{text}" for action, text in self.actions.items())]
        lines += ["", "Examples:", *(f"  fettle {self.name} {action} --help" for action in self.actions)]
        return "\n".join(lines)

    def action_of(self, words: list[str]) -> tuple[str, list[str]]:
        """Split the second word off; without one the command lists.

        Raises
        ------
        UsageError
            If the second word is no action.
        """
        if not words or words[0].startswith("-"):
            return LIST, words
        if words[0] not in self.actions:
            hint = did_you_mean(words[0], self.actions)
            there = listed(self.actions, "and")
            raise UsageError(f"fettle {self.name} has no action '{words[0]}'; it has {there}.{hint}")
        return words[0], words[1:]


_DEFINE = {
    "add": "define a further one",
    "change": "change a definition",
    "remove": "take a definition out",
    "list": "list the definitions",
}

COMMANDS = (
    Command("demo", "Look around", "demo", "set up an invented project in a new folder and walk through it"),
    Command("serve", "Look around", "serve", "open the bench in a browser, on this machine or for phones nearby"),
    Command("init", "Frame", "start", "start a project file, empty or from a setup file"),
    Command("about", "Frame", "start", "show or set what is being tuned, and what is wrong"),
    Command("factor", "Frame", "factors", "define what can be changed, over which range, which way", _DEFINE),
    Command("outcome", "Frame", "outcomes", "define what is judged, and what would be good", _DEFINE),
    Command("derived", "Frame", "rules", "define quantities computed from factors", _DEFINE),
    Command("limit", "Frame", "rules", "define rules that every variant must keep", _DEFINE),
    Command(
        "expect",
        "Frame",
        "expectations",
        "say what you think a factor does; a mild prior that readings overrule",
        {
            "add": "say one more thing that you expect",
            "change": "change what is expected",
            "remove": "take an expectation out",
            "list": "list what is expected",
        },
    ),
    Command("effort", "Frame", "start", "show or set what bench work costs"),
    Command("symptom", "Frame", "symptom", "what is usually tried when it is boomy, harsh, hot, and why"),
    Command("estimate", "Frame", "estimate", "what a resonator, box, cavity or gap should do by theory"),
    Command(
        "unit",
        "Record",
        "units",
        "keep the list of the physical objects you build on",
        {
            "add": "add a unit that exists already",
            "retire": "mark a unit as no longer usable",
            "list": "list the units and what each carries now",
        },
    ),
    Command("log", "Record", "log", "log a variant: what was changed, on which unit"),
    Command("read", "Record", "read", "log readings of a variant: measured, rated or compared"),
    Command("measure", "Record", "measure", "measure a variant from recordings or curves, by the outcomes' recipes"),
    Command(
        "session",
        "Record",
        "sessions",
        "keep the list of sittings in which readings are taken",
        {"add": "add a session before its first reading", "list": "list the sessions"},
    ),
    Command("import", "Record", "transfer", "bring in a log kept in a spreadsheet"),
    Command("correct", "Record", "correct", "put a variant or a reading right; the history keeps the old value"),
    Command("withdraw", "Record", "correct", "take a variant or a reading out; the history keeps it"),
    Command("variants", "Look", "look", "list the variants"),
    Command("show", "Look", "look", "show one variant with its readings"),
    Command("history", "Look", "look", "list what was stored, and when"),
    Command("undo", "Look", "look", "take one stored change back"),
    Command("analyse", "Find out", "analyse", "which factor moves which outcome, by how much, how surely"),
    Command("predict", "Find out", "predict", "what settings not built yet should give, and what they take"),
    Command("next", "Choose", "advice", "the next change, most worth for its bench time"),
    Command("rehearse", "Choose", "rehearse", "how many builds and hours it will take, and what could be seen at all"),
    Command("plan", "Choose", "plan", "which runs to make before anything is built, compared and adopted"),
    Command("route", "Choose", "route", "the order and the unit for each planned variant, in the fewest minutes"),
    Command("report", "Choose", "report", "write the whole story as one page that opens offline"),
    Command(
        "settle",
        "Settle",
        "settle",
        "make it permanent: equivalent, tolerances, confirmation, versions",
        {
            "find": "find lasting settings that do what a stand-in does",
            "tolerance": "say how far each setting may drift",
            "plan": "say how many fresh builds would confirm the promise",
            "session": "prepare a blind session for fresh builds",
            "confirm": "judge fresh builds by what was promised",
            "keep": "settle a version under a name",
            "compare": "compare two versions",
            "sheet": "write the build sheet of a version",
            "list": "list the settled versions",
        },
    ),
    Command("export", "Keep safe", "transfer", "write the project out as CSV, Parquet or XLSX"),
    Command("backup", "Keep safe", "transfer", "copy the project file with its attachments"),
    Command("check", "Keep safe", "transfer", "check that the project file is sound"),
)

NAMES = tuple(command.name for command in COMMANDS)

OTHER_WORDS = {
    "redo": "'fettle undo' with the number of the undoing",
    "add": "'fettle log'",
    "delete": "'fettle withdraw'",
    "remove": "'fettle withdraw'",
    "edit": "'fettle correct'",
    "list": "'fettle variants'",
    "suggest": "'fettle next'",
    "measurements": "'fettle show VARIANT'",
    "status": "'fettle variants'",
}
"""What somebody may type who looks for a command, and what does it here."""


def find(name: str) -> Command | None:
    """Return the command of that name."""
    return next((command for command in COMMANDS if command.name == name), None)


def overview() -> str:
    """Return what ``fettle --help`` prints."""
    lines = [
        "Fettle finds out which change moves what in a prototype, and what to change next.",
        "",
        "Usage: fettle COMMAND [options]",
    ]
    for stage in dict.fromkeys(command.stage for command in COMMANDS):
        lines += ["", f"{stage}:"]
        lines += [f"  {command.name:<10}{command.summary}" for command in COMMANDS if command.stage == stage]
    lines += [
        "",
        "Options:",
        "  --project FILE  project file; otherwise FETTLE_PROJECT, or the one project in this folder",
        "  --version       print the version",
        "  --help          show this page; 'fettle COMMAND --help' explains one command",
        "",
        "Topics, each explained with an example by 'fettle help TOPIC':",
        f"{', '.join(TOPICS)}.",
        "",
        "Examples:",
        "  fettle demo",
        "  fettle init radio --setup setup.toml",
        '  fettle import log.csv --map "Bass (dB)=bass"',
        "  fettle analyse bass",
        "  fettle next",
    ]
    return "\n".join(lines)
