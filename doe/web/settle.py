"""Settle: the permanent equivalent, tolerances, confirmation, versions and their build sheets."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from hashlib import sha256

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, Response

from doe.charts import text
from doe.model.errors import DataError, FettleError
from doe.model.names import check_label
from doe.model.records import Variant
from doe.model.settled import SettledVersion
from doe.model.setup import Setup
from doe.model.wording import capital, number, with_interval
from doe.sheets.build_sheet import sheet_context
from doe.sheets.cautions import cautions
from doe.sheets.contexts import Settled, said
from doe.sheets.render import render
from doe.sheets.settled import settled
from doe.web import urls
from doe.web.contexts import Choice, Field
from doe.web.desk import Desk
from doe.web.forms import Posted, Sent, at_most
from doe.web.pages import AtDesk, best_of, go_to, known_version, page, think

router = APIRouter(include_in_schema=False)
_BEST = "the best variant"
_VERSION = re.compile("[0-9]{1,9}")
_NAME = "What to call it"
_BUILDS = "Fresh builds of the same settings"
_MOST_NAME, _MOST_NOTE = 80, 500
_ABOUT = (
    (r"What to call it|A version is called", "name"),
    (r"The fresh builds|Nothing but these builds|Nothing has been read of variant|.* has other settings than", "build"),
    (r"There is no variant|Variant '|No variant is known", "variant"),
    (r".* is no derived quantity", "through"),
    (r"Note has", "note"),
)
"""How sentences begin that are about a field of the form that settles a version."""


@dataclass(frozen=True, slots=True)
class Told:
    """The answer to what was asked."""

    id: str = field(metadata=said("of its section"))
    headline: str = field(metadata=said("the answer in one sentence"))
    lines: tuple[str, ...] = field(metadata=said("what else it says, a line each"))


@dataclass(frozen=True, slots=True)
class VersionRow:
    """A settled version with its sheet."""

    told: Settled = field(metadata=said("the version in words"))
    id: str = field(metadata=said("of its card"))
    sheet: str = field(metadata=said("address of its build sheet"))


@dataclass(frozen=True, slots=True)
class Keeping:
    """The form that settles a version, on its way back: what was typed, and what was wrong with it."""

    values: Mapping[str, str]
    builds: Sequence[str] = ()
    error: str = ""

    @property
    def about(self) -> str:
        """The field that the sentence is about; empty if it is none."""
        return next((name for start, name in _ABOUT if re.match(start, self.error)), "")


@dataclass(frozen=True, slots=True)
class SettlePage:
    """The page that settles."""

    told: Told | None = field(metadata=said("answer to what was asked; None where nothing was"))
    problem: str = field(metadata=said("why there is none; may be empty"))
    find: tuple[Field, ...] = field(metadata=said("form of the permanent equivalent; empty where nothing is built"))
    room: tuple[Field, ...] = field(
        metadata=said("form of tolerances and of the size of a confirmation; empty likewise")
    )
    confirm: tuple[Field, ...] = field(metadata=said("form that judges fresh builds; empty where none was read"))
    keep: tuple[Field, ...] = field(metadata=said("form that settles a version"))
    keep_error: str = field(metadata=said("why the version was not settled, where no field is to blame"))
    compare: tuple[Field, ...] = field(metadata=said("form that compares two versions; empty with fewer than two"))
    versions: tuple[VersionRow, ...] = field(metadata=said("settled versions, the newest first"))
    cautions: tuple[str, ...] = field(metadata=said("the usual cautions"))


@router.get("/settle")
def show(request: Request, desk: AtDesk) -> Response:
    """Show what is settled, and answer what is asked."""
    told, problem = None, ""
    try:
        told = _answer(desk, request)
    except FettleError as err:
        problem = str(err)
    return _shown(request, desk, told, problem, 422 if problem else 200)


@router.post("/settle/keep")
def keep(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Settle a version."""
    if sent.text("look"):
        return _shown(request, desk, None, "", 200, _sent(sent))

    def store() -> str:
        builds = sent.many("build")
        if not sent.text("name"):
            raise DataError(f"{_NAME} is empty; it must be a label, such as 'kitchen radio'.")
        version, entry = desk.project.keep_version(
            check_label(_NAME, sent.text("name"), _MOST_NAME),
            sent.text("variant") or (_best_now(desk) if builds else None),  # a tick never chooses the variant
            builds=builds,
            through=sent.text("through") or None,
            note=at_most(sent.text("note"), "Note", _MOST_NOTE),
        )
        return urls.with_done(f"{urls.settle()}#version-{version.number}", entry.id)

    try:
        return go_to(desk.once(sent, store))
    except FettleError as err:
        return _shown(request, desk, None, "", 422, _sent(sent, str(err)))


