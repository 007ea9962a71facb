"""Log: what was changed, on which unit; starts from what the unit carries now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.charts import text
from doe.model.change import find_unit, find_variant, next_unit_name
from doe.model.choices import Value
from doe.model.errors import DataError, FettleError
from doe.model.names import NEW_UNIT
from doe.model.records import Unit, Variant
from doe.model.setup import Setup
from doe.sheets.cautions import BENCH
from doe.sheets.standing import settings_text
from doe.store.snapshot import Snapshot
from doe.web import urls
from doe.web.contexts import Choice, Field, FormPage, LogPage, NavItem
from doe.web.desk import Desk
from doe.web.factor_fields import blamed, factor_field, read_fields
from doe.web.forms import Posted, Sent, bench_minutes_or_none, marked, not_negative_or_none
from doe.web.pages import AtDesk, go_to, page, slips_told
from doe.web.photos import ready_photo

router = APIRouter(include_in_schema=False)
NEW = NEW_UNIT
_NOTHING = "-"
_LOST = "Choose the photo again: files are not kept when something is refused."
_LABELS = {"minutes": "Bench time it really took", "price": "Money it really took", "name": "Own label"}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a variant is about to be made.

    Attributes
    ----------
    unit : Unit or None
        A unit that exists.
    is_new : bool
        Whether a new unit is made.
    start : Variant or None
        Variant whose settings stand in the form at first.
    """

    unit: Unit | None
    is_new: bool
    start: Variant | None

    @property
    def before(self) -> Mapping[str, Value]:
        """Settings that stand in the form at first."""
        if self.start is not None:
            return self.start.settings
        return self.unit.settings if self.unit is not None else {}

    @property
    def carried(self) -> str:
        """What the unit carried when the form was shown, so that a change meanwhile is noticed."""
        return (self.unit.variant or _NOTHING) if self.unit is not None else _NOTHING


@dataclass(slots=True)
class Typed:
    """A form on its way back: what was typed, and what was wrong with it."""

    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    error: str = ""
    photo_error: str = ""


@router.get("/log")
def show(request: Request, desk: AtDesk, unit: str = "", start: str = "", again: str = "") -> Response:
    """Show the form."""
    snapshot = desk.view().snapshot
    place = _place(snapshot, unit, start)
    return _shown(request, snapshot, place, Typed({"again": again} if again else {}))


def _place(snapshot: Snapshot, unit: str, start: str) -> Place:
    """Return where the next variant is made: as asked, else on the unit that was changed last."""
    active = [item for item in snapshot.units if not item.retired]
    source = find_variant(start, snapshot.variants) if start else None
    if source is not None and source.is_reference:
        raise DataError(f"Variant {source.name} is a reference object without settings; start from another one.")
    if unit == NEW or not (unit or active):
        return Place(None, is_new=True, start=source)
    if unit:
        return Place(find_unit(unit, snapshot.units), is_new=False, start=source)
    wanted = source.unit if source is not None else _last_unit(snapshot)
    found = next((item for item in active if item.name == wanted), None)
    if found is None and source is not None:
        return Place(None, is_new=True, start=source)
    return Place(found or active[-1], is_new=False, start=source)


def _last_unit(snapshot: Snapshot) -> str | None:
    return next((item.unit for item in reversed(snapshot.variants) if item.unit and item.status == "built"), None)


def _shown(request: Request, snapshot: Snapshot, place: Place, typed: Typed, status: int = 200) -> Response:
    setup = snapshot.setup
    unit = place.unit.name if place.unit is not None else NEW
    start = place.start.name if place.start is not None else ""
    tabs = [
        NavItem(item.name, urls.log(item.name), place.unit is not None and item.name == place.unit.name)
        for item in snapshot.units
        if not item.retired
    ]
    fields = tuple(
        factor_field(
            factor,
            typed.values.get(f"f.{factor.name}", text.plain(place.before.get(factor.name))),
            before=(place.unit.settings if place.unit is not None else place.before).get(factor.name),
            is_new=place.is_new,
            error=typed.errors.get(factor.name, ""),
        )
        for factor in setup.factors
    )
    context = LogPage(
        units=(*tabs, NavItem("a new unit", urls.log(NEW), place.is_new)),
        heading=f"Variant {snapshot.next_name}",
        start=_started(place, snapshot),
        hidden=(("unit", unit), ("start", start), ("carried", place.carried), *_drawn_with(setup, place)),
        before=_before_fields(snapshot, place, typed),
        fields=fields,
        after=_after_fields(snapshot, place, typed),
        error=typed.error,
        photo_error=typed.photo_error,
        can_log=bool(setup.factors),
        cautions=(BENCH,),
        draft=f"log {unit} {place.carried} {start}",
        retire=place.unit.name if place.unit is not None else "",
    )
    return page(request, "log.html", context, status)


