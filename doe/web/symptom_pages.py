"""Symptoms: from what is wrong to what is usually tried, cheapest with the project's own factors first."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.guides.symptoms import Idea, Symptom, Try, symptom, symptoms, tries
from doe.model.errors import UsageError
from doe.model.setup import Setup
from doe.model.wording import duration, spaced
from doe.web import urls
from doe.web.contexts import IdeaRow, SymptomPage
from doe.web.desk import Desk
from doe.web.pages import page

router = APIRouter(include_in_schema=False)


@router.get("/symptoms")
def show_list(request: Request) -> Response:
    """Show what people say is wrong; no project needed."""
    return page(request, "symptom.html", SymptomPage("", "", "", "", (), (), (), _listed(None)))


@router.get("/symptoms/{said}")
def show(request: Request, said: str) -> Response:
    """Show what is tried against one symptom; other words for it lead there, too."""
    try:
        found = symptom(said)
    except UsageError:
        raise HTTPException(404) from None
    return page(request, "symptom.html", _page(found, _setup(request)))


def _setup(request: Request) -> Setup:
    desk: Desk = request.app.state.desk
    return desk.view().snapshot.setup if desk.is_open else Setup()


def _page(item: Symptom, setup: Setup) -> SymptomPage:
    found = tries(item, setup)
    return SymptomPage(
        name=item.name.capitalize(),
        told=item.told,
        check=item.check,
        caution=item.caution,
        here=_rows(found.here),
        seldom=_rows(found.seldom),
        elsewhere=tuple(_row(idea) for idea in found.elsewhere),
        symptoms=_listed(item),
    )


def _rows(found: Iterable[Try]) -> tuple[IdeaRow, ...]:
    return tuple(_row(each.idea, each) for each in found)


def _row(idea: Idea, each: Try | None = None) -> IdeaRow:
    parts = [duration(each.minutes) if each.minutes else "", each.way_told] if each else []
    factor = spaced(each.factor) if each else ""
    return IdeaRow(factor, idea.what, ", ".join(part for part in parts if part), idea.why, idea.source)


def _listed(here: Symptom | None) -> tuple[tuple[str, str, str, bool], ...]:
    return tuple(
        (item.name.capitalize(), item.told, urls.symptom(item.name), here is not None and item.name == here.name)
        for item in symptoms()
    )
