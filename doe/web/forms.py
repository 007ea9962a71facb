"""What a form sent, checked for where it came from."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile

from doe.model.errors import DataError
from doe.model.numbers import read_minutes, read_number
from doe.web.faults import Refused

_OF_FACTORS = re.compile(r"^[fo]\.")
"""What forms write before the names of factors and outcomes."""
_MOST_TEXT = 20_000
_STALE = (
    "This form was shown before the server was last started, or before another project was opened. Go back, reload the page "
    "and send it again; what was typed is kept in this browser."
)


@dataclass(frozen=True, slots=True)
class Posted:
    """A form as it was sent.

    Attributes
    ----------
    values : dict of str to list of str
        Every field; text without blanks around it.
    files : dict of str to list of (str, bytes)
        Every chosen file: its name and content.
    """

    values: dict[str, list[str]]
    files: dict[str, list[tuple[str, bytes]]]

    def text(self, name: str) -> str:
        """Return one field; empty if it was not sent."""
        return self.values.get(name, [""])[0]

    def many(self, name: str) -> list[str]:
        """Return every value of a field that may be chosen several times."""
        return [value for value in self.values.get(name, []) if value]

    def shown(self) -> tuple[tuple[str, str], ...]:
        """Return what was typed, for a page that cannot show the form again."""
        hidden = ("token", "once", "seen", "carried", "mark", "sheet")
        return tuple(
            (_OF_FACTORS.sub("", name), "\n".join(values))
            for name, values in self.values.items()
            if name not in hidden and not name.startswith("was.") and any(values)
        )

    @property
    def once(self) -> str:
        """Token of this showing of the form."""
        return self.text("once")

    @property
    def content(self) -> str:
        """Mark that differs wherever what was typed or chosen does."""
        typed = {name: values for name, values in self.values.items() if name != "token"}
        files = {name: [(file, sha256(data).hexdigest()) for file, data in kept] for name, kept in self.files.items()}
        return sha256(json.dumps([typed, files], sort_keys=True).encode()).hexdigest()


def form_owner(request: Request, opening: str = "") -> str:
    """Return what a form is made for: its caller, and the project that was open when it was shown."""
    return f"{request.state.caller} {opening or request.app.state.desk.openings[-1]}"


def _is_ours(request: Request, token: str) -> bool:
    """Tell whether a form was shown to this caller, for the project that is open; starting one may come from another."""
    openings = list(request.app.state.desk.openings)
    known = openings if request.url.path.startswith("/start") else openings[-1:]
    return any(request.app.state.tokens.is_form_token(form_owner(request, opening), token) for opening in known)


async def posted(request: Request) -> Posted:
    """Read a form; a dependency of every handler that stores something.

    Raises
    ------
    Refused
        If it was not shown to this caller, or a text is too long.
    """
    async with request.form(max_files=20, max_fields=3000, max_part_size=_MOST_TEXT * 4) as form:
        sent = await _sorted(form)
    request.state.typed = sent.shown()
    if not _is_ours(request, sent.text("token")):
        raise Refused(403, _STALE)
    return sent


async def read_form(request: Request) -> Posted:
    """Read a form whose token is checked by the handler itself."""
    async with request.form(max_files=0, max_fields=200, max_part_size=_MOST_TEXT * 4) as form:
        sent = await _sorted(form)
    request.state.typed = sent.shown()
    return sent


Sent = Annotated[Posted, Depends(posted)]
SentBlind = Annotated[Posted, Depends(read_form)]


async def _sorted(form: FormData) -> Posted:
    values: dict[str, list[str]] = {}
    files: dict[str, list[tuple[str, bytes]]] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            if value.filename:
                files.setdefault(name, []).append((value.filename, await value.read()))
        elif len(value) > _MOST_TEXT:
            raise Refused(413, f"The text in '{name[:60]}' is too long: at most {_MOST_TEXT} characters.")
        else:
            clean = value.replace("\r\n", "\n").replace("\0", "").strip()
            values.setdefault(name, []).append(clean)
    return Posted(values, files)


def marked(count: int, done: str = "stored") -> str:
    """Say above a form that some of its fields are not as they must be, so that what it is for is not done."""
    return f"Nothing is {done} yet: see the {'field' if count == 1 else 'fields'} marked below."


def way_back(sent: Posted, otherwise: str, *pages: str) -> str:
    """Return the address in the field `back` if it is one of these pages of ours, with what was asked of it."""
    back = sent.text("back")
    return back if re.fullmatch(rf"(?:{'|'.join(map(re.escape, pages))})(?:\?[\w=&.%+-]*)?", back) else otherwise


def at_most(text: str, name: str, most: int) -> str:
    """Return text that is not too long for its field; it is never cut silently.

    Raises
    ------
    DataError
        If it is.
    """
    if len(text) > most:
        raise DataError(f"{name} has {len(text)} characters; it may have at most {most}.")
    return text


def bench_minutes_or_none(text: str, name: str) -> float | None:
    """Read a time at the bench in minutes, None for an empty field.

    Raises
    ------
    DataError
        If it is none.
    """
    return read_minutes(text, name) if text else None


def not_negative_or_none(text: str, name: str) -> float | None:
    """Read a number from 0, None for an empty field.

    Raises
    ------
    DataError
        If it is none.
    """
    if not text:
        return None
    try:
        number = read_number(text, name)
    except DataError:
        number = -1.0
    if not number >= 0 or number == float("inf"):
        raise DataError(f"{name} is '{text[:60]}'; it must be a number from 0.")
    return number
