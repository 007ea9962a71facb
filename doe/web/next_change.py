"""Next change: the suggestion, its reason, and what the maker says to it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.advise.reach import NEW
from doe.advise.record import suggestions_of
from doe.charts import text
from doe.model.choices import Settings
from doe.model.errors import DataError, FettleError
from doe.model.factor import Factor
from doe.model.planned import same_as_planned
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.model.wording import counted
from doe.sheets.asked import SUGGESTIONS
from doe.sheets.contexts import NextChange, Suggestion
from doe.sheets.pictures import page_settings
from doe.sheets.standing import next_change, settings_text
from doe.web import next_asked, urls
from doe.web.bench import planned
from doe.web.contexts import NextPage, Offer
from doe.web.definition_faults import NotRead
from doe.web.desk import Desk, View
from doe.web.factor_fields import change_steps
from doe.web.forms import Posted, Sent, at_most, marked
from doe.web.next_asked import AtHand
from doe.web.pages import AtDesk, adviser_of, go_to, page, think, waiting
from doe.web.thinking import Thought

if TYPE_CHECKING:
    from doe.advise.advice import Advice
    from doe.project import Project

router = APIRouter(include_in_schema=False)
ASIDE = "set aside"
_MOST_WHY = 500
_GONE = "That suggestion is no longer on the page: the log has changed since. Here is what is suggested now."


@router.get("/next")
def show(request: Request, desk: AtDesk) -> Response:
    """Show the next change, with what there is for it in mind."""
    return _shown(request, desk, next_asked.typed(request.query_params))


@dataclass(frozen=True, slots=True)
class _Advised:
    """Advice, itself and in words, both None where it is not worked out yet; and what was looked for, in half a sentence."""

    advice: Advice | None = None
    words: NextChange | None = None
    told: str = ""
    is_working: bool = False


def _shown(
    request: Request,
    desk: Desk,
    asked: Mapping[str, str],
    error: str = "",
    status: int = 200,
    refused: tuple[str, str, str] = ("", "", ""),
) -> Response:
    view, known = desk.view(), think(desk)
    units = [unit.name for unit in view.snapshot.units if not unit.retired]
    advised, errors = _as_thought(known.thought), {}
    if any(asked.values()):
        try:
            advised = _looked_for(request, desk, next_asked.read(asked, units))
        except NotRead as err:
            errors = dict(err.errors)
    offers = _offers(desk, view, advised)
    mark, why, why_error = refused
    if why_error and mark not in [offer.mark for offer in offers]:
        error = why_error
    return page(
        request,
        "next.html",
        NextPage(
            next_change=advised.words,
            told=advised.told,
            step="the next change" if advised.is_working else "",
            ask=next_asked.fields(asked, units, errors),
            is_asked=any(asked.values()),
            is_refused=bool(errors),
            hidden=tuple((name, value) for name, value in asked.items() if value),
            offers=tuple(
                replace(offer, typed=why, error=why_error) if offer.mark == mark else offer for offer in offers
            ),
            aside=_aside(view),
            planned=planned(view),
            waiting=waiting(known),
            error=error or (marked(len(errors), "looked for") if errors else ""),
            settings=page_settings(),
        ),
        422 if errors and status == 200 else status,
    )


def _as_thought(thought: Thought | None) -> _Advised:
    return _Advised(thought.asked.advice, thought.next_change) if thought is not None else _Advised()


def _looked_for(request: Request, desk: Desk, at_hand: AtHand) -> _Advised:
    """Return what is advised for what there is, or that it is being worked out."""
    found = adviser_of(request).ask(
        (desk.mark(), at_hand), lambda _: _as_asked(desk.project, at_hand), desk.settings.patience_s
    )
    answer: _Advised | None = found.answer
    return answer if answer is not None else _Advised(told=at_hand.told, is_working=found.is_working)


def _as_asked(project: Project, at_hand: AtHand) -> _Advised:
    """Work the next change out anew, for what there is."""
    told = at_hand.told
    try:
        advice = project.recommend(SUGGESTIONS, hours=at_hand.hours, unit=at_hand.unit, only=at_hand.only)
    except FettleError as err:
        return _Advised(None, next_change(project.setup, None, str(err)), told)
    return _Advised(advice, next_change(project.setup, advice, track=project.track()), told)


@router.post("/next/take")
def take(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Turn a suggestion into a planned variant."""

    def store() -> str:
        view, row, unit = _row(desk, sent.text("mark"))
        settings = {factor.name: row[factor.name] for factor in view.snapshot.setup.factors}
        if same := same_as_planned(settings, unit, view.snapshot.variants):
            return urls.variant(same.name)
        carried = next((item.variant for item in view.snapshot.units if item.name == unit), None)
        variant = Variant(
            view.snapshot.next_name, settings, unit=unit, parent=carried, status="planned", note=str(row["reason"])
        )
        entry = desk.project.file.add_variant(variant, number_on=True)
        desk.project.keep_suggestions([row["suggestion"]])
        return urls.with_done(urls.variant(entry.subject), entry.id)

    return _answered(request, desk, sent, store)