def _drawn_with(setup: Setup, place: Place) -> tuple[tuple[str, str], ...]:
    """Return the settings that the form starts from, so that what was touched can be told from what was not."""
    return tuple((f"was.{factor.name}", text.plain(place.before.get(factor.name))) for factor in setup.factors)


def _started(place: Place, snapshot: Snapshot) -> str:
    if place.is_new:
        return (
            f"A new unit, starting from the settings of variant {place.start.name}."
            if place.start is not None
            else "A new unit: set every factor."
        )
    if place.unit is None or not place.unit.settings:
        return "This unit carries no variant yet: set every factor."
    carried = f"variant {place.unit.variant}" if place.unit.variant else "no variant of its own"
    told = f"{place.unit.name} carries {carried} now ({settings_text(place.unit.settings, snapshot.setup)})."
    if place.start is not None and place.start.name != place.unit.variant:
        return f"{told} The form starts from variant {place.start.name}."
    return f"{told} Touch only what was changed."


def _before_fields(snapshot: Snapshot, place: Place, typed: Typed) -> tuple[Field, ...]:
    if not place.is_new:
        return ()
    value = typed.values.get("new_unit", next_unit_name(snapshot.units))
    name = Field("new_unit", "Name of the new unit", value=value, error=typed.errors.get("new_unit", ""))
    return (name,)


def _after_fields(snapshot: Snapshot, place: Place, typed: Typed) -> tuple[Field, ...]:
    def made(name: str, label: str, kind: str = "text", unit: str = "", hint: str = "") -> Field:
        return Field(name, label, kind, typed.values.get(name, ""), unit, hint, typed.errors.get(name, ""))

    again = Choice(
        "yes", "Nothing was changed, but it was taken apart and put together again", bool(typed.values.get("again"))
    )
    error = typed.errors.get("again", "")
    same = Field("again", "Same settings", "many", hint="", choices=(again,), error=error)
    return (
        made("minutes", _LABELS["minutes"], "number", "min"),
        made("price", _LABELS["price"], "number"),
        made("note", "Note", "long"),
        made("name", _LABELS["name"], hint=f"Left empty it is {snapshot.next_name}."),
        *(() if place.is_new and not error else (same,)),  # a new unit has not been put together before
    )