def _sent(sent: Posted, error: str = "") -> Keeping:
    """Return the form as it was sent."""
    return Keeping(
        {name: sent.text(name) for name in ("name", "variant", "through", "note")}, sent.many("build"), error
    )


def _best_now(desk: Desk) -> str:
    """Return the best variant of the log as it is now.

    Raises
    ------
    DataError
        If none can be said to be the best.
    """
    known = think(desk)
    if known.is_fresh and best_of(known):
        return best_of(known)
    best = text.plain(desk.project.recommend().best.get("variant"))
    if not best:
        raise DataError("No variant is known to be the best yet; choose the one that is meant.")
    return best


@router.get("/settle/{version}/sheet.html")
def sheet(desk: AtDesk, version: int) -> Response:
    """Serve the build sheet of a version: one file with its style inside, which the pages' own policy would not let in."""
    made = render("build_sheet.html", sheet_context(desk.project, known_version(desk.project, version)))
    return HTMLResponse(made, headers={"Content-Security-Policy": _policy_of(made)})


def _policy_of(sheet: str) -> str:
    """Let the styles in that the sheet was made with, and nothing else."""
    styles = re.findall(r"<style>(.*?)</style>", sheet, re.DOTALL)
    hashes = " ".join(f"'sha256-{b64encode(sha256(style.encode()).digest()).decode()}'" for style in styles)
    return f"default-src 'none'; style-src {hashes}; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def _answer(desk: Desk, request: Request) -> Told | None:
    """Ask the project what the address asks."""
    asked: Mapping[str, str] = request.query_params
    project, ask = desk.project, asked.get("ask", "")
    variant, through = asked.get("variant") or None, asked.get("through") or None
    if ask == "find":
        without, to = asked.get("without") or None, asked.get("to", "").strip() or None
        return _told(ask, project.settle(variant, without=without, to=to, through=through).summary())
    if ask == "room":
        return _told(ask, project.tolerances(variant, through=through).summary())
    if ask == "plan":
        return _told(ask, project.plan_confirmation(variant).summary())
    if ask == "confirm":
        return _told(ask, project.confirm(request.query_params.getlist("build"), through=through).summary())
    first, second = asked.get("first", ""), asked.get("second", "")
    if ask == "compare" and _VERSION.fullmatch(first) and _VERSION.fullmatch(second):
        return _compared(desk, int(first), int(second))
    return None


def _told(ask: str, summary: str) -> Told:
    headline, *lines = [line.strip() for line in summary.split("\n") if line.strip()]
    return Told(ask, headline, tuple(lines))


def _compared(desk: Desk, first: int, second: int) -> Told:
    units = {outcome.name: outcome.unit for outcome in desk.project.setup.outcomes}
    lines = []
    for row in desk.project.compare_versions(first, second).to_dict("records"):
        unit = units.get(row["outcome"], "")
        change = with_interval(row["difference"], row["low"], row["high"], unit, is_change=True)
        values = f"{number(row['first'])} and {number(row['second'])}"
        lines.append(f"{capital(text.name(row['outcome']))}: {values}, a change of {change}: {row['verdict']}.")
    return Told("compare", f"From version {first} to version {second}", tuple(lines))


def _shown(
    request: Request, desk: Desk, told: Told | None, problem: str, status: int, keeping: Keeping | None = None
) -> Response:
    view = desk.view()
    setup, versions = view.snapshot.setup, desk.project.versions()
    read = {name for name, _ in view.tally.of_variant}
    built = [item for item in view.snapshot.variants if not item.is_reference and item.status == "built"]
    names = [item.name for item in built]
    asked = request.query_params
    if keeping is None:
        keeping = Keeping({name: asked.get(name, "") for name in ("variant", "through")}, asked.getlist("build"))
    variant, through = _variant(names, asked.get("variant", "")), _through(setup, asked.get("through", ""))
    fresh = [name for name in reversed(names) if name in read]
    builds = Field("build", _BUILDS, "many", choices=_choices(fresh[:12], asked.getlist("build")))
    keep = _keep_fields(setup, built, read, keeping, best_of(think(desk, is_patient=False))) if built else ()
    context = SettlePage(
        told=told,
        problem=problem,
        find=(variant, *_stand_in(setup, asked)) if built else (),
        room=(variant, *through) if built else (),
        confirm=(builds, *through) if fresh else (),
        keep=keep,
        keep_error="" if any(item.error for item in keep) else keeping.error,
        compare=_two(versions, asked.get("first", ""), asked.get("second", "")),
        versions=tuple(
            VersionRow(words, f"version-{version.number}", urls.settle_sheet(version.number))
            for words, version in zip(settled(setup, versions), reversed(versions), strict=True)
        ),
        cautions=cautions(setup),
    )
    return page(request, "settle.html", context, status)


