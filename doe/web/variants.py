"""Variants: all of them, one of them, the difference of two, and putting them right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.charts import text
from doe.charts.rows import rows_of
from doe.model.errors import DataError, FettleError, listed
from doe.model.limit import derive_possible
from doe.model.outcome import Outcome
from doe.model.records import Variant, against_ways, newly_against_ways
from doe.model.setup import Setup
from doe.model.slips import slip_in_minutes
from doe.model.wording import amount, counted, duration, exact, setting
from doe.sheets.cautions import cautions
from doe.web import urls
from doe.web.building import MINUTES, build_planned, told_at
from doe.web.contexts import Branch, Choice, ComparePage, Field, FormPage, VariantPage, VariantsPage
from doe.web.desk import Desk, View
from doe.web.edits import Conflict, check_unchanged, seen_mark
from doe.web.factor_fields import blame, change_steps, factor_field, in_labels, read_fields, reading_rows, time_text
from doe.web.forms import Sent, bench_minutes_or_none, marked, not_negative_or_none
from doe.web.pages import AtDesk, VariantName, best_of, go_to, known_variant, page, slips_told, think
from doe.web.photos import ready_photo
from doe.web.thinking import Known

router = APIRouter(include_in_schema=False)
_DEEPEST = 12
_A_PAGE = 100
_LABELS = {"minutes": "Bench time", "price": "Money"}


@router.get("/variants")
def show_all(request: Request, desk: AtDesk, before: int = 0) -> Response:
    """List the variants, a page of them at a time."""
    view = desk.view()
    snapshot = view.snapshot
    total = len(snapshot.variants)
    stop = before if 0 < before < total else total
    start = max(0, stop - _A_PAGE)
    log = replace(view.log, rows=view.log.rows[start:stop])
    shown = {row[0] for row in log.rows}
    known = think(desk, is_patient=False)
    best = best_of(known)
    marks = {item.name: _mark(item, known) for item in snapshot.variants}
    context = VariantsPage(
        log=log,
        hrefs=tuple(urls.variant(row[0]) for row in log.rows),
        marks=tuple(marks.get(row[0], "") for row in log.rows),
        lineage=_lineage(snapshot.variants, snapshot.setup, marks, shown),
        fields=_pair_fields(snapshot.variants, *_telling_pair(snapshot.variants, best)),
        earlier=f"{urls.variants()}?before={start}" if start else "",
        latest=urls.variants() if stop < total else "",
    )
    return page(request, "variants.html", context)


def _mark(variant: Variant, known: Known) -> str:
    if variant.status == "planned":
        return "planned"
    if variant.is_reference:
        return "reference"
    if variant.name != best_of(known):
        return ""
    return "best so far" if known.is_fresh else "best before the last change"


def _pair_fields(variants: Sequence[Variant], first: str, second: str) -> tuple[Field, ...]:
    def field(name: str, label: str, chosen: str) -> Field:
        if len(variants) > _A_PAGE:  # a list that long is slower than typing
            return Field(name, label, value=chosen)
        choices = tuple(Choice(item.name, item.name, item.name == chosen) for item in variants)
        return Field(name, label, "list", choices=choices)

    return field("a", "First", first), field("b", "Second", second)


def _telling_pair(variants: Sequence[Variant], best: str) -> tuple[str, str]:
    """Choose what a person most likely wants to compare: the last one built, against the best or what it came from."""
    built = [item for item in variants if item.status == "built" and not item.is_reference]
    if len(built) < 2:
        return "", ""
    last = built[-1]
    names = [item.name for item in built]
    others = [name for name in (best, last.parent, names[-2]) if name in names and name != last.name]
    return str(others[0]), last.name


def _lineage(
    variants: Sequence[Variant], setup: Setup, marks: Mapping[str, str], shown: Set[str]
) -> tuple[Branch, ...]:
    """Flatten the tree of changes, each variant under the one it was changed from; those shown only."""
    children: dict[str | None, list[Variant]] = {}
    names = {item.name for item in variants}
    for item in variants:
        children.setdefault(item.parent if item.parent in names else None, []).append(item)
    by_name = {item.name: item for item in variants}
    first = _first_builds(variants)
    found: list[Branch] = []
    waiting = [(item, 0) for item in reversed(children.get(None, []))]
    while waiting:
        item, depth = waiting.pop()
        if item.name in shown:
            what = _changed(item, by_name.get(item.parent or ""), setup, is_first=item.name in first)
            found.append(Branch(item.name, urls.variant(item.name), what, min(depth, _DEEPEST), marks[item.name]))
        waiting += [(child, depth + 1) for child in reversed(children.get(item.name, []))]
    return tuple(found)


def _first_builds(variants: Sequence[Variant]) -> set[str]:
    """Return the first build of each unit, and the first of those that name none."""
    first: dict[str | None, str] = {}
    for item in variants:
        if not item.is_reference and item.status != "planned":
            first.setdefault(item.unit, item.name)
    return set(first.values())


def _changed(variant: Variant, parent: Variant | None, setup: Setup, *, is_first: bool) -> str:
    where = f"unit {variant.unit}" if variant.unit else ""
    if variant.is_reference:
        return "a reference object"
    if parent is None or parent.is_reference:
        which = "first build" if is_first else "a planned build" if variant.status == "planned" else "a further build"
        return f"{which}, {where}" if where else which
    parts = [
        f"{text.name(factor.name)} {setting(parent.settings[factor.name])} → "
        f"{setting(variant.settings[factor.name], factor.unit)}"
        for factor in setup.factors
        if parent.settings.get(factor.name) != variant.settings.get(factor.name)
        and factor.name in parent.settings
        and factor.name in variant.settings
    ]
    if variant.unit != parent.unit and where:
        parts.append(f"on {where}")
    return ", ".join(parts) or "the same settings again"


@router.get("/compare")
def compare(request: Request, desk: AtDesk, a: str = "", b: str = "") -> Response:
    """Show the difference of two variants."""
    view = desk.view()
    snapshot = view.snapshot
    pair = known_variant(snapshot.variants, a), known_variant(snapshot.variants, b)
    known = think(desk)
    bare = [item.name for item in pair if item.is_reference]
    first, second = pair
    rows = tuple(
        (
            text.name(factor.name),
            setting(first.settings[factor.name], factor.unit) if factor.name in first.settings else "-",
            setting(second.settings[factor.name], factor.unit) if factor.name in second.settings else "-",
            not bare and first.settings.get(factor.name) != second.settings.get(factor.name),
        )
        for factor in snapshot.setup.factors
    )
    count = sum(row[3] for row in rows)
    heading = f"{counted(count, 'setting')} apart" if count else "The same settings"
    fields = _pair_fields(snapshot.variants, first.name, second.name)
    context = ComparePage(
        f"{listed(bare, 'and')}: no settings" if bare else heading,
        (first.name, second.name),
        fields,
        rows,
        _outcomes(view, known, pair),
        _notes(known, bare),
    )
    return page(request, "compare.html", context)


def _notes(known: Known, bare: Sequence[str]) -> tuple[str, ...]:
    """Say how the means were made, or why there are none."""
    before = " Those shown are of the log before." if known.thought is not None else ""
    if known.thought is not None and known.is_fresh:
        told = "Means with 95 % intervals, adjusted for session and rater."
    elif known.trouble:
        told = f"The means could not be worked out. {known.trouble}{before}"
    else:
        told = f"The means are being worked out; reload in a moment.{before}"
    if not bare:
        return (told,)
    have = "has" if len(bare) == 1 else "have"
    return (
        told,
        f"{listed(bare, 'and')} {have} no settings, so nothing is predicted there: what was read is averaged as it is.",
    )


def _outcomes(view: View, known: Known, pair: Sequence[Variant]) -> tuple[tuple[str, str, str], ...]:
    """Return what is known of two variants by outcome: adjusted means, and of a reference object what was read."""
    analyses = known.thought.asked.analyses if known.thought is not None else {}
    found = []
    for outcome in view.snapshot.setup.outcomes:
        effects = analyses.get(outcome.name)
        if effects is None and not any(item.is_reference for item in pair):
            continue
        rows = rows_of(effects.variants) if effects is not None else []
        column = effects.means if effects is not None else None
        means = {str(row["variant"]): text.expected(row, outcome, column) for row in rows}
        none = "not read" if effects is not None else "-"
        cells = [
            _as_read(view, item.name, outcome) if item.is_reference else means.get(item.name, none) for item in pair
        ]
        found.append((text.name(outcome.name), cells[0], cells[1]))
    return tuple(found)


def _as_read(view: View, variant: str, outcome: Outcome) -> str:
    """Return the plain mean of the readings of a variant."""
    count, mean = view.tally.of_variant.get((variant, outcome.name), (0, 0.0))
    if not count:
        return "not read"
    if outcome.kind == "compared":
        return counted(count, "comparison")
    told = amount(mean, outcome.unit)
    return f"{told}, one reading" if count == 1 else f"{told}, plain mean of {count} readings"


def _shown(
    request: Request,
    desk: Desk,
    name: str,
    status: int = 200,
    *,
    error: str = "",
    photo_error: str = "",
    typed: Mapping[str, str] | None = None,
) -> Response:
    view = desk.view()
    snapshot = view.snapshot
    variant = known_variant(snapshot.variants, name)
    parent = next((item for item in snapshot.variants if item.name == variant.parent), None)
    unit = next((item for item in snapshot.units if item.name == variant.unit), None)
    is_planned = variant.status == "planned"
    start = unit.settings if unit is not None else {}
    context = VariantPage(
        name=variant.name,
        status=_mark(variant, think(desk, is_patient=False)),
        facts=_facts(variant),
        settings=_settings(variant, parent, snapshot.setup),
        note=variant.note,
        doubt=against_ways(snapshot.variants, snapshot.setup.factors).get(variant.name, ""),
        photos=tuple(
            (urls.photo(item["sha256"]), item["note"] or f"Photo {item['filename']} of variant {variant.name}")
            for item in view.attachments
            if item["variant"] == variant.name and _is_photo(item["filename"])
        ),
        readings=reading_rows(view.readings_of(variant.name), snapshot.setup),
        steps=change_steps(snapshot.setup, start, variant.settings) if is_planned else (),
        built_fields=_built_fields(variant, typed or {}, error) if is_planned else (),
        photo_error=photo_error,
        error="" if typed and told_at(error) else error,
        cautions=cautions(snapshot.setup) if is_planned else (),
    )
    return page(request, "variant.html", context, status)


def _is_photo(filename: str) -> bool:
    return filename.casefold().endswith((".jpg", ".jpeg", ".png"))


def _facts(variant: Variant) -> tuple[tuple[str, str], ...]:
    facts = [
        ("Unit", variant.unit or ""),
        ("Changed from", f"variant {variant.parent}" if variant.parent else ""),
        ("Built", time_text(variant.when)),
        ("Took", duration(variant.minutes) if variant.minutes is not None else ""),
        ("Money", exact(variant.price) if variant.price is not None else ""),
    ]
    return tuple(fact for fact in facts if fact[1])


def _settings(variant: Variant, parent: Variant | None, setup: Setup) -> tuple[tuple[str, str, str], ...]:
    before = parent.settings if parent is not None else {}
    rows = []
    for factor in setup.factors:
        value, old = variant.settings.get(factor.name), before.get(factor.name)
        if value is not None:
            was = f"was {setting(old, factor.unit)}" if old is not None and old != value else ""
            rows.append((text.name(factor.name), setting(value, factor.unit), was))
    if variant.settings:
        derived = derive_possible(variant.settings, setup.derived)
        for item in setup.derived:
            shown = setting(derived[item.name], item.unit) if item.name in derived else "-"
            rows.append((text.name(item.name), shown, ""))
    return tuple(rows)


def _built_fields(variant: Variant, typed: Mapping[str, str], error: str) -> tuple[Field, ...]:
    labels = {"unit": "Built on unit", "minutes": MINUTES}

    def made(name: str, kind: str, unit: str = "", hint: str = "", *, is_needed: bool = False) -> Field:
        told = in_labels(error, labels) if told_at(error) == name else ""
        return Field(name, labels[name], kind, typed.get(name, ""), unit, hint, told, is_needed=is_needed)

    minutes = made("minutes", "number", "min")
    if variant.unit is not None:
        return (minutes,)
    return made("unit", "text", hint="One at hand, or the name of a new one.", is_needed=True), minutes


@router.post("/variants/{name:path}/built")
def built(request: Request, sent: Sent, desk: AtDesk, name: VariantName) -> Response:
    """Say that a planned variant is built."""

    def do() -> str:
        snapshot = desk.view().snapshot
        variant = known_variant(snapshot.variants, name)
        if variant.status != "planned":
            raise DataError(f"Variant {variant.name} is built already.")
        return build_planned(desk, variant.name, variant.unit or sent.text("unit"), sent.text("minutes"))

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        typed = {key: sent.text(key) for key in ("unit", "minutes")}
        return _shown(request, desk, name, 422, error=str(err), typed=typed)


@router.post("/variants/{name:path}/photos")
def add_photos(request: Request, sent: Sent, desk: AtDesk, name: VariantName) -> Response:
    """Keep photos of a variant."""

    def do() -> str:
        variant = known_variant(desk.view().snapshot.variants, name)
        ready = [ready_photo(data, file) for file, data in sent.files.get("photos", [])]
        if not ready:
            raise DataError("No photo was chosen.")
        entry = desk.project.file.attach_all(variant.name, ready)
        return urls.with_done(urls.variant(variant.name), entry.id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        return _shown(request, desk, name, 422, photo_error=str(err))


@dataclass(frozen=True, slots=True)
class _Edit:
    """A correction on its way back."""

    values: Mapping[str, str]
    errors: Mapping[str, str]
    error: str = ""
    conflict: tuple[tuple[str, str, str], ...] = ()


@router.get("/variants/{name:path}/correct")
def show_correction(request: Request, desk: AtDesk, name: VariantName) -> Response:
    """Show the form that corrects a variant."""
    snapshot = desk.view().snapshot
    variant = known_variant(snapshot.variants, name)
    edit = _Edit(_as_typed(variant, snapshot.setup), {})
    return page(request, "form.html", _correction(variant, snapshot.setup, edit))


def _as_typed(variant: Variant, setup: Setup) -> dict[str, str]:
    typed = {f"f.{factor.name}": text.plain(variant.settings.get(factor.name)) for factor in setup.factors}
    effort = {
        name: exact(value) if value is not None else ""
        for name, value in (("minutes", variant.minutes), ("price", variant.price))
    }
    own = {"name": variant.name, "unit": variant.unit or "", "parent": variant.parent or "", "note": variant.note}
    return {**(typed if variant.settings else {}), **own, **effort}


def _correction(variant: Variant, setup: Setup, edit: _Edit) -> FormPage:
    factors = [
        factor_field(
            factor, edit.values.get(f"f.{factor.name}", ""), is_new=True, error=edit.errors.get(factor.name, "")
        )
        for factor in (setup.factors if variant.settings else ())
    ]
    own = [
        ("name", "Label", "text", ""),
        ("unit", "Unit", "text", ""),
        ("parent", "Changed from variant", "text", ""),
        ("minutes", _LABELS["minutes"], "number", "min"),
        ("price", _LABELS["price"], "number", ""),
        ("note", "Note", "long", ""),
    ]
    fields = [
        Field(name, label, kind, edit.values.get(name, ""), unit, error=edit.errors.get(name, ""))
        for name, label, kind, unit in own
    ]
    return FormPage(
        kicker=f"Variant {variant.name}",
        heading="Put right what was logged wrongly",
        intro=("This is for mistakes of the pen. A change at the bench is a new variant.", "The history keeps both."),
        action=urls.variant(variant.name, "correct"),
        fields=(*factors, *fields),
        button="Store the correction",
        hidden=(("seen", seen_mark(_as_typed(variant, setup))),),
        error=edit.error,
        back=urls.variant(variant.name),
        remove=((urls.variant(variant.name, "withdraw"), "Take this variant out with its readings", ""),),
        conflict=edit.conflict,
    )


@router.post("/variants/{name:path}/correct")
def correct(request: Request, sent: Sent, desk: AtDesk, name: VariantName) -> Response:
    """Store a corrected variant."""
    snapshot = desk.view().snapshot
    setup, variant = snapshot.setup, known_variant(snapshot.variants, name)
    typed = {key: sent.text(key) for key in _as_typed(variant, setup)}
    errors: dict[str, str] = {}

    def do() -> str:
        before = desk.view().snapshot.variants
        now = known_variant(before, name)
        present = _as_typed(now, setup)
        check_unchanged(sent.text("seen"), seen_mark(present), present, typed)
        changes = _changes(setup, now, present, typed, errors)
        entry = desk.project.file.correct_variant(now.name, **changes)
        after = desk.view().snapshot.variants
        against = newly_against_ways(before, after, setup.factors)
        minutes = known_variant(after, entry.subject).minutes if "minutes" in changes else None
        slip = slip_in_minutes(f"the bench time of variant {entry.subject}", minutes)
        desk.keep_said(
            entry.id,
            slips_told([slip]),
            [f"Now against the way that a factor can go, {told}" for told in against],
        )
        return urls.with_done(urls.variant(entry.subject), entry.id)

    try:
        return go_to(desk.once(sent, do))
    except Conflict as err:
        edit, status = _Edit(typed, {}, conflict=err.rows), 409
    except FettleError as err:
        field = _field_of(str(err), setup)
        errors |= {field: str(err)} if field and field not in errors else {}
        edit, status = _Edit(typed, errors, marked(len(errors)) if errors else str(err)), 422
    variant = known_variant(desk.view().snapshot.variants, name)
    return page(request, "form.html", _correction(variant, setup, edit), status)


def _field_of(message: str, setup: Setup) -> str:
    """Return the field of a correction that a sentence is about; empty if it is none."""
    own = ("minutes", "price", "name", "unit", "parent", "note")
    found = blame(message, [*(factor.name for factor in setup.factors), *own])
    if found:
        return found
    if " cannot come from " in message:
        return "parent"
    named = {"Variant '": "name", "Parent ": "parent", "Unit ": "unit"}
    return next((field for start, field in named.items() if message.startswith(start)), "")


def _changes(
    setup: Setup, variant: Variant, present: Mapping[str, str], typed: Mapping[str, str], errors: dict[str, str]
) -> dict[str, object]:
    """Return the fields that differ, each in its own type.

    Raises
    ------
    DataError
        If one cannot be read.
    """
    changes: dict[str, object] = {}
    if variant.settings:
        told = {factor.name: typed[f"f.{factor.name}"] for factor in setup.factors}
        settings, wrong = read_fields(setup.factors, told, variant.settings)
        errors |= wrong
        changed = {key: value for key, value in settings.items() if variant.settings.get(key) != value}
        changes |= {"settings": changed} if changed else {}
    for key, read in (("minutes", bench_minutes_or_none), ("price", not_negative_or_none)):
        if typed[key] == present[key]:
            continue
        try:
            changes[key] = read(typed[key], _LABELS[key])
        except DataError as err:
            errors[key] = str(err)
    for key in ("unit", "parent"):
        if typed[key] != present[key]:
            changes[key] = typed[key] or None
    for key in ("name", "note"):
        if typed[key] != present[key]:
            changes[key] = typed[key]
    if errors:
        raise DataError(marked(len(errors)))
    return changes


@router.post("/variants/{name:path}/withdraw")
def withdraw(request: Request, sent: Sent, desk: AtDesk, name: VariantName) -> Response:
    """Take a variant out with its readings."""

    def do() -> str:
        variant = known_variant(desk.view().snapshot.variants, name)
        return urls.with_done(urls.variants(), desk.project.file.withdraw_variant(variant.name).id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        return _shown(request, desk, name, 422, error=str(err))


@router.get("/variants/{name:path}")
def show(request: Request, desk: AtDesk, name: VariantName) -> Response:
    """Show one variant; the last route of its kind, since a label may hold a slash."""
    return _shown(request, desk, name)
