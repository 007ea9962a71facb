"""From a context to a page: the frame around it, the templates, and nothing else."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request
from jinja2 import ChoiceLoader, Environment, FileSystemLoader, StrictUndefined
from pydantic import AfterValidator
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from doe.charts import text
from doe.model.change import find_variant
from doe.model.errors import DataError, NoVariant, UsageError
from doe.model.plain import plain
from doe.model.records import Variant
from doe.model.settled import SettledVersion
from doe.model.version import version
from doe.model.wording import capital, counted
from doe.project import Project
from doe.sheets.render import TEMPLATES as SHEETS
from doe.web import urls
from doe.web.contexts import Frame, NavItem, Notice, Waiting
from doe.web.desk import Desk, View
from doe.web.faults import NotHere
from doe.web.forms import form_owner
from doe.web.planner import Planner
from doe.web.thinking import Known

TEMPLATES = Path(__file__).parent / "templates"
_LONGEST_NUMBER = 18
_EARLIER = (
    "These are the earlier values, from before the form was changed and sent again. To store what was changed, correct it "
    "here, or take it back and send the form anew."
)
_NAV = (
    ("Bench", urls.bench()),
    ("Log", urls.log()),
    ("Variants", urls.variants()),
    ("Sessions", urls.sessions()),
    ("What moves it", urls.moves()),
    ("Next change", urls.next_change()),
    ("Plan", urls.plan()),
    ("Settle", urls.settle()),
    ("History", urls.history()),
    ("Set-up", urls.setup()),
)


@cache
def environment() -> Environment:
    """Return the template environment: our own pages first, then the partials that the report shares."""
    made = Environment(
        loader=ChoiceLoader([FileSystemLoader(TEMPLATES), FileSystemLoader(SHEETS)]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["urls"] = urls
    made.globals["mark"] = lambda: secrets.token_urlsafe(6)  # tells the forms of one page apart
    return made


def as_json(content: Any, status: int = 200) -> JSONResponse:
    """Answer with plain data."""
    return JSONResponse(plain(content), status)


def known_variant(variants: Sequence[Variant], name: str) -> Variant:
    """Return the variant of that name.

    Raises
    ------
    NotHere, HTTPException
        404 if there is none, or several that differ in capitals only.
    """
    try:
        return find_variant(name, variants)
    except NoVariant as err:
        raise NotHere(err) from None
    except DataError as err:
        raise HTTPException(404, str(err)) from None


def known_version(project: Project, number: int) -> SettledVersion:
    """Return the settled version of that number.

    Raises
    ------
    HTTPException
        404 if there is none.
    """
    try:
        return project.version(number)
    except (DataError, UsageError) as err:
        raise HTTPException(404, str(err)) from None


def desk_of(request: Request) -> Desk:
    """Return the open project's desk; a dependency of every page that needs one.

    Raises
    ------
    NoProject
        If none is open.
    """
    desk: Desk = request.app.state.desk
    desk.project  # noqa: B018 - raises
    return desk


def adviser_of(request: Request) -> Planner:
    """Return what answers questions about the log that a page asks beside the usual ones."""
    adviser: Planner = request.app.state.adviser
    return adviser


AtDesk = Annotated[Desk, Depends(desk_of)]
VariantName = Annotated[str, AfterValidator(urls.variant_at)]


def page(request: Request, name: str, context: Any, status: int = 200) -> HTMLResponse:
    """Render a page inside the frame.

    Parameters
    ----------
    request : Request
        What is answered.
    name : str
        Template.
    context : dataclass
        Its fields become the template's names.
    status : int
        HTTP status.
    """
    values = {item.name: getattr(context, item.name) for item in fields(context)}
    html = environment().get_template(name).render(**values, frame=frame(request))
    return HTMLResponse(html, status_code=status)


def plain_page(
    name: str, context: Any, status: int = 200, headers: Mapping[str, str] | None = None, **more: object
) -> HTMLResponse:
    """Render a page without frame: faults, the key, a rater's page."""
    values = {item.name: getattr(context, item.name) for item in fields(context)}
    return HTMLResponse(environment().get_template(name).render(**values, **more), status, headers)


def frame(request: Request) -> Frame:
    """Return what stands around a page."""
    desk: Desk = request.app.state.desk
    view = desk.view() if desk.is_open else None
    return Frame(
        title=view.snapshot.setup.title if view is not None else "Fettle",
        counts=_counts(view) if view is not None else "",
        nav=_nav(request.url.path) if view is not None else (),
        notice=_notice(request, desk, view),
        token=request.app.state.tokens.form_token(form_owner(request)),
        once=secrets.token_urlsafe(12),
        entry=view.last_entry if view is not None else 0,
        version=version(),
    )


def _nav(path: str) -> tuple[NavItem, ...]:
    family = {
        "readings": "variants",
        "compare": "variants",
        "what-if": "moves",
        "import": "setup",
        "recipes": "setup",
        "estimates": "setup",
        "start": "setup",
        "route": "plan",
        "rehearse": "plan",
    }
    first = path.strip("/").split("/")[0]
    if path.startswith("/variants/") and path.endswith("/readings"):
        first = "log"
    here = "/" + family.get(first, first)
    return tuple(NavItem(label, href, href == here) for label, href in _NAV)


def _counts(view: View) -> str:
    built = [item for item in view.snapshot.variants if item.status != "planned"]
    return f"{counted(len(built), 'variant')} · {counted(len(view.snapshot.units), 'unit')}"


def _notice(request: Request, desk: Desk, view: View | None) -> Notice | None:
    done = request.query_params.get("done", "")
    if view is None or not done.isdecimal() or len(done) > _LONGEST_NUMBER:
        return None
    entry = next((item for item in reversed(view.history) if item.id == int(done)), None)
    if entry is None:
        return None
    said = capital(entry.summary)
    can_undo = entry.taken_back_by is None and entry.kind not in ("create", "restore")
    is_earlier = bool(request.query_params.get("earlier"))
    told = f"Stored earlier: {said}. {_EARLIER}" if is_earlier else f"Stored: {said}."
    warnings, notes = desk.said(entry.id)
    return Notice(
        " ".join([told, *notes]), urls.undo(entry.id) if can_undo else "", tuple(warnings), is_earlier=is_earlier
    )


def slips_told(slips: Iterable[str]) -> list[str]:
    """Return what is said of likely slips in that which was just stored."""
    return [f"{slip}; if that is a slip, put it right." for slip in slips if slip]


def waiting(known: Known) -> Waiting:
    """Say how far the analysis is."""
    return Waiting(
        known.is_working, known.step, known.trouble, is_stale=known.thought is not None and not known.is_fresh
    )


def think(desk: Desk, *, is_patient: bool = True) -> Known:
    """Return what is known about the log as it is now; a page that is about something else starts nothing."""
    if not is_patient:
        return desk.thinker.last(desk.mark())
    return desk.thinker.ask(desk.project, desk.mark(), desk.settings.patience_s)


def best_of(known: Known) -> str:
    """Return the variant that is known to be the best; empty without one."""
    advice = known.thought.asked.advice if known.thought is not None else None
    return text.plain(advice.best.get("variant")) if advice is not None and advice.best else ""


def go_to(address: str) -> Response:
    """Send the browser on after something was stored."""
    return RedirectResponse(address, status_code=303)