def _keep_fields(
    setup: Setup, built: Sequence[Variant], read: Set[str], keeping: Keeping, best: str
) -> tuple[Field, ...]:
    typed = keeping.values
    chosen = typed.get("variant", "")
    fields = (
        Field("name", _NAME, value=typed.get("name", ""), is_needed=True, hint="Such as: kitchen radio."),
        _variant([item.name for item in built], chosen),
        _fresh_builds(built, read, chosen or best, keeping),
        *_through(setup, typed.get("through", "")),
        Field("note", "Note", "long", typed.get("note", "")),
    )
    return tuple(replace(item, error=keeping.error if item.name == keeping.about else "") for item in fields)


def _fresh_builds(built: Sequence[Variant], read: Set[str], kept: str, keeping: Keeping) -> Field:
    """Offer the builds that have the settings of the variant that is kept, and whatever was ticked and refused."""
    own = next((item for item in built if item.name == kept), None)
    same = [item.name for item in reversed(built) if own and item.name in read and item.settings == own.settings]
    refused = [item.name for item in built if item.name in keeping.builds] if keeping.error else []
    choices = tuple(
        Choice(name, f"{name} itself" if name == kept else name, name in keeping.builds)
        for name in dict.fromkeys([*same, *refused])
    )
    if own is None:
        hint = "Which variant is the best is not worked out yet: choose one above, and show its builds."
    elif set(same) <= {kept}:
        hint = f"No other build with the settings of variant {kept} has been read yet."
    else:
        hint = f"Those with the settings of variant {kept}. Of another one chosen above: show its builds first."
    return Field("build", _BUILDS, "many", choices=choices, hint=hint)


def _choices(names: Sequence[str], chosen: Sequence[str]) -> tuple[Choice, ...]:
    return tuple(Choice(name, name, name in chosen) for name in names)


def _variant(built: Sequence[str], chosen: str) -> Field:
    choices = (Choice("", _BEST, not chosen), *_choices(built, [chosen]))
    return Field("variant", "Variant", "list", choices=choices)


def _stand_in(setup: Setup, asked: Mapping[str, str]) -> tuple[Field, ...]:
    """Ask for the stand-in, what it is set to, and, where there are several, for the quantity that it acts through."""
    chosen, through = asked.get("without", ""), asked.get("through", "")
    parts = {name for quantity in setup.derived for name in quantity.parsed.names}
    names = [factor.name for factor in setup.factors if factor.name in parts]
    choices = (Choice("", "whatever goes back and forth", not chosen), *_choices(names, [chosen]))
    hint = "Left empty: 0, the low end, or a level that is called none."
    fields = [
        Field("without", "Stand-in to take away", "list", choices=choices),
        Field("to", "Set it for good to", value=asked.get("to", ""), hint=hint),
    ]
    if len(setup.derived) > 1:
        known = _choices([item.name for item in setup.derived], [through])
        fields.append(
            Field("through", "Keep equal", "list", choices=(Choice("", "what it is part of", not through), *known))
        )
    return tuple(fields)


def _through(setup: Setup, chosen: str) -> tuple[Field, ...]:
    if not setup.derived:
        return ()
    choices = (
        Choice("", "by the factors themselves", not chosen),
        *_choices([item.name for item in setup.derived], [chosen]),
    )
    return (
        Field(
            "through",
            "Predict",
            "list",
            choices=choices,
            hint="Through a quantity where the log says that it is what counts.",
        ),
    )


def _two(versions: Sequence[SettledVersion], first: str, second: str) -> tuple[Field, ...]:
    if len(versions) < 2:
        return ()
    names = [(str(item.number), f"{item.number}, {item.name}") for item in versions]

    def one(name: str, label: str, chosen: str) -> Field:
        return Field(
            name, label, "list", choices=tuple(Choice(value, shown, value == chosen) for value, shown in names)
        )

    return one("first", "Version", first or names[-2][0]), one("second", "with version", second or names[-1][0])
