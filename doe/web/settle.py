"""Settle: the permanent equivalent, tolerances, confirmation, versions and their build sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, Response

from doe.charts import text
from doe.model.errors import FettleError
from doe.model.settled import SettledVersion
from doe.model.setup import Setup
from doe.model.wording import number, with_interval
from doe.sheets.build_sheet import sheet_context
from doe.sheets.cautions import cautions
from doe.sheets.contexts import Settled, said
from doe.sheets.render import render
from doe.sheets.settled import settled
from doe.web import urls
from doe.web.contexts import Choice, Field
from doe.web.desk import Desk
from doe.web.forms import Sent
from doe.web.pages import AtDesk, go_to, page

router = APIRouter(include_in_schema=False)
_BEST = "the best variant"


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
class SettlePage:
    """The page that settles."""

    told: Told | None = field(metadata=said("answer to what was asked; None where nothing was"))
    problem: str = field(metadata=said("why there is none; may be empty"))
    find: tuple[Field, ...] = field(metadata=said("form of the permanent equivalent"))
    room: tuple[Field, ...] = field(metadata=said("form of tolerances and of the size of a confirmation"))
    confirm: tuple[Field, ...] = field(metadata=said("form that judges fresh builds; empty where none was read"))
    keep: tuple[Field, ...] = field(metadata=said("form that settles a version"))
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

    def store() -> str:
        name, builds = sent.text("name"), sent.many("build")
        version, entry = desk.project.keep_version(
            name,
            sent.text("variant") or None,
            builds=builds,
            through=sent.text("through") or None,
            note=sent.text("note")[:500],
        )
        return urls.with_done(f"{urls.settle()}#version-{version.number}", entry.id)

    try:
        return go_to(desk.once(sent.once, store))
    except FettleError as err:
        return _shown(request, desk, None, str(err), 422)


@router.get("/settle/{version}/sheet.html")
def sheet(desk: AtDesk, version: int) -> Response:
    """Serve the build sheet of a version."""
    return HTMLResponse(render("build_sheet.html", sheet_context(desk.project, desk.project.version(version))))


def _answer(desk: Desk, request: Request) -> Told | None:
    """Ask the project what the address asks."""
    asked: Mapping[str, str] = request.query_params
    project, ask = desk.project, asked.get("ask", "")
    variant, through = asked.get("variant") or None, asked.get("through") or None
    if ask == "find":
        return _told(ask, project.settle(variant, without=asked.get("without") or None, through=through).summary())
    if ask == "room":
        return _told(ask, project.tolerances(variant, through=through).summary())
    if ask == "plan":
        return _told(ask, project.plan_confirmation(variant).summary())
    if ask == "confirm":
        return _told(ask, project.confirm(request.query_params.getlist("build"), through=through).summary())
    if ask == "compare" and asked.get("first", "").isdigit() and asked.get("second", "").isdigit():
        return _compared(desk, int(asked["first"]), int(asked["second"]))
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
        lines.append(f"{text.capital(text.name(row['outcome']))}: {values}, a change of {change}: {row['verdict']}.")
    return Told("compare", f"From version {first} to version {second}", tuple(lines))


def _shown(request: Request, desk: Desk, told: Told | None, problem: str, status: int) -> Response:
    view = desk.view()
    setup, versions = view.snapshot.setup, desk.project.versions()
    read = {name for name, _ in view.tally.of_variant}
    built = [item.name for item in view.snapshot.variants if not item.is_reference and item.status == "built"]
    asked = request.query_params
    variant = _variant(built, asked.get("variant", ""))
    through = _through(setup, asked.get("through", ""))
    fresh = [name for name in reversed(built) if name in read]
    builds = Field(
        "build", "Fresh builds of the same settings", "many", choices=_choices(fresh[:12], asked.getlist("build"))
    )
    name = Field("name", "What to call it", is_needed=True, hint="Such as: kitchen radio.")
    context = SettlePage(
        told=told,
        problem=problem,
        find=(variant, _stand_in(setup, asked.get("without", ""))),
        room=(variant, *through),
        confirm=(builds, *through) if fresh else (),
        keep=(name, variant, builds, *through, Field("note", "Note", "long")) if built else (),
        compare=_two(versions, asked.get("first", ""), asked.get("second", "")),
        versions=tuple(
            VersionRow(words, f"version-{version.number}", urls.settle_sheet(version.number))
            for words, version in zip(settled(setup, versions), reversed(versions), strict=True)
        ),
        cautions=cautions(setup),
    )
    return page(request, "settle.html", context, status)


def _choices(names: Sequence[str], chosen: Sequence[str]) -> tuple[Choice, ...]:
    return tuple(Choice(name, name, name in chosen) for name in names)


def _variant(built: Sequence[str], chosen: str) -> Field:
    choices = (Choice("", _BEST, not chosen), *_choices(built, [chosen]))
    return Field("variant", "Variant", "list", choices=choices)


def _stand_in(setup: Setup, chosen: str) -> Field:
    parts = {name for quantity in setup.derived for name in quantity.parsed.names}
    names = [factor.name for factor in setup.factors if factor.name in parts]
    choices = (Choice("", "whatever goes back and forth", not chosen), *_choices(names, [chosen]))
    return Field("without", "Stand-in to take away", "list", choices=choices)


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
