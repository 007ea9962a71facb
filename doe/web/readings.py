"""Readings: what a variant measures or sounds like, and putting them right."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.charts import text
from doe.model.errors import DataError, FettleError
from doe.model.numbers import parts_of
from doe.model.outcome import Outcome
from doe.model.wording import exact
from doe.sheets.cautions import LISTENING
from doe.web import urls
from doe.web.contexts import Choice, Field, FormPage
from doe.web.desk import View
from doe.web.edits import Conflict, check_unchanged, seen_mark
from doe.web.factor_fields import blame, outcome_field, reading_rows, value_text
from doe.web.forms import Posted, Sent, marked
from doe.web.pages import AtDesk, VariantName, go_to, known_variant, page, slips_told

router = APIRouter(include_in_schema=False)
_ORDER = "Place in the order"
_SITTING, _NOBODY = "One sitting under the same conditions.", "Empty for an instrument."
_SHOWN = 6
"""Readings that are told as read so far."""


@router.get("/variants/{name:path}/readings")
def show(request: Request, desk: AtDesk, name: VariantName, session: str = "", rater: str = "") -> Response:
    """Show the form that takes readings."""
    view = desk.view()
    found = known_variant(view.snapshot.variants, name)
    variant = found.name
    values = {"session": session or last_session(view), "rater": rater}
    if found.status == "planned":
        return page(request, "form.html", not_built(variant, "Readings"))
    return page(request, "form.html", _form(view, variant, values, {}, ""))


def not_built(variant: str, heading: str) -> FormPage:
    """Say of a planned variant what comes before its readings and recordings."""
    return FormPage(
        kicker=f"Variant {variant}",
        heading=heading,
        intro=(f"Variant {variant} is planned, so there is nothing to read yet. Say first that it is built.",),
        action=urls.readings(variant),
        fields=(),
        button="",
        back=urls.variant(variant),
        back_label=f"To variant {variant}: it is built",
    )


def last_session(view: View) -> str:
    """Return the session of the last reading, if that was today: one sitting goes on until it is named otherwise.

    A prepared session is passed over: closing it stored what was judged blind, and what is read by eye does not belong there.
    """
    last, blind = view.tally.last, {item.session.name for item in view.prepared}
    if last is not None and last["session"] in blind:
        last = next((item for item in reversed(view.readings) if item["session"] not in blind), None)
    is_today = last is not None and last["when"] is not None and last["when"].date() == datetime.now().date()
    return (last["session"] or "") if last is not None and is_today else ""


def _form(view: View, variant: str, values: Mapping[str, str], errors: Mapping[str, str], error: str) -> FormPage:
    setup = view.snapshot.setup
    others = [item.name for item in view.snapshot.variants if item.name != variant and item.status == "built"]
    fields = [
        outcome_field(item, values.get(f"o.{item.name}", ""), errors.get(item.name, "")) for item in setup.outcomes
    ]
    if any(item.kind == "compared" for item in setup.outcomes):
        choices = (Choice("", "-"), *(Choice(name, name, name == values.get("versus")) for name in others))
        fields.append(
            Field("versus", "Compared against", "list", choices=choices, hint="The second variant of a comparison.")
        )
    fields += [
        Field("session", "Session", value=values.get("session", ""), hint=_SITTING),
        Field("rater", "Who judged", value=values.get("rater", ""), hint=_NOBODY),
        Field("order", _ORDER, "number", values.get("order", ""), error=errors.get("order", "")),
        Field("note", "Note", "long", values.get("note", "")),
    ]
    own = view.readings_of(variant)[-_SHOWN:]
    by_ear = any(item.kind != "measured" or item.recipe for item in setup.outcomes)
    return FormPage(
        kicker=f"Variant {variant}",
        heading="Readings",
        intro=(
            "Each reading by itself, never an average; leave empty what was not read."
            if setup.outcomes
            else "This project has no outcomes yet; define in the set-up how it is judged.",
        ),
        action=urls.readings(variant),
        fields=tuple(fields) if setup.outcomes else (),
        button="Store the readings" if setup.outcomes else "",
        error=error,
        back=urls.variant(variant),
        cautions=(LISTENING,) if by_ear else (),
        draft=f"readings {variant}",
        done=tuple(
            f"{row.outcome} {row.value}{f' ({row.about})' if row.about else ''}" for row in reading_rows(own, setup)
        ),
    )


@router.post("/variants/{name:path}/readings")
def store(request: Request, sent: Sent, desk: AtDesk, name: VariantName) -> Response:
    """Store readings."""
    view = desk.view()
    variant = known_variant(view.snapshot.variants, name).name
    errors: dict[str, str] = {}

    def do() -> str:
        done = desk.project.read(
            variant,
            _typed(view, sent, errors),
            versus=sent.text("versus") or None,
            session=sent.text("session") or None,
            rater=sent.text("rater") or None,
            order=_place(sent.text("order"), errors),
            note=sent.text("note"),
        )
        first = done.readings[0]  # session and rater as they are spelled in the log
        new = [desk.new_session(str(first.session))] if done.is_new_session else []
        desk.keep_said(done.entry.id, slips_told(done.notes), new)
        again = urls.readings(variant, first.session or "", first.rater or "")
        return urls.with_done(again, done.entry.id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        error = _pinned(str(err), errors, [item.name for item in view.snapshot.setup.outcomes])
    values = {key: found[0] for key, found in sent.values.items()}
    return page(request, "form.html", _form(view, variant, values, errors, error), 422)


def _typed(view: View, sent: Posted, errors: dict[str, str]) -> list[tuple[str, object]]:
    """Return outcome and value of everything typed.

    Raises
    ------
    DataError
        If a value cannot be read; each is told at its field.
    """
    pairs: list[tuple[str, object]] = []
    compared = bool(sent.text("versus"))
    for outcome in view.snapshot.setup.outcomes:
        for value in _takes(outcome, sent.text(f"o.{outcome.name}")):
            try:
                outcome.read(value)
                pairs.append((outcome.name, value))
            except DataError as err:
                errors[outcome.name] = str(err)
            if (outcome.kind == "compared") != compared and outcome.name not in errors:
                errors[outcome.name] = (
                    f"{outcome.name} compares two variants; say below which the second one was."
                    if outcome.kind == "compared"
                    else f"{outcome.name} is no comparison; store it by itself, without a second variant."
                )
    if errors:
        raise DataError(marked(len(errors)))
    return pairs


def _takes(outcome: Outcome, typed: str) -> list[str]:
    """Return the values typed into one field."""
    if outcome.kind != "measured":
        return [typed] * bool(typed)
    return parts_of(typed, outcome.unit)


def _place(typed: str, errors: dict[str, str]) -> int | None:
    if not typed:
        return None
    if not typed.isdecimal() or len(typed) > 6 or int(typed) < 1:
        errors["order"] = f"{_ORDER} is '{typed[:40]}'; it must be a whole number from 1 to 999999."
        raise DataError(marked(1))
    return int(typed)


def _pinned(message: str, errors: dict[str, str], outcomes: list[str]) -> str:
    name = blame(message, outcomes)
    if name and name not in errors:
        errors[name] = message
        return marked(1)
    return message


@router.get("/readings/{number}/correct")
def show_correction(request: Request, desk: AtDesk, number: int) -> Response:
    """Show the form that corrects a reading."""
    item = _reading(desk.view(), number)
    return page(request, "form.html", _correction(desk.view(), item, _present(item)))


def _reading(view: View, number: int) -> Mapping[str, Any]:
    found = view.project.file.readings(number=number)
    if not found:
        raise HTTPException(404)
    return found[0]


def _as_typed(item: Mapping[str, object]) -> str:
    value = item["value"]
    if item["versus"] is not None:
        return {1.0: "first", 0.0: "second"}.get(float(str(value)), "tie")
    return exact(float(str(value)))


def _present(item: Mapping[str, object]) -> dict[str, str]:
    """Return what a reading says now, as it would be typed."""
    named = {name: str(item[name] or "") for name in ("variant", "session", "rater", "note")}
    return {"value": _as_typed(item), **named}


def _correction(
    view: View,
    item: Mapping[str, object],
    values: Mapping[str, str],
    error: str = "",
    conflict: tuple[tuple[str, str, str], ...] = (),
) -> FormPage:
    number = int(str(item["id"]))
    outcome = next(one for one in view.snapshot.setup.outcomes if one.name == item["outcome"])
    name = text.name(outcome.name)
    about = _field_of(error, outcome.name)

    def told(field: str) -> str:
        return error if field == about else ""

    return FormPage(
        kicker=f"Variant {item['variant']}",
        heading=f"Reading {number}: {name}",
        intro=(f"It stands as {value_text(item, outcome)}. The history keeps what was there before.",),
        action=urls.reading(number, "correct"),
        fields=(
            Field(
                "value",
                f"What {name} should have been",
                "number" if item["versus"] is None else "list",
                values["value"],
                error=told("value"),
                choices=_verdicts(item, values["value"]),
            ),
            Field("variant", "Of variant", "list", choices=_built(view, values["variant"]), error=told("variant")),
            Field("session", "Session", value=values["session"], hint=_SITTING, error=told("session")),
            Field("rater", "Who judged", value=values["rater"], hint=_NOBODY, error=told("rater")),
            Field("note", "Note", "long", values["note"]),
        ),
        button="Store the correction",
        error=marked(1) if about else error,
        hidden=(("seen", _seen(item)),),
        back=urls.variant(str(item["variant"])),
        remove=((urls.reading(number, "withdraw"), "Take this reading out", ""),),
        conflict=conflict,
    )


def _field_of(message: str, outcome: str) -> str:
    """Return the field of a correction that a sentence is about; empty if it is none."""
    named = {f"{outcome} ": "value", "Variant ": "variant", "Session '": "session", "Rater '": "rater"}
    return next((field for start, field in named.items() if message.startswith(start)), "")


def _verdicts(item: Mapping[str, object], chosen: str) -> tuple[Choice, ...]:
    """Return what a comparison can have come to; a phone has no letters for a number."""
    words = {"first": f"variant {item['variant']} better", "second": f"variant {item['versus']} better", "tie": "tie"}
    return tuple(Choice(word, shown, word == chosen) for word, shown in words.items())


def _built(view: View, chosen: str) -> tuple[Choice, ...]:
    names = [item.name for item in view.snapshot.variants if item.status != "planned"]
    return tuple(Choice(name, name, name == chosen) for name in names)


def _seen(item: Mapping[str, object]) -> str:
    return seen_mark({**_present(item), "value": item["value"]})


@router.post("/readings/{number}/correct")
def correct(request: Request, sent: Sent, desk: AtDesk, number: int) -> Response:
    """Store a corrected reading."""
    typed = {name: sent.text(name) for name in ("value", "variant", "session", "rater", "note")}

    def do() -> str:
        item = _reading(desk.view(), number)
        present = _present(item)
        check_unchanged(sent.text("seen"), _seen(item), present, typed)
        changed = {name: told for name, told in typed.items() if told != present[name]}
        entry = desk.project.file.correct_reading(number, **changed)
        return urls.with_done(urls.variant(entry.subject), entry.id)

    try:
        return go_to(desk.once(sent, do))
    except Conflict as err:
        error, conflict, status = "", err.rows, 409
    except FettleError as err:
        error, conflict, status = str(err), (), 422
    view = desk.view()
    return page(request, "form.html", _correction(view, _reading(view, number), typed, error, conflict), status)


@router.post("/readings/{number}/withdraw")
def withdraw(sent: Sent, desk: AtDesk, number: int) -> Response:
    """Take a reading out."""

    def do() -> str:
        item = _reading(desk.view(), number)
        entry = desk.project.file.withdraw_reading(number)
        return urls.with_done(urls.variant(str(item["variant"])), entry.id)

    return go_to(desk.once(sent, do))
