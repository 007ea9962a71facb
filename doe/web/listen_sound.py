"""The recordings of a blind session, served under codes: nothing else is in their addresses, headers or bytes."""

from __future__ import annotations

import secrets
from collections.abc import Sequence

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.model.listening import Sample
from doe.store.listening import KeptSession
from doe.web.desk import Desk
from doe.web.listen import sheet_of
from doe.web.pages import AtDesk

router = APIRouter(include_in_schema=False)


@router.get("/listen/{key}/{code}.wav")
def sound(desk: AtDesk, key: str, code: str) -> Response:
    """Serve one recording to a rater whose sheet holds that code; there is none of what was withdrawn since."""
    kept, sheet = sheet_of(desk, key)
    is_asked = any(code in trial for trial in sheet.trials)
    if not kept.session.plays or kept.session.is_closed or not is_asked or not kept.session.variant_of(code):
        raise HTTPException(404)
    return Response(_sounds(desk, kept)[code], media_type="audio/wav")


def _sounds(desk: Desk, kept: KeptSession) -> dict[str, bytes]:
    """Return every recording of a session by code; made once for the variants that are there, all of the same length."""
    heard = tuple(sample for sample in kept.session.samples if sample.variant)
    return desk.sounds((str(desk.project.path), kept.id, heard), lambda: _made(desk, heard))


def _made(desk: Desk, heard: Sequence[Sample]) -> dict[str, bytes]:
    from doe.measuring import playback  # scipy
    from doe.signals.playback import as_wav

    clips = playback(desk.project.file, [sample.variant for sample in heard])
    return {sample.code: as_wav(clips[sample.variant], secrets.randbits(64)) for sample in heard}