@router.post("/next/aside")
def aside(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Keep why a suggestion was not taken."""

    def store() -> str:
        why = at_most(sent.text("why"), "Why not", _MOST_WHY)
        if not why:
            raise DataError("Why not is empty; say it in a few words, it is kept for the next time you look.")
        view, row, unit = _row(desk, sent.text("mark"))
        settings = {factor.name: _plain(row[factor.name]) for factor in view.snapshot.setup.factors}
        body = {"kind": ASIDE, "settings": settings, "unit": unit or "new", "why": why}
        entry = desk.project.file.add_suggestion(body)
        return urls.with_done(urls.next_change(asked=_asked(sent).items()), entry.id)

    return _answered(request, desk, sent, store)


def _answered(request: Request, desk: Desk, sent: Posted, store: Callable[[], str]) -> Response:
    asked = _asked(sent)
    try:
        return go_to(desk.once(sent, store))
    except LookupError:
        return _shown(request, desk, asked, _GONE, 409)
    except FettleError as err:
        if str(err).startswith("Why not "):
            return _shown(request, desk, asked, "", 422, refused=(sent.text("mark"), sent.text("why"), str(err)))
        return _shown(request, desk, asked, str(err), 422)


def _asked(sent: Posted) -> dict[str, str]:
    return next_asked.typed({name: sent.text(name) for name in next_asked.NAMES})


def _row(desk: Desk, mark: str) -> tuple[View, Mapping[str, Any], str | None]:
    """Return the suggestion of that mark, and its unit (None for a new one).

    Raises
    ------
    LookupError
        If it was not shown lately, or its settings no longer fit the factors there are.
    """
    view, row = desk.view(), desk.offer(mark)
    if mark_of(row, view.snapshot.setup) != mark:
        raise LookupError(mark)
    unit = str(row["unit"])
    return view, row, None if unit == "new" else unit


def _rows(advice: Advice) -> list[Mapping[str, Any]]:
    return [{str(name): _plain(value) for name, value in row.items()} for row in advice.table.to_dict("records")]


def _plain(value: Any) -> Any:
    return value.item() if hasattr(value, "item") else value


def mark_of(row: Mapping[str, Any], setup: Setup) -> str:
    """Return what tells a suggestion from others: where it goes and with which settings."""
    what = [str(row["unit"]), *(text.plain(row.get(factor.name)) for factor in setup.factors)]
    return sha256(json.dumps(what).encode()).hexdigest()[:16]


def _offers(desk: Desk, view: View, advised: _Advised) -> tuple[Offer, ...]:
    setup, advice, words = view.snapshot.setup, advised.advice, advised.words
    if advice is None or words is None:
        return ()
    refused = {
        mark_of({**item["settings"], "unit": item["unit"]}, setup)
        for item in view.suggestions
        if item.get("kind") == ASIDE and set(item["settings"]) == {factor.name for factor in setup.factors}
    }
    told = [words.first, *words.others] if words.first is not None else []
    rows = _rows(advice)
    offers = [
        _offer(view, place, row, suggestion, _left(rows[: place - 1], row["unit"], setup.factors))
        for place, (row, suggestion) in enumerate(zip(rows, told, strict=True), start=1)
    ]
    promised = suggestions_of(advice, [factor.name for factor in setup.factors])
    for offer, row, suggestion in zip(offers, rows, promised, strict=True):
        desk.keep_offer(offer.mark, {**row, "suggestion": suggestion})
    return tuple(offer for offer in offers if offer.mark not in refused)


def _left(earlier: Sequence[Mapping[str, Any]], unit: str, factors: Sequence[Factor]) -> Settings | None:
    """Return the settings at which earlier suggestions of the session leave a unit; None where they do not touch it."""
    rows = [row for row in earlier if row["unit"] == unit != NEW]
    return {factor.name: rows[-1][factor.name] for factor in factors} if rows else None


def _offer(view: View, place: int, row: Mapping[str, Any], told: Suggestion, left: Settings | None) -> Offer:
    setup = view.snapshot.setup
    settings = {factor.name: row[factor.name] for factor in setup.factors}
    unit = next((item for item in view.snapshot.units if item.name == row["unit"]), None)
    carried = (
        next((item.name for item in view.snapshot.variants if item.name == unit.variant), "")
        if unit is not None and left is None and dict(unit.settings) == settings
        else ""
    )
    existing, going_on = (urls.readings(carried), "Read it again") if carried else ("", "")
    if same := same_as_planned(settings, None if row["unit"] == NEW else str(row["unit"]), view.snapshot.variants):
        existing, going_on = urls.variant(same.name), f"Planned as variant {same.name}"
    expected = tuple((f"{item.outcome}, predicted", item.expected) for item in told.expected)
    stands = left if left is not None else unit.settings if unit is not None else {}
    steps = change_steps(setup, stands, settings)
    rounds = counted(int(row["readings"]), "round")
    return Offer(
        place=place,
        mark=mark_of(row, setup),
        kind=told.kind,
        what=told.what,
        why=told.why,
        facts=(*told.facts, *expected),
        steps=(*steps, f"Take {rounds} of readings."),
        existing=existing,
        going_on=going_on,
    )


def _aside(view: View) -> tuple[tuple[str, str], ...]:
    setup = view.snapshot.setup
    return tuple(
        (f"{item['unit']}: {settings_text(item['settings'], setup)}", str(item["why"]))
        for item in reversed(view.suggestions)
        if item.get("kind") == ASIDE
    )[:10]
