"""Everything that goes wrong in front of a user ends here: one page, one JSON shape, one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from doe.model.errors import FettleError, NoVariant, StoreError, UsageError
from doe.model.wording import cell_text
from doe.web import urls
from doe.web.contexts import FaultPage

_TITLES = {
    400: "That could not be understood",
    401: "The access key is missing",
    403: "That was not let through",
    404: "There is no such page",
    405: "That page cannot be used this way",
    409: "Somebody else was faster",
    413: "That is too big",
    422: "That could not be stored",
    429: "Too many attempts",
    500: "Fettle met a fault of its own",
    503: "The project file cannot be used now",
}
_ALLOWED = {
    "missing": "it must be given",
    "int": "it must be a whole number",
    "float": "it must be a number",
    "bool": "it must be true or false",
    "string": "it must be text",
    "list": "it must be a list",
    "dict": "it must be an object",
    "model": "it must be an object",
    "json": "it must be JSON",
    "finite": "it must be a number",
    "extra": "it is not known here",
}
_BOUNDS = {"ge": "at least", "gt": "more than", "le": "at most", "lt": "less than", "expected": ""}
_NOT_SHOWN = "That cannot be shown"
OWN_FAULT = "What was acknowledged is stored. Reload the page; if it happens again, the server's own output says more."


class Refused(Exception):  # noqa: N818 - it is an answer, not an accident
    """A request that is not let through.

    Parameters
    ----------
    status : int
        HTTP status.
    sentence : str
        Why.
    """

    def __init__(self, status: int, sentence: str) -> None:
        self.status = status
        super().__init__(sentence)


class TooLarge(Exception):  # noqa: N818
    """A body that grew beyond the limit while it was read."""

    def __init__(self, most: int) -> None:
        super().__init__(f"That is too big: at most {most // 1024**2} MB can be sent at once.")


class NoProject(Exception):  # noqa: N818
    """A page was asked for that needs a project, and none is open."""


class NotHere(Exception):  # noqa: N818
    """A page of a variant that is not there.

    Parameters
    ----------
    err : NoVariant
        The refusal of it.
    """

    def __init__(self, err: NoVariant) -> None:
        self.err = err
        super().__init__(str(err))


class SentOtherwise(Exception):  # noqa: N818
    """A form that was done before, and comes again with other values.

    Parameters
    ----------
    address : str
        Of the page that tells what was stored.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        super().__init__(
            "This form was sent before with other values, and those earlier values are what is stored. What was changed in it "
            "since is not. Look at what is stored, and take it back or correct it there; or open the form anew to store "
            "something more."
        )


def fault(
    request: Request,
    status: int,
    sentence: str,
    title: str = "",
    way_on: tuple[str, str] = (urls.bench(), "Back to the bench"),
) -> Response:
    """Return the page, or the JSON, that says what went wrong; `way_on` is an address and what it leads to."""
    is_asked = request.method in ("GET", "HEAD") and status in (400, 422)
    title = title or (_NOT_SHOWN if is_asked else _TITLES.get(status, "That did not work"))
    headers = {"Retry-After": "60"} if status == 429 else None
    if request.url.path.startswith("/api/"):
        body = {"error": {"status": status, "title": title, "message": sentence}}
        return JSONResponse(body, status_code=status, headers=headers)
    from doe.web.pages import plain_page  # pages render faults too

    typed = getattr(request.state, "typed", ())
    return plain_page("fault.html", FaultPage(title, sentence, *way_on, typed), status, headers)


def _no_variant(request: Request, status: int, err: NoVariant) -> Response:
    """Tell of a variant that is not there; of one that was taken out, by which entry, and the way to have it again."""
    told = request.app.state.desk.project.file.with_way_back(err)
    if not told.entry:
        return fault(
            request, status, f"{told} What was withdrawn stands in the history." if status == 404 else str(told)
        )
    sentence = f"{told} Taking that entry back in the history brings it back."
    return fault(request, status, sentence, way_on=(urls.history(told.entry), f"Entry {told.entry} in the history"))


def _allowed(problem: Mapping[str, Any]) -> str:
    """Say in a phrase what a value that was sent may be, from the kind of problem that the library names."""
    bounds = problem.get("ctx", {})
    for name, words in _BOUNDS.items():
        if name in bounds:
            return f"it must be {words} {cell_text(bounds[name])}".replace("  ", " ")
    kind = str(problem["type"])
    if kind == "string_too_long":
        return f"it must have {bounds['max_length']} characters at most"
    known = (words for start, words in _ALLOWED.items() if kind.startswith(start))
    return next(known, "the JSON interface says what it may be")


def install(app: FastAPI) -> None:
    """Register the handlers of every kind of failure; what none of them knows ends in the guard."""

    @app.exception_handler(HTTPException)
    def _http(request: Request, err: HTTPException) -> Response:
        known = {"Not Found": "Nothing is kept at this address.", "Method Not Allowed": "It takes no such request."}
        return fault(request, err.status_code, known.get(str(err.detail), str(err.detail)))

    @app.exception_handler(RequestValidationError)
    def _validation(request: Request, err: RequestValidationError) -> Response:
        first = err.errors()[0]
        # The library names what it tried last where a number or text is asked for, and the character where JSON ends to be any.
        parts = () if first["type"] == "json_invalid" else first["loc"][1:]
        where = " ".join(str(part) for part in parts if part not in ("float", "str"))
        if first["loc"][0] == "path":
            return fault(request, 404, "Nothing is kept at this address.")
        return fault(request, 422, f"{where or 'The request'} is not what is asked for here; {_allowed(first)}.")

    @app.exception_handler(Refused)
    def _refused(request: Request, err: Refused) -> Response:
        return fault(request, err.status, str(err))

    @app.exception_handler(SentOtherwise)
    def _otherwise(request: Request, err: SentOtherwise) -> Response:
        way_on = urls.as_earlier(err.address), "Look at what is stored"
        return fault(request, 409, str(err), "This form was sent already", way_on)

    @app.exception_handler(TooLarge)
    def _too_large(request: Request, err: TooLarge) -> Response:
        return fault(request, 413, str(err))

    @app.exception_handler(NoProject)
    def _no_project(request: Request, err: NoProject) -> Response:
        if request.url.path.startswith("/api/"):
            return fault(request, 404, "No project is open; start one on the first page.")
        return RedirectResponse(urls.start(), status_code=303)

    @app.exception_handler(NotHere)
    def _not_here(request: Request, err: NotHere) -> Response:
        return _no_variant(request, 404, err.err)

    @app.exception_handler(NoVariant)
    def _of_variant(request: Request, err: NoVariant) -> Response:
        return _no_variant(request, 422, err)

    @app.exception_handler(FettleError)
    def _fettle(request: Request, err: FettleError) -> Response:
        status = 503 if isinstance(err, StoreError) else (400 if isinstance(err, UsageError) else 422)
        return fault(request, status, str(err))
