"""Sessions: prepared, judged blind by each rater on a page of their own, and closed."""

from __future__ import annotations

from itertools import count
from urllib.parse import urlsplit

import segno
from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.charts import text
from doe.model.errors import FettleError, listed
from doe.model.listening import PreparedSession
from doe.model.wording import counted, exact, number
from doe.sheets.cautions import LISTENING
from doe.store.listening import KeptSession
from doe.web import urls
from doe.web.contexts import RaterRow, SessionPage, SessionRow, SessionsPage
from doe.web.desk import Desk, View
from doe.web.factor_fields import time_text
from doe.web.forms import Sent, marked
from doe.web.pages import AtDesk, go_to, page
from doe.web.session_form import LEVEL, cannot_be_put_out, gone_of, obstacle, read_session, session_form

_HERE_ONLY = (
    "These links open on this machine only. For other devices, end this bench and start it with 'fettle serve --lan'."
)
router = APIRouter(include_in_schema=False)


@router.get("/sessions")
def show_all(request: Request, desk: AtDesk) -> Response:
    """List all sessions."""
    view = desk.view()
    prepared = {item.session.name: item for item in view.prepared}
    rows = [_open_row(item) for item in reversed(prepared.values()) if not item.session.is_closed]
    for session in reversed(view.snapshot.sessions):
        count, raters = view.tally.of_session.get(session.name, (0, ()))
        parts = [time_text(session.when), counted(count, "reading"), ", ".join(raters), session.note]
        kept = prepared.get(session.name)
        href = urls.session(kept.id) if kept is not None else ""
        told = " · ".join(part for part in parts if part)
        rows.append(SessionRow(session.name, told, href, "closed" if kept is not None else ""))
    return page(request, "sessions.html", SessionsPage(tuple(rows), obstacle(view)))


def _open_row(kept: KeptSession) -> SessionRow:
    session = kept.session
    asked = sum(len(sheet.trials) for sheet in session.sheets)
    told = f"{counted(len(session.sheets), 'rater')}, {len(kept.judgements)} of {asked} judged"
    return SessionRow(session.name, told, urls.session(kept.id), "under way")


@router.get("/sessions/new")
def new(request: Request, desk: AtDesk) -> Response:
    """Show the form that prepares a session."""
    view = desk.view()
    values = {"raters": ["\n".join(view.tally.raters[:8])], "name": [_free_name(view)]}
    return page(request, "form.html", session_form(view, values, {}, ""))


def _free_name(view: View) -> str:
    """Return a name that neither a session on record nor one under way has."""
    names = [*(item.name for item in view.snapshot.sessions), *(item.session.name for item in view.prepared)]
    taken = {name.casefold() for name in names}
    return next(name for number in count(len(taken) + 1) if (name := f"Session {number}").casefold() not in taken)


