"""The access key of a server that others on the network can reach."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import quote, unquote

from fastapi import APIRouter, Request
from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import Scope

from doe.web import urls
from doe.web.contexts import EnterPage
from doe.web.faults import fault
from doe.web.forms import Sent
from doe.web.guard import Guard, cookie_line
from doe.web.pages import go_to, page
from doe.web.tokens import Tokens

router = APIRouter(include_in_schema=False)
_ASKED = "asked"
_KEPT_S = 600
_LONGEST = 1000


class Door(Guard):
    """The guard, who sends a visitor without the key to the page that asks for it, and keeps which page was wanted."""

    def _turn_away(self, scope: Scope) -> Any:
        answer: Response = super()._turn_away(scope)
        asked = _address(scope)
        is_page = scope["method"] == "GET" and "text/html" in Headers(scope=scope).get("accept", "")
        if is_page and is_local(asked):
            answer.headers.append("Set-Cookie", _asked_line(quote(asked, safe=""), _KEPT_S))
        return answer


def _address(scope: Scope) -> str:
    query = scope.get("query_string", b"").decode("latin-1")
    return quote(scope["path"]) + (f"?{query}" if query else "")


def _asked_line(content: str, seconds: int) -> str:
    return f"{_ASKED}={content}; Path={urls.enter()}; Max-Age={seconds}; HttpOnly; SameSite=Lax"


def is_local(address: str) -> bool:
    """Tell whether an address is a page of ours: a browser takes two strokes, or a stroke and a backslash, for another site."""
    return len(address) <= _LONGEST and re.fullmatch(r"/(?![/\\])[!-~]*", address) is not None


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
    asked = unquote(request.cookies.get(_ASKED, ""))
    answer = go_to(asked if is_local(asked) else urls.bench())
    answer.headers.append("Set-Cookie", cookie_line(tokens.new_cookie(is_open=True)))
    answer.headers.append("Set-Cookie", _asked_line("", 0))
    return answer
