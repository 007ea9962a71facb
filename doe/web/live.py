"""Live: a stream that tells every open page when the project changed, whoever changed it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse

from doe.web.desk import Desk
from doe.web.pages import AtDesk

router = APIRouter(include_in_schema=False)
_LOOK_EVERY_S = 0.7
_SIGN_OF_LIFE_S = 15.0


@router.get("/live")
async def live(request: Request, desk: AtDesk, since: int = 0) -> StreamingResponse:
    """Send an event for each change of the project after entry `since`."""
    return StreamingResponse(
        _events(request, desk, since), media_type="text/event-stream", headers={"X-Accel-Buffering": "no"}
    )


async def _events(request: Request, desk: Desk, since: int) -> AsyncIterator[str]:
    """Look at the file's date often, and into it only when that changed."""
    yield "retry: 2000\n\n"
    mark: object = None
    quiet = 0.0
    while not await request.is_disconnected() and not request.app.state.is_closing:
        now = desk.mark()
        if now != mark:
            mark = now
            entries = await run_in_threadpool(lambda: desk.view().history)
            new = [entry for entry in entries if entry.id > since]
            if new:
                since, quiet = new[-1].id, 0.0
                yield _event(since, new[-1].summary)
        if quiet >= _SIGN_OF_LIFE_S:
            quiet = 0.0
            yield ": still here\n\n"
        await asyncio.sleep(_LOOK_EVERY_S)
        quiet += _LOOK_EVERY_S


def _event(entry: int, summary: str) -> str:
    body = json.dumps({"entry": entry, "summary": summary}, ensure_ascii=False)
    return f"id: {entry}\nevent: change\ndata: {body}\n\n"
