"""What every request passes first: the name it calls us by, where it comes from, how big it is, and who sends it."""

from __future__ import annotations

import logging
from collections.abc import MutableMapping
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request, cookie_parser
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from doe.web import urls
from doe.web.faults import OWN_FAULT, Refused, TooLarge, fault
from doe.web.settings import Settings
from doe.web.tokens import COOKIE, Tokens

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "font-src 'self'; media-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: browsers then send 'Origin: null' with our own forms, which could not be told from others'.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), camera=(self)",
}
_log = logging.getLogger("fettle.web")
_EXPIRED = (
    "The key that opened this page counts no more, so nothing was stored. Enter the new key, then go back and send the form "
    "again; the browser still holds what was typed."
)
TOO_BIG = 413
_MOST_THROWN_AWAY = 1024**3
_LONGEST_NUMBER = 18
_SAFE = ("GET", "HEAD", "OPTIONS")


class Guard:
    """ASGI middleware in front of everything.

    Parameters
    ----------
    app : ASGI application
        What it guards.
    settings : Settings
        Allowed names and sizes.
    tokens : Tokens
        Signs the cookie.
    """

    def __init__(self, app: ASGIApp, settings: Settings, tokens: Tokens) -> None:
        self.app = app
        self.settings = settings
        self.tokens = tokens

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        caller, is_open = self._caller(headers)
        is_new = not caller
        cookie = self.tokens.new_cookie(is_open=False) if is_new else ""
        if is_new:
            caller, is_open = self.tokens.read_cookie(cookie)
        scope.setdefault("state", {}).update(caller=caller, is_open=is_open or not self.tokens.needs_key)
        answer = _Dressed(send, cookie if _wants_cookie(scope["path"]) else "")
        try:
            self._check(scope, headers)
        except Refused as err:
            if err.status == TOO_BIG:
                await _thrown_away(receive)
            await fault(Request(scope), err.status, str(err))(scope, receive, answer)
            return
        if not scope["state"]["is_open"] and not _is_public(scope["path"]):
            await self._turn_away(scope)(scope, receive, answer)
            return
        try:
            await self.app(scope, _bounded(receive, self.settings.most_bytes), answer)
        except Exception as err:  # no traceback reaches a page
            _log.error("fault at %s", scope["path"], exc_info=err)
            if not answer.is_started:
                await fault(Request(scope), 500, OWN_FAULT)(scope, receive, answer)

    def _caller(self, headers: Headers) -> tuple[str, bool]:
        return self.tokens.read_cookie(cookie_parser(headers.get("cookie", "")).get(COOKIE, ""))

    def _check(self, scope: Scope, headers: Headers) -> None:
        """Refuse what no page of ours would send.

        Raises
        ------
        Refused
            If the host is not ours, a write comes from another site, another site's page asks for more than a link would, or
            the body is too big.
        """
        host = headers.get("host", "")
        if _without_port(host) not in self.settings.hosts:
            raise Refused(
                400,
                f"This server does not answer to the name '{_without_port(host)[:80]}'; use the address it printed.",
            )
        if scope["method"] not in _SAFE and not _is_same_site(headers, host):
            raise Refused(403, "This was sent from another site; open the page here and send it again.")
        if headers.get("sec-fetch-site") == "cross-site" and headers.get("sec-fetch-mode") != "navigate":
            # an answer may take seconds to work out, so that pictures could keep the server busy
            raise Refused(403, "This was asked for by a page of another site; open the address itself.")
        size = headers.get("content-length", "0")
        if not size.isdecimal() or len(size) > _LONGEST_NUMBER or int(size) > self.settings.most_bytes:
            raise Refused(
                TOO_BIG, f"That is too big: at most {self.settings.most_bytes // 1024**2} MB can be sent at once."
            )

    def _turn_away(self, scope: Scope) -> Any:
        request = Request(scope)
        if scope["path"].startswith("/api"):
            return fault(request, 401, "The access key is missing; open the pages once with the key that was printed.")
        if scope["method"] not in _SAFE:  # a redirect would throw away what was typed
            return fault(request, 401, _EXPIRED)
        return RedirectResponse(urls.enter(), status_code=303)


def _without_port(host: str) -> str:
    host = host.casefold()
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]


def _is_same_site(headers: Headers, host: str) -> bool:
    """Tell whether a write comes from our own pages, or from a program that is no browser."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is None or origin.partition("://")[2].casefold() == host.casefold()


def _is_public(path: str) -> bool:
    return path.startswith(("/enter", "/static/", "/listen/"))


def _wants_cookie(path: str) -> bool:
    """Tell whether a caller gets a cookie here; a rater's page sets none."""
    return not path.startswith(("/static/", "/listen/", "/api", "/live"))


class _Dressed:
    """Sends with the headers that every answer has."""

    def __init__(self, send: Send, cookie: str) -> None:
        self.is_started = False
        self._send = send
        self._cookie = cookie

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.is_started = True
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-store")
            if self._cookie and COOKIE not in headers.get("set-cookie", ""):
                headers.append("Set-Cookie", cookie_line(self._cookie))
        await self._send(message)


def cookie_line(content: str) -> str:
    """Return the cookie as it is set: for this site only, out of reach of scripts."""
    return f"{COOKIE}={content}; Path=/; HttpOnly; SameSite=Lax"


def _bounded(receive: Receive, most: int) -> Receive:
    """Receive no more than so many bytes, whatever was announced."""
    seen = 0

    async def bounded() -> MutableMapping[str, Any]:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most:
            if message.get("more_body"):
                await _thrown_away(receive)
            raise TooLarge(most)
        return message

    return bounded


async def _thrown_away(receive: Receive, most: int = _MOST_THROWN_AWAY) -> None:
    """Let the rest of a body come and keep none of it: a browser that is cut off while it sends shows no page."""
    seen = 0
    while seen <= most:
        message = await receive()
        seen += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            return
