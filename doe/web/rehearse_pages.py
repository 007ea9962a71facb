"""Rehearse: how many builds and hours it will take, played on simulated benches before anything is built."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.model.errors import DataError
from doe.model.numbers import read_hours, read_number
from doe.model.wording import counted, number
from doe.sheets.pictures import page_settings, picture
from doe.web import urls
from doe.web.contexts import Choice, Field
from doe.web.definition_faults import NotRead
from doe.web.desk import Desk
from doe.web.forms import Sent, marked, way_back
from doe.web.pages import AtDesk, go_to, page
from doe.web.plan_contexts import RehearsePage
from doe.web.planner import Planner, Tell, Worked

if TYPE_CHECKING:
    from doe.model.records import Unit
    from doe.model.setup import Setup
    from doe.rehearse import Rehearsal

router = APIRouter(include_in_schema=False)

_USUAL = {"hours": "24", "benches": "20", "scatter": "10"}
_AMOUNTS = {
    "hours": ("Bench time", "h", 1000, "All that can be spent, readings included."),
    "benches": ("Benches to play", "", 100, "20 take a minute or two; more are surer."),
    "scatter": ("Scatter of one reading", "%", 99, "As a share of each outcome's range from worst to best."),
}
"""Label, unit, the most, and what is meant."""
_COMPARE = "play textbook ways of working on the same benches too; it takes several times as long"


@dataclass(frozen=True, slots=True)
class _Wish:
    """What is to be played."""

    hours: float
    benches: int
    noise: float
    is_compared: bool


@router.get("/rehearse")
def show(request: Request, desk: AtDesk) -> Response:
    """Play what is asked for, and show what came of it."""
    sent = request.query_params
    asked = {name: sent.get(name, "").strip()[:40] or _USUAL.get(name, "") for name in (*_USUAL, "compare")}
    if not sent.keys() & asked.keys():
        return page(request, "rehearse.html", _context(desk, Worked(), asked, {}))
    try:
        wish = _read(asked)
    except NotRead as err:
        return page(request, "rehearse.html", _context(desk, Worked(), asked, err.errors), 422)
    found = _rehearser(request).ask(_key(desk, wish), lambda tell: _played(desk, wish, tell), desk.settings.patience_s)
    return page(request, "rehearse.html", _context(desk, found, asked, {}), 422 if found.refusal else 200)


@router.post("/rehearse/stop")
def stop(request: Request, sent: Sent) -> Response:
    """End a rehearsal with the benches played so far, and go back to where it was asked for."""
    _rehearser(request).stop()
    return go_to(way_back(sent, urls.rehearse(), urls.rehearse()))


def _rehearser(request: Request) -> Planner:
    """Return what plays rehearsals for this app, so that no plan has to wait for them."""
    rehearser: Planner = request.app.state.rehearser
    return rehearser


def _key(desk: Desk, wish: _Wish) -> tuple[object, ...]:
    """Return what the answer depends on: definitions and the unit to begin with, but no reading."""
    setup, unit = _begun(desk)
    return ("rehearse", repr(setup), repr(unit), wish)


def _begun(desk: Desk) -> tuple[Setup, Unit | None]:
    from doe.rehearse.begin import unit_at_hand

    snapshot = desk.view().snapshot
    return snapshot.setup, unit_at_hand(snapshot.units, snapshot.setup.factors)


def _played(desk: Desk, wish: _Wish, tell: Tell) -> Rehearsal:
    from doe.rehearse import rehearse

    setup, unit = _begun(desk)
    return rehearse(
        setup,
        hours=wish.hours,
        benches=wish.benches,
        noise=wish.noise,
        start=dict(unit.settings) if unit is not None else None,
        jobs=-1,
        progress=lambda done, count: tell(done / count, f"{done} of {counted(count, 'bench', 'benches')}"),
        compare=wish.is_compared,
    )


def _read(asked: Mapping[str, str]) -> _Wish:
    """Read what was typed.

    Raises
    ------
    NotRead
        Naming every field that is wrong.
    """
    amounts, errors = {}, {}
    for name in _AMOUNTS:
        try:
            amounts[name] = _amount(name, asked[name])
        except DataError as err:
            errors[name] = str(err)
    if errors:
        raise NotRead(errors)
    is_compared = asked["compare"] == "yes"
    return _Wish(amounts["hours"], int(amounts["benches"]), amounts["scatter"] / 100, is_compared)


def _amount(name: str, typed: str) -> float:
    label, unit, most, _ = _AMOUNTS[name]
    amount = (read_hours if name == "hours" else read_number)(typed.removesuffix(unit).strip(), label)
    is_whole = name == "benches"
    if not 0 < amount <= most or (is_whole and amount % 1):
        allowed = f"a whole number from 1 to {most}" if is_whole else f"more than 0 and at most {most}"
        raise DataError(f"{label} is '{typed}'; it must be {allowed}.")
    return amount


def _context(desk: Desk, found: Worked, asked: Mapping[str, str], errors: Mapping[str, str]) -> RehearsePage:
    answer: Rehearsal | None = found.answer
    return RehearsePage(
        heading=answer.headline if answer is not None else "",
        sentences=answer.sentences if answer is not None else (),
        notes=_notes(desk, answer) if answer is not None else (),
        ways=tuple(answer.compared("what Next change says")) if answer is not None else (),
        headings=_headings() if answer is not None else (),
        pictures=(picture("course", answer, "rehearsal"),) if answer is not None else (),
        fields=_fields(asked, errors),
        step=(found.step or "the rehearsal") if found.is_working else "",
        back=urls.rehearse(asked=asked.items()),
        error=marked(len(errors), "played") if errors else found.refusal,
        is_refused=bool(found.refusal),
        settings=page_settings(),
    )


def _notes(desk: Desk, answer: Rehearsal) -> tuple[str, ...]:
    from doe.rehearse.begin import begins_with

    scatters = f"Each reading scatters by {number(100 * answer.noise)} % of its outcome's range."
    return (*answer.notes, f"{begins_with(_begun(desk)[1])} {scatters}")


def _headings() -> tuple[str, ...]:
    from doe.rehearse.answer import WAYS

    return WAYS


def _fields(asked: Mapping[str, str], errors: Mapping[str, str]) -> tuple[Field, ...]:
    amounts = (
        Field(name, label, "number", asked[name], unit, hint, errors.get(name, ""))
        for name, (label, unit, _, hint) in _AMOUNTS.items()
    )
    compare = Field("compare", "Beside it", "many", choices=(Choice("yes", _COMPARE, asked["compare"] == "yes"),))
    return (*amounts, compare)