@router.post("/log")
def store(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Store a variant."""
    snapshot = desk.view().snapshot
    typed = Typed({name: values[0] for name, values in sent.values.items()})
    try:
        place = _place(snapshot, sent.text("unit"), sent.text("start"))
    except FettleError as err:
        typed.error = f"{err} What you typed is still here: look where it belongs, then store it again."
        _tell_lost(sent, typed)
        return _shown(request, snapshot, _place(snapshot, "", ""), typed, 409)
    status = 422
    try:
        return go_to(desk.once(sent, lambda: _stored(desk, sent, typed)))
    except _StaleUnit as err:
        typed.error, status = str(err), 409
        _let_follow(sent, typed, [factor.name for factor in snapshot.setup.factors])
        snapshot = desk.view().snapshot
        place = _place(snapshot, sent.text("unit"), sent.text("start"))
    except _BadFields:
        typed.error = marked(len(typed.errors) + bool(typed.photo_error))
    except FettleError as err:
        _pin(str(err), typed, [factor.name for factor in snapshot.setup.factors], place)
    _tell_lost(sent, typed)
    return _shown(request, snapshot, place, typed, status)


def _tell_lost(sent: Posted, typed: Typed) -> None:
    """Say beside the photos that a browser holds no file for a form that comes back."""
    if sent.files.get("photos"):
        typed.photo_error = f"{typed.photo_error} {_LOST}".lstrip()


def _let_follow(sent: Posted, typed: Typed, factors: list[str]) -> None:
    """Drop the settings that were not touched, so that they show what the unit carries now."""
    for name in factors:
        if sent.text(f"f.{name}") == sent.text(f"was.{name}"):
            typed.values.pop(f"f.{name}", None)


class _StaleUnit(Exception):  # noqa: N818
    """The unit was changed by somebody else meanwhile."""


class _BadFields(Exception):  # noqa: N818
    """Some fields cannot be read; each has its sentence."""


def _stored(desk: Desk, sent: Posted, typed: Typed) -> str:
    snapshot = desk.view().snapshot
    place = _place(snapshot, sent.text("unit"), sent.text("start"))
    if sent.text("carried") and place.carried != sent.text("carried"):
        unit = place.unit.name if place.unit is not None else "The unit"
        now = "no variant of its own" if place.carried == _NOTHING else f"variant {place.carried}"
        then = "none" if sent.text("carried") == _NOTHING else sent.text("carried")
        raise _StaleUnit(
            f"{unit} carries {now} by now; it was {then} when this form was opened. What you "
            "changed is still here, the rest is as it is now: look whether it still holds, then store it again."
        )
    factors = snapshot.setup.factors
    told = {factor.name: sent.text(f"f.{factor.name}") for factor in factors}
    settings, typed.errors = read_fields(factors, told, place.before)
    effort = _effort(sent, typed)
    photos = []
    for name, data in sent.files.get("photos", []):
        try:
            photos.append(ready_photo(data, name))
        except DataError as err:
            typed.photo_error = str(err)
    if typed.errors or typed.photo_error:
        raise _BadFields
    logged = desk.project.log(
        settings,
        unit=place.unit.name if place.unit is not None else None,
        new_unit=sent.text("new_unit") if place.is_new else None,
        start=place.start.name if place.start is not None else None,
        name=sent.text("name") or None,
        again=bool(sent.text("again")),
        note=sent.text("note"),
        photos=photos,
        minutes=effort["minutes"],
        price=effort["price"],
    )
    desk.keep_said(logged.entry.id, slips_told(logged.notes), ())
    return urls.with_done(urls.readings(logged.variant.name), logged.entry.id)


def _effort(sent: Posted, typed: Typed) -> dict[str, float | None]:
    effort: dict[str, float | None] = {}
    for name, read in (("minutes", bench_minutes_or_none), ("price", not_negative_or_none)):
        try:
            effort[name] = read(sent.text(name), _LABELS[name])
        except DataError as err:
            typed.errors[name] = str(err)
    return effort


def _pin(message: str, typed: Typed, factors: list[str], place: Place) -> None:
    """Put a sentence at the field that it is about."""
    found = blamed(message, factors)
    if not found and "'again'" in message:
        found = {"again": message}
    elif not found and message.startswith("Variant '") and typed.values.get("name"):
        found = {"name": message.replace("Variant", _LABELS["name"], 1) if "must be" in message else message}
    elif not found and message.startswith("Unit '") and place.is_new:
        found = {"new_unit": message}
    typed.errors |= found
    typed.error = marked(len(found)) if found else message


@router.post("/log/unit")
def retire(sent: Sent, desk: AtDesk) -> Response:
    """Retire a unit."""

    def do() -> str:
        unit = find_unit(sent.text("unit"), desk.view().snapshot.units)
        return urls.with_done(urls.log(), desk.project.file.retire_unit(unit.name).id)

    return go_to(desk.once(sent, do))


@router.get("/log/reference")
def show_reference(request: Request, desk: AtDesk) -> Response:
    """Show the form of a reference object."""
    return page(request, "form.html", _reference_form({}, ""))


def _reference_form(values: Mapping[str, str], error: str) -> FormPage:
    return FormPage(
        kicker="Log",
        heading="A reference object",
        intro=(
            "Something that is heard and measured beside the variants but has no settings, such as a bought one. Heard in "
            "every session, it carries the mood of the day.",
        ),
        action=urls.log_reference(),
        fields=(
            Field("name", "What it is called", value=values.get("name", ""), error=error, is_needed=True),
            Field("note", "Note", "long", values.get("note", "")),
        ),
        button="Log it",
        back=urls.log(),
    )


@router.post("/log/reference")
def store_reference(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Store a reference object."""

    def do() -> str:
        if not sent.text("name"):
            raise DataError("What it is called is empty; it must be a label, such as 'shop radio'.")
        logged = desk.project.log_reference(sent.text("name"), note=sent.text("note"))
        return urls.with_done(urls.variant(logged.variant.name), logged.entry.id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        typed = {name: sent.text(name) for name in ("name", "note")}
        return page(request, "form.html", _reference_form(typed, str(err)), 422)
