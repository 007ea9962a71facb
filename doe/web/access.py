"""The access key of a server that others on the network can reach."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.web import urls
from doe.web.contexts import EnterPage
from doe.web.faults import fault
from doe.web.forms import Sent
from doe.web.guard import cookie_line
from doe.web.pages import go_to, page
from doe.web.tokens import Tokens

router = APIRouter(include_in_schema=False)


@router.get("/enter")
def show(request: Request, key: str = "") -> Response:
    """Ask for the key, or take it from the link in the QR code."""
    if request.state.is_open:
        return go_to(urls.bench())
    return _tried(request, key) if key else page(request, "enter.html", EnterPage(""))


@router.post("/enter")
def enter(request: Request, sent: Sent) -> Response:
    """Take the key."""
    return _tried(request, sent.text("key"))


def _tried(request: Request, key: str) -> Response:
    tokens: Tokens = request.app.state.tokens
    address = request.client.host if request.client is not None else "?"
    if not tokens.may_try(address):
        return fault(request, 429, "Too many wrong keys came from this address; wait a minute and try again.")
    if not tokens.is_key(key):
        tokens.count_wrong(address)
        context = EnterPage("That is not the key; it was printed where the server was started.")
        return page(request, "enter.html", context, 403)
    answer = go_to(urls.bench())
    answer.headers.append("Set-Cookie", cookie_line(tokens.new_cookie(is_open=True)))
    return answer
