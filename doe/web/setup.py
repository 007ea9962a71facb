"""Set-up: factors, outcomes, effort, limits and what else is decided before the first build."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.charts import text
from doe.measuring.check import unit_doubt
from doe.model.effort import change_told
from doe.model.errors import DataError, FettleError
from doe.model.expectation import Expectation, unit_of
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.outcome import Outcome
from doe.model.possible import doubtful
from doe.model.setup import Setup
from doe.model.slips import broken_on_record, slip_in_matters, slip_in_minutes, slip_in_size, steps_too_short
from doe.model.wording import capital, duration, number
from doe.sheets.answers import about as about_outcome
from doe.store import ProjectFile
from doe.store.kept import UNCHANGED
from doe.store.snapshot import Snapshot
from doe.web import urls
from doe.web.contexts import Defined, FormPage, SetupPage
from doe.web.definition_faults import NotRead
from doe.web.definition_fields import KINDS, Kind, as_typed, build, fields_of
from doe.web.desk import Desk
from doe.web.edits import Conflict, check_unchanged, seen_mark
from doe.web.forms import Sent, at_most, marked
from doe.web.pages import AtDesk, go_to, page
from doe.web.recipe_fields import CHOOSE_AGAIN, FILES, sent_files

MOST_TITLE, MOST_QUESTION = 200, 2000
router = APIRouter(include_in_schema=False)


@router.get("/setup")
def show(request: Request, desk: AtDesk) -> Response:
    """Show all definitions."""
    known, file = desk.view().snapshot, desk.project.file
    setup, doubt = known.setup, doubtful(known.setup)
    groups = (
        _group("factor", [(item.name, about_factor(item, setup), _doubt_of_factor(item)) for item in setup.factors]),
        _group("outcome", [(item.name, _outcome_told(item), _likely_slip(item)) for item in setup.outcomes]),
        _group("limit", [(item.rule, item.note, _doubt_of_limit(item, doubt, known)) for item in setup.limits]),
        _group("derived", [(item.name, f"{item.expression} {item.unit}".strip(), "") for item in setup.derived]),
        _group(
            "expectation",
            [(item.name, about_expectation(item, setup), _too_much(item, setup, file)) for item in setup.expectations],
        ),
    )
    times = (
        ("A new unit", setup.effort.new_unit_minutes),
        ("A session", setup.effort.session_minutes),
        ("A round of readings", setup.effort.reading_minutes),
    )
    effort = (
        *((what, duration(minutes), _doubted(slip_in_minutes(what, minutes))) for what, minutes in times),
        ("Money for a new unit", number(setup.effort.new_unit_price), ""),
    )
    return page(request, "setup.html", SetupPage(setup.question, groups, effort, desk.project.path.name))


def _group(kind: str, rows: list[tuple[str, str, str]]) -> tuple[str, str, tuple[Defined, ...], str, str]:
    words = KINDS[kind]
    label = text.name if kind != "limit" else str
    defined = tuple(Defined(label(name), told, slip, urls.definition(kind, name)) for name, told, slip in rows)
    return words.plural, words.purpose, defined, urls.definition(kind), words.add


def _outcome_told(outcome: Outcome) -> str:
    recipe = f", computed from recordings by {outcome.recipe['from']}" if outcome.recipe else ""
    return f"{about_outcome(outcome)}{recipe}"


def _doubt_of_factor(factor: Factor) -> str:
    changes = (slip_in_minutes(f"one change of {text.name(factor.name)}", factor.minutes),
               slip_in_minutes(f"each step more of {text.name(factor.name)}", factor.minutes_per_step))  # fmt: skip
    return " ".join(filter(None, [*map(_doubted, changes), _sentence(steps_too_short(factor))]))


def _doubt_of_limit(limit: Limit, doubt: str, known: Snapshot) -> str:
    own = _doubted(doubt) if f"'{limit.rule}'" in doubt else ""
    return " ".join(filter(None, [own, _sentence(broken_on_record(limit, known.setup.derived, known.variants))]))


def _sentence(told: str) -> str:
    return f"{capital(told)}." if told else ""


def _likely_slip(outcome: Outcome) -> str:
    told = (_doubted(slip_in_matters(outcome)), capital(unit_doubt(outcome)))
    return " ".join(text for text in told if text)


def _too_much(expectation: Expectation, setup: Setup, file: ProjectFile) -> str:
    outcome = next(item for item in setup.outcomes if item.name == expectation.outcome)
    return _doubted(slip_in_size(expectation, outcome, file.seen(outcome.name)))


def _doubted(likely: str) -> str:
    return f"{capital(likely)}; if that is a slip, put it right." if likely else ""


def about_factor(factor: Factor, setup: Setup) -> str:
    """Describe a factor in a phrase."""
    parts = [f"{factor.kind}, {factor.allowed().removeprefix('must be ')}"]
    parts += {
        "up": ["only goes up on a unit"],
        "down": ["only goes down on a unit"],
    }.get(factor.way, [])
    verb = "needs" if factor.way == "rebuild" else "takes"
    return "; ".join([*parts, f"one change {verb} {change_told(factor, setup.effort)}"])


def about_expectation(expectation: Expectation, setup: Setup) -> str:
    """Describe an expectation in a phrase."""
    return expectation.sentence(unit_of(expectation, setup.outcomes)) + (
        f" ({expectation.note})" if expectation.note else ""
    )


@router.get("/setup/{kind}")
def edit(request: Request, desk: AtDesk, kind: str, name: str = "") -> Response:
    """Show the form of one definition."""
    words, setup = _kind(kind), desk.view().snapshot.setup
    record = _record(setup, kind, name) if name or words.is_single else None
    return page(request, "form.html", _form(setup, words, kind, name, record, as_typed(kind, record)))


def _kind(kind: str) -> Kind:
    """Return what a kind of definition is called.

    Raises
    ------
    HTTPException
        404 if there is none.
    """
    if kind not in KINDS:
        raise HTTPException(404)
    return KINDS[kind]


def _record(setup: Setup, kind: str, name: str) -> Any:
    """Return a definition that there is.

    Raises
    ------
    HTTPException
        404 if there is none of that name.
    """
    if kind == "about":
        return setup
    if kind == "effort":
        return setup.effort
    records: dict[str, Any] = {
        "factor": {item.name: item for item in setup.factors},
        "outcome": {item.name: item for item in setup.outcomes},
        "limit": {item.rule: item for item in setup.limits},
        "derived": {item.name: item for item in setup.derived},
        "expectation": {item.name: item for item in setup.expectations},
    }
    if name not in records[kind]:
        raise HTTPException(404)
    return records[kind][name]


def _form(
    setup: Setup,
    words: Kind,
    kind: str,
    name: str,
    record: Any,
    values: Mapping[str, str],
    error: FettleError | None = None,
    conflict: tuple[tuple[str, str, str], ...] = (),
    not_removed: str = "",
) -> FormPage:
    if kind == "expectation" and (missing := _missing(setup)):
        return _needs(words, missing)
    can_remove = record is not None and not words.is_single
    was = kind == "factor" and record is None
    fields = fields_of(kind, values, error, setup, with_was=was)
    count = sum(bool(item.error) for item in fields)
    return FormPage(
        kicker="Set-up",
        heading=words.title if record is None or words.is_single else f"{words.singular} {text.name(name)}",
        intro=words.intro,
        action=urls.definition(kind, name or None),
        fields=fields,
        button="Store",
        hidden=(("seen", seen_mark(as_typed(kind, record)) if record is not None else ""),),
        error=marked(count) if count else not_removed or str(error or ""),
        back=urls.setup(),
        remove=((urls.definition_remove(kind), f"Remove this {words.singular.casefold()}", name),)
        if can_remove
        else (),
        conflict=conflict,
        draft=f"setup {kind} {name}",
        ways=((urls.recipes(), "All recipes and their keys"),) if kind == "outcome" else (),
    )


def _missing(setup: Setup) -> str:
    """Return what kind of definition has to come before an expectation; empty if all is there."""
    if not setup.factors:
        return "factor"
    return "" if setup.outcomes else "outcome"


def _needs(words: Kind, missing: str) -> FormPage:
    """Lead to what has to be defined first."""
    first = "a factor" if missing == "factor" else "an outcome"
    return FormPage(
        kicker="Set-up",
        heading=words.title,
        intro=(*words.intro, f"It is about a factor and an outcome, so {first} has to be defined first."),
        action=urls.definition("expectation"),
        fields=(),
        button="",
        back=urls.definition(missing),
        back_label=KINDS[missing].add,
    )


@router.post("/setup/{kind}/remove")
def remove(request: Request, sent: Sent, desk: AtDesk, kind: str) -> Response:
    """Remove a definition."""
    words, name = _kind(kind), sent.text("name")
    record = _record(desk.view().snapshot.setup, kind, name)

    def do() -> str:
        return urls.with_done(urls.setup(), desk.project.file.change_setup(kind, None, name=name).id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        setup = desk.view().snapshot.setup
        form = _form(setup, words, kind, name, record, as_typed(kind, record), not_removed=str(err))
        return page(request, "form.html", form, 422)


@router.post("/setup/{kind}")
def store(request: Request, sent: Sent, desk: AtDesk, kind: str, name: str = "") -> Response:
    """Store one definition."""
    words = _kind(kind)
    typed = {key: "\n".join(values) for key, values in sent.values.items() if key not in ("token", "once", "seen")}

    def do() -> str:
        setup = desk.view().snapshot.setup
        old = _record(setup, kind, name) if name or words.is_single else None
        if old is not None:
            present = as_typed(kind, old)
            check_unchanged(sent.text("seen"), seen_mark(present), present, typed)
        entry = _store(desk, kind, name, typed, old, sent.files.get(FILES, []))
        return urls.with_done(_next_of(desk, old, typed, has_files=bool(sent.files)), entry)

    error: FettleError | None = None
    conflict: tuple[tuple[str, str, str], ...] = ()
    try:
        return go_to(desk.once(sent, do))
    except Conflict as err:
        status, conflict = 409, err.rows
    except FettleError as err:
        status, error = 422, err
    setup = desk.view().snapshot.setup
    record = _record(setup, kind, name) if name or words.is_single else None
    form = _form(setup, words, kind, name, record, typed, error, conflict)
    if sent.files and not (isinstance(error, NotRead) and FILES in error.errors):
        form = replace(form, error=f"{form.error}{CHOOSE_AGAIN}".strip())
    return page(request, "form.html", form, status)


def _next_of(desk: Desk, old: Any, typed: Mapping[str, str], *, has_files: bool) -> str:
    """Return where to go on: to the recipes, where readings were computed by another one or by other files."""
    if not isinstance(old, Outcome) or not old.recipe:
        return urls.setup()
    name = typed.get("name", old.name)
    new = next((item.recipe for item in desk.view().snapshot.setup.outcomes if item.name == name), {})
    is_other = new and (has_files or new != old.recipe)
    is_stale = is_other and any(row["outcome"] == name for row in desk.project.file.computations())
    return urls.recipes() if is_stale else urls.setup()


def _store(
    desk: Desk, kind: str, name: str, typed: Mapping[str, str], old: Any, sent: Sequence[tuple[str, bytes]] = ()
) -> int:
    """Store a definition and return the last entry that it took.

    Raises
    ------
    DataError
        If it is what it was.
    """
    file = desk.project.file
    if kind == "about":
        return _store_about(file, typed, old)
    record = build(kind, typed, desk.view().snapshot.setup)
    files = sent_files(file, record, sent) if isinstance(record, Outcome) else []
    if record == old and not files:
        raise DataError(UNCHANGED)
    return file.change_setup(kind, record, name=name or None, was=typed.get("was") or None, files=files).id


def _store_about(file: ProjectFile, typed: Mapping[str, str], old: Setup) -> int:
    errors = {}
    for key, most in (("title", MOST_TITLE), ("question", MOST_QUESTION)):
        try:
            at_most(typed.get(key, ""), key, most)
        except DataError as err:
            errors[key] = str(err)
    if errors:
        raise NotRead(errors)
    last = None
    for key in ("title", "question"):
        if typed.get(key, "") != getattr(old, key):
            last = file.change_setup(key, typed.get(key, "")).id
    if last is None:
        raise DataError(UNCHANGED)
    return last
