"""Style sheets and scripts on their way out: packed once, and kept for everybody who can unpack them."""

from __future__ import annotations

import gzip

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from doe.web import urls


class Packed:
    """ASGI middleware around what never changes while the server runs; the stream of news and all pages pass untouched.

    Parameters
    ----------
    app : ASGI application
        What it serves.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._kept: dict[str, bytes] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, and pack what comes back."""
        if scope["type"] != "http" or not scope["path"].startswith(urls.static("")):
            await self.app(scope, receive, send)
            return
        can_unpack = unpacks(Headers(scope=scope).get("accept-encoding", ""))
        begun: list[Message] = []

        async def packing(message: Message) -> None:
            if message["type"] == "http.response.start":
                begun.append(message)
                return
            MutableHeaders(scope=begun[0]).add_vary_header("Accept-Encoding")
            if can_unpack and begun[0]["status"] == 200:
                message = {**message, "body": await self._packed(scope["path"], message["body"])}
                headers = MutableHeaders(scope=begun[0])
                headers["Content-Encoding"] = "gzip"
                headers["Content-Length"] = str(len(message["body"]))
            await send(begun[0])
            await send(message)

        await self.app(scope, receive, packing)

    async def _packed(self, path: str, body: bytes) -> bytes:
        if path not in self._kept:
            self._kept[path] = await run_in_threadpool(gzip.compress, body, mtime=0)
        return self._kept[path]


def unpacks(accepted: str) -> bool:
    """Tell whether a browser takes gzip: its name or a star, unless with a weight of nothing."""
    weights = {}
    for part in accepted.lower().split(","):
        name, _, weight = part.partition(";")
        weights[name.strip()] = weight.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return weights.get("gzip", weights.get("*", False))
