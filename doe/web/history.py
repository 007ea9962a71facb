"""History: every acknowledged change, and taking one back."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.model.errors import FettleError
from doe.web import urls
from doe.web.contexts import HistoryPage, HistoryRow
from doe.web.desk import Desk
from doe.web.factor_fields import time_text
from doe.web.forms import Sent
from doe.web.pages import AtDesk, go_to, page

router = APIRouter(include_in_schema=False)
_A_PAGE = 100
_FIRST = ("create", "restore")


@router.get("/history")
def show(request: Request, desk: AtDesk, before: int = 0) -> Response:
    """Show the journal, latest first."""
    return _shown(request, desk, before)


def _shown(request: Request, desk: Desk, before: int = 0, error: str = "", status: int = 200) -> Response:
    history = desk.view().history
    entries = [entry for entry in reversed(history) if not before or entry.id < before]
    began = max(entry.id for entry in history if entry.kind in _FIRST)  # what stands before it came with an export
    rows = tuple(
        HistoryRow(
            number=entry.id,
            when=time_text(entry.at),
            kind=entry.kind,
            summary=entry.summary,
            undone=f"taken back by entry {entry.taken_back_by}" if entry.taken_back_by is not None else "",
            can_undo=entry.taken_back_by is None and entry.id > began,
        )
        for entry in entries[:_A_PAGE]
    )
    older = f"{urls.history()}?before={rows[-1].number}" if len(entries) > _A_PAGE else ""
    return page(request, "history.html", HistoryPage(rows, older, error), status)


@router.post("/history/{entry}/undo")
def undo(request: Request, sent: Sent, desk: AtDesk, entry: int) -> Response:
    """Take an entry back."""
    try:
        address = desk.once(sent, lambda: urls.with_done(urls.history(), desk.project.file.take_back(entry).id))
    except FettleError as err:
        return _shown(request, desk, error=str(err), status=422)
    return go_to(address)
