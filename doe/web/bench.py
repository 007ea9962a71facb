"""Bench: where things stand."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.model.wording import CANT_TELL, MOVES, TANGLED, TOO_SMALL, capital, counted, duration
from doe.sheets.contexts import Answer
from doe.sheets.standing import settings_text
from doe.store import Entry
from doe.web import urls
from doe.web.contexts import BenchPage, Settled
from doe.web.desk import View
from doe.web.factor_fields import time_text
from doe.web.forms import Sent
from doe.web.pages import AtDesk, go_to, page, think, waiting

router = APIRouter(include_in_schema=False)
_VERDICTS = ((MOVES, "moves"), (TANGLED, "tangled"), (CANT_TELL, "open"), (TOO_SMALL, "small"))
_RECENT = 5


@router.get("/")
def show(request: Request, desk: AtDesk) -> Response:
    """Show where things stand."""
    view, known = desk.view(), think(desk)
    setup, thought = view.snapshot.setup, known.thought
    return page(
        request,
        "bench.html",
        BenchPage(
            question=setup.question,
            steps=() if view.tally.last else _first_steps(view),
            standing=thought.standing if thought is not None and view.tally.last else None,
            settled=settled(tuple(thought.answer_of.values())) if thought is not None else (),
            next_change=thought.next_change if thought is not None else None,
            planned=planned(view),
            hours=_hours(view),
            waiting=waiting(known),
            recent=tuple((time_text(entry.at), entry.summary) for entry in _recent(view)),
        ),
    )


@router.post("/thinking/again")
def again(sent: Sent, desk: AtDesk) -> Response:
    """Begin a cancelled analysis again."""
    desk.thinker.again()
    return go_to(urls.bench())


@router.post("/thinking/cancel")
def cancel(sent: Sent, desk: AtDesk) -> Response:
    """Cancel the analysis under way; nothing is stored or lost by it."""
    desk.thinker.cancel()
    return go_to(urls.history())


def settled(answers: tuple[Answer, ...]) -> tuple[Settled, ...]:
    """Sort the terms of all outcomes by verdict."""
    found = []
    for verdict, kind in _VERDICTS:
        terms = [
            f"{row.term} on {item.name}" + (f" (with {row.tangled_with})" if row.tangled_with else "")
            for item in answers
            for row in item.effects
            if row.kind == kind
        ]
        if terms:
            found.append(Settled(capital("tangled" if verdict == TANGLED else verdict), kind, tuple(terms)))
    return tuple(found)


def planned(view: View) -> tuple[tuple[str, str, str], ...]:
    """List the variants that are planned and not built."""
    setup = view.snapshot.setup
    return tuple(
        (
            item.name,
            (f"on {item.unit}: " if item.unit else "") + settings_text(item.settings, setup),
            urls.variant(item.name),
        )
        for item in view.snapshot.variants
        if item.status == "planned"
    )


def _hours(view: View) -> str:
    known = [item.minutes for item in view.snapshot.variants if item.minutes is not None]
    if not known:
        return "No bench time is logged yet; each variant takes the minutes it really cost."
    return f"{duration(sum(known))} logged for {counted(len(known), 'variant')}."


def _recent(view: View) -> list[Entry]:
    """Return the last entries that count, the latest first."""
    return [entry for entry in reversed(view.history) if entry.taken_back_by is None][:_RECENT]


def _first_steps(view: View) -> tuple[tuple[str, str, bool], ...]:
    """List what leads from an empty project to a first answer."""
    snapshot = view.snapshot
    return (
        ("Say what could be changed: the factors", urls.setup(), bool(snapshot.setup.factors)),
        ("Say how it is judged: the outcomes, with a goal each", urls.setup(), bool(snapshot.setup.outcomes)),
        ("Log a first variant, or bring in a spreadsheet", urls.log(), bool(snapshot.variants)),
        ("Take readings of it", urls.variants(), False),
    )