@router.post("/sessions/new")
def prepare(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Prepare a session."""
    view = desk.view()
    errors: dict[str, str] = {}

    def do() -> str:
        session = read_session(view, sent, errors)
        entry = desk.project.file.prepare_session(session)
        kept = next(item for item in desk.project.file.prepared_sessions() if item.session.name == session.name)
        return urls.with_done(urls.session(kept.id), entry.id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        if str(err).startswith("Session '"):
            errors["name"] = str(err)
        told = marked(len(errors), "prepared") if errors else str(err)
        return page(request, "form.html", session_form(view, sent.values, errors, told), 422)


@router.get("/sessions/link/{key}.svg")
def link_picture(request: Request, desk: AtDesk, key: str) -> Response:
    """Draw the QR code of a rater's page."""
    if not any(sheet.key == key for item in desk.view().prepared for sheet in item.session.sheets):
        raise HTTPException(404)
    picture = segno.make(_address(request, desk, key), error="m").svg_inline(scale=5, border=4, light="#ffffff")
    head = picture.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return Response(head, media_type="image/svg+xml")


def _address(request: Request, desk: Desk, key: str) -> str:
    base = desk.settings.address or str(request.base_url)
    return base.rstrip("/") + urls.listen(key)


@router.get("/sessions/{identity}")
def show(request: Request, desk: AtDesk, identity: int) -> Response:
    """Show one prepared session, without what stands behind the codes."""
    return _shown(request, desk, identity)


@router.get("/sessions/{identity}/codes")
def codes(request: Request, desk: AtDesk, identity: int) -> Response:
    """Show what stands behind the codes, to whoever puts the samples out."""
    return _shown(request, desk, identity, with_codes=True)


def _kept(desk: Desk, identity: int) -> KeptSession:
    found = next((item for item in desk.view().prepared if item.id == identity), None)
    if found is None:
        raise HTTPException(404)
    return found


def _shown(
    request: Request, desk: Desk, identity: int, status: int = 200, *, with_codes: bool = False, error: str = ""
) -> Response:
    kept = _kept(desk, identity)
    session = kept.session
    is_closed = session.is_closed
    judged = {sheet.rater: 0 for sheet in session.sheets}
    for _, _, judgement in kept.judgements:
        judged[judgement.rater] += 1
    asked = sum(len(sheet.trials) for sheet in session.sheets)
    missing = asked - len(kept.judgements)
    headings, grades = _grades(kept) if is_closed else ((), ())
    context = SessionPage(
        name=session.name,
        number=kept.id,
        about=f"{', '.join(text.name(name) for name in session.outcomes)}: "
        f"{counted(len(session.samples), 'sample')}, {counted(len(session.sheets), 'rater')}",
        note=session.note,
        is_closed=is_closed,
        raters=tuple(
            RaterRow(
                sheet.rater,
                f"{judged[sheet.rater]} of {len(sheet.trials)} judged",
                _address(request, desk, sheet.key),
                urls.listen_code(sheet.key),
            )
            for sheet in session.sheets
        ),
        order=tuple((sheet.rater, ", ".join(" / ".join(trial) for trial in sheet.trials)) for sheet in session.sheets),
        codes=tuple((item.code, item.variant) for item in session.samples) if with_codes or is_closed else (),
        repeatability=_repeatability(desk, kept) if is_closed else (),
        is_compared=any(len(trial) > 1 for sheet in session.sheets for trial in sheet.trials),
        grades=grades,
        headings=headings,
        cautions=() if is_closed else (*_gone(desk.view(), session), *_reach(request, desk), LEVEL, LISTENING),
        error=error,
        can_close=_closing(missing, len(kept.judgements)),
    )
    return page(request, "session.html", context, status)


def _gone(view: View, session: PreparedSession) -> tuple[str, ...]:
    """Say which samples their unit no longer is, unless they are played, and which were withdrawn since."""
    gone = [] if session.plays else gone_of(view, {item.variant for item in session.samples})
    lost = [item.code for item in session.samples if not item.variant]
    told = [cannot_be_put_out(gone)] if gone else []
    if lost:
        codes = f"Code {lost[0]} stands" if len(lost) == 1 else f"Codes {listed(lost, 'and')} stand"
        told.append(
            f"{codes} for what was withdrawn since: nothing judged of it is stored. Leave it out, or take the withdrawal "
            "back in the history."
        )
    return tuple(told)


def _reach(request: Request, desk: Desk) -> tuple[str, ...]:
    """Say that the links lead nowhere from another device, where they do."""
    host = urlsplit(_address(request, desk, "")).hostname or ""
    return (_HERE_ONLY,) if host in ("localhost", "::1") or host.startswith("127.") else ()


def _closing(missing: int, done: int) -> str:
    if not done:
        return ""
    if missing:
        return f"{counted(missing, 'judgement')} {'is' if missing == 1 else 'are'} missing; closing now goes without."
    return "Everything is judged."


def _grades(kept: KeptSession) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    session = kept.session
    trials = {sheet.rater: sheet.trials for sheet in session.sheets}
    rows = []
    for judgement in sorted((item for _, _, item in kept.judgements), key=lambda item: (item.rater, item.place)):
        trial = trials[judgement.rater][judgement.place - 1]
        what = " / ".join(f"{code} = {session.variant_of(code) or 'taken out'}" for code in trial)
        said = [_said(judgement.values.get(name), len(trial) == 2) for name in session.outcomes]
        rows.append((judgement.rater, exact(judgement.place), what, *said, judgement.note))
    names = [text.name(name) for name in session.outcomes]
    return ("Rater", "Place", "Code and variant", *names, "Remark"), tuple(rows)


def _said(value: float | None, is_pair: bool) -> str:
    if value is None:
        return "-"
    if is_pair:
        return {1.0: "first", 0.0: "second"}.get(value, "tie")
    return exact(value)


def _repeatability(desk: Desk, kept: KeptSession) -> tuple[tuple[str, str, str], ...]:
    from doe.advise.listening import repeatability

    session = kept.session
    trials = {sheet.rater: sheet.trials for sheet in session.sheets}
    grades = [
        (item.rater, outcome, variant, value)
        for _, _, item in kept.judgements
        if len(trial := trials[item.rater][item.place - 1]) == 1
        if (variant := session.variant_of(trial[0]))  # nothing is stored of what was withdrawn
        for outcome, value in item.values.items()
    ]
    matters = {item.name: item.matters for item in desk.view().snapshot.setup.outcomes}
    found = []
    for row in repeatability(grades):
        told = f"repeats to within a standard deviation of {number(row.sd, 2)}, from {counted(row.n_pairs, 'repeat')}"
        limit = matters.get(row.outcome)
        if limit is not None and row.sd > limit:
            told += f"; that is more than the {exact(limit)} that matters, so more grades are needed"
        found.append((row.rater, text.name(row.outcome), told))
    return tuple(found)


@router.post("/sessions/{identity}/close")
def close(request: Request, sent: Sent, desk: AtDesk, identity: int) -> Response:
    """Close a session: its judgements become readings."""

    def do() -> str:
        entry = desk.project.file.close_session(identity)
        return urls.with_done(urls.session(identity), entry.id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        return _shown(request, desk, identity, 422, error=str(err))


@router.post("/sessions/{identity}/drop")
def drop(request: Request, sent: Sent, desk: AtDesk, identity: int) -> Response:
    """Take a prepared session out."""
    try:
        address = desk.once(sent, lambda: urls.with_done(urls.sessions(), desk.project.file.drop_session(identity).id))
    except FettleError as err:
        return _shown(request, desk, identity, 422, error=str(err))
    return go_to(address)
