"""Route: what is built next, on which unit, in the fewest bench minutes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.charts.rows import Row, rows_of
from doe.model.change import next_unit_name
from doe.model.errors import DataError, FettleError
from doe.model.numbers import read_number
from doe.model.wording import counted, duration, number
from doe.sheets.cautions import cautions
from doe.sheets.pictures import page_settings, picture
from doe.web import urls
from doe.web.building import MINUTES, build_planned, told_at
from doe.web.contexts import Field
from doe.web.desk import Desk
from doe.web.factor_fields import in_labels
from doe.web.forms import Sent
from doe.web.pages import AtDesk, go_to, page
from doe.web.plan_contexts import RoutePage, Step
from doe.web.planner import Planner, Tell, Worked

if TYPE_CHECKING:
    from doe.advise.route import Route
    from doe.project import Project

router = APIRouter(include_in_schema=False)
_ASKED = ("shuffle", "new")
_SECONDS = 10.0


def planner_of(request: Request) -> Planner:
    """Return what works plans and routes out for this app."""
    planner: Planner = request.app.state.planner
    return planner


def in_words(message: str) -> str:
    """Write a refusal that names arguments of the planning functions as a person at a form would say it."""
    message = re.sub(r"\b(kind|model)='([\w-]+)'", r"\1 \2", message)
    message = re.sub(r"\b(blocks|centre|runs|units)=(\d+)", r"\2 \1", message)
    return message.replace("give existing=", "tick 'beside the log'").replace("fold=", "a fold-over").replace("_", " ")


@router.get("/route")
def show(request: Request, desk: AtDesk) -> Response:
    """Show the route through everything planned."""
    return _shown(request, desk, {name: request.query_params.get(name, "").strip()[:40] for name in _ASKED})


@dataclass(frozen=True, slots=True)
class _Refused:
    """A step that was not taken: what was typed, and why not."""

    variant: str
    typed: Mapping[str, str]
    why: str


def _shown(request: Request, desk: Desk, asked: Mapping[str, str], late: _Refused | None = None) -> Response:
    key = (desk.mark(), "route", *(asked[name] for name in _ASKED))
    worked = planner_of(request).ask(key, lambda tell: found(desk.project, asked, tell), desk.settings.patience_s)
    is_empty = not any(item.status == "planned" for item in desk.view().snapshot.variants)
    refused = "" if is_empty else in_words(worked.refusal)
    answer: Route | None = worked.answer
    steps = _steps(desk, answer, late) if answer is not None else ()
    if late is not None and not any(step.is_open for step in steps):
        refused = f"Variant {late.variant}: {late.why}"
    context = _context(desk, worked, asked, steps, refused)
    return page(request, "route.html", context, 422 if refused or late is not None else 200)


def found(project: Project, asked: Mapping[str, str], tell: Tell) -> Route:
    """Find the route through everything planned.

    Raises
    ------
    DataError, UsageError
        If there is none, or what is asked of it cannot be read.
    """
    more = _amount(asked.get("shuffle", ""), "More time for chance")
    new = _amount(asked.get("new", ""), "New units")
    if new is not None and new % 1:
        raise DataError(f"New units is '{asked['new']}'; it must be a whole number from 0.")
    return project.route(
        shuffle=(more or 0.0) / 100, new_units=None if new is None else int(new), seconds=_SECONDS, tell=tell
    )


def _amount(typed: str, label: str) -> float | None:
    if not typed:
        return None
    amount = read_number(typed.removesuffix("%").strip(), label)
    if not 0 <= amount <= 1000:
        raise DataError(f"{label} is '{typed}'; it must be a number from 0 to 1000.")
    return amount


def _context(desk: Desk, found: Worked, asked: Mapping[str, str], steps: tuple[Step, ...], error: str) -> RoutePage:
    answer: Route | None = found.answer
    setup = desk.view().snapshot.setup
    return RoutePage(
        heading=answer.headline if answer is not None else "",
        notes=answer.notes if answer is not None else (),
        steps=steps,
        units=_units(answer) if answer is not None else (),
        chance=_chance(answer) if answer is not None else (),
        picture=picture("route-line", answer, "route") if answer is not None else None,
        fields=(
            Field("shuffle", "More time for a random order", "number", asked["shuffle"], "%",
                  hint="25 lets a random order take a quarter more than the shortest."),
            Field("new", "Most new units", "number", asked["new"], hint="Empty: as many as save time."),
        ),
        cautions=cautions(setup) if answer is not None else (),
        step=(found.step or "the route") if found.is_working else "",
        error=error,
        settings=page_settings(),
    )  # fmt: skip


def _steps(desk: Desk, answer: Route, late: _Refused | None) -> tuple[Step, ...]:
    """Return what is done, one step after the other over all units; the first on each unit can be logged as built."""
    free = next_unit_name(desk.view().snapshot.units)
    labels = {str(unit["unit"]): free if unit["is_new"] else str(unit["unit"]) for unit in rows_of(answer.units)}
    rows = sorted(rows_of(answer.table), key=lambda row: int(row["order"]))
    return tuple(_step(row, labels.pop(str(row["unit"]), ""), late) for row in rows)


def _units(answer: Route) -> tuple[tuple[str, str], ...]:
    """Say what there is to do on each unit, in the order in which they come up."""
    rows = sorted(rows_of(answer.table), key=lambda row: int(row["order"]))
    units = {str(unit["unit"]): unit for unit in rows_of(answer.units)}
    return tuple((name, _told(units[name])) for name in dict.fromkeys(str(row["unit"]) for row in rows))


def _told(unit: Row) -> str:
    made = "to be made, " if unit["is_new"] else ""
    return f"{made}{counted(int(unit['variants']), 'variant')}, {duration(unit['minutes'])}"


def _step(row: Row, unit: str, late: _Refused | None) -> Step:
    variant = str(row["variant"])
    is_open = bool(unit) and late is not None and late.variant == variant
    fields = _built_fields(unit, late if is_open else None) if unit else ()
    return Step(
        place=int(row["order"]),
        unit=str(row["unit"]),
        variant=variant,
        href=urls.variant(variant),
        what=row["what to do"],
        takes=duration(row["minutes"]),
        fields=fields,
        is_open=is_open,
        error=late.why if is_open and late is not None and not told_at(late.why) else "",
    )


def _built_fields(unit: str, late: _Refused | None) -> tuple[Field, ...]:
    labels = {"unit": "On unit", "minutes": MINUTES}
    typed = late.typed if late is not None else {"unit": unit}
    about = told_at(late.why) if late is not None else ""
    errors = {about: in_labels(late.why, labels)} if late is not None and about else {}
    return (
        Field("unit", labels["unit"], value=typed.get("unit", ""), error=errors.get("unit", ""), is_needed=True),
        Field("minutes", MINUTES, "number", typed.get("minutes", ""), "min", error=errors.get("minutes", "")),
    )


def _chance(answer: Route) -> tuple[tuple[str, str, str, str], ...]:
    return tuple(
        (row["factor"], row["how"], str(row["changes"]), number(row["correlation"], 2))
        for row in rows_of(answer.randomised)
    )


@router.post("/route/built")
def built(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Say that a planned variant is built."""
    variant = sent.text("variant")

    def store() -> str:
        return build_planned(desk, variant, sent.text("unit"), sent.text("minutes"))

    try:
        return go_to(desk.once(sent, store))
    except FettleError as err:
        asked = {name: sent.text(name)[:40] for name in _ASKED}
        typed = {name: sent.text(name) for name in ("unit", "minutes")}
        return _shown(request, desk, asked, _Refused(variant, typed, str(err)))
