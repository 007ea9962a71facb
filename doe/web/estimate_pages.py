"""Estimates: what a resonator, a box, a cavity or a gap should do by theory, before anything is built."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from doe.model.errors import UsageError, listed
from doe.model.wording import capital, cell_text, number, spaced, unit_behind
from doe.signals.estimates import ESTIMATES, Quantity, about, estimate, offered, quantities_of
from doe.signals.physics import Estimate
from doe.web import urls
from doe.web.contexts import Choice, EstimatePage, Field
from doe.web.factor_fields import blame, in_labels
from doe.web.pages import as_json, page

router = APIRouter()
_MOST = 40


@router.get("/estimates", include_in_schema=False)
def show_list(request: Request) -> Response:
    """Show what can be estimated; no project needed."""
    return page(request, "estimate.html", EstimatePage(estimates=_listed("")))


@router.get("/estimates/{name}", include_in_schema=False)
def show(request: Request, name: str) -> Response:
    """Show what an estimate takes, and what comes of it."""
    if name not in ESTIMATES:
        raise HTTPException(404)
    quantities = quantities_of(name)
    typed = {item.name: request.query_params.get(item.name, "").strip()[:_MOST] for item in quantities}
    found, missing, refused = _worked_out(name, quantities, typed)
    labels = {item.name: capital(item.label) for item in quantities}
    about_field = blame(refused, list(labels))
    errors = {word: f"{labels[word]} is empty; it is needed." for word in missing}
    errors |= {about_field: in_labels(refused, labels)} if about_field else {}
    context = EstimatePage(
        name=capital(spaced(name)),
        about=about(name),
        address=urls.estimates(name),
        fields=tuple(_field(item, typed[item.name], errors.get(item.name, "")) for item in quantities),
        figures=_figures(found) if found is not None else (),
        formulas=tuple(dict.fromkeys(one.formula for one in (found, *found.more))) if found is not None else (),
        source=found.source if found is not None else "",
        trust=found.trust if found is not None else "",
        error=in_labels(refused, labels),
        missing=listed([labels[word].lower() for word in missing], "and"),
        estimates=_listed(name),
    )
    return page(request, "estimate.html", context, 422 if missing or refused else 200)


@router.get("/api/estimates", tags=["estimates"])
def list_estimates() -> JSONResponse:
    """List the estimates and what each takes."""
    return as_json(offered())


@router.get("/api/estimates/{name}", tags=["estimates"])
def work_out(request: Request, name: str) -> JSONResponse:
    """Work one out; its quantities are query parameters."""
    if name not in ESTIMATES:
        raise HTTPException(404, f"There is no estimate '{name[:_MOST]}'.")
    return as_json(estimate(name, dict(request.query_params)).to_tables())


def _worked_out(
    name: str, quantities: tuple[Quantity, ...], typed: Mapping[str, str]
) -> tuple[Estimate | None, list[str], str]:
    """Return what comes of it, or what is still missing, or why it is refused; nothing of these before anything is typed."""
    given = {word: value for word, value in typed.items() if value}
    if not any(item.name in given for item in quantities if not item.choices):  # a list always says something
        return None, [], ""
    missing = [item.name for item in quantities if item.is_needed and item.name not in given]
    if missing:
        return None, missing, ""
    try:
        return estimate(name, given), [], ""
    except UsageError as err:
        return None, [], str(err)


def _field(item: Quantity, value: str, error: str) -> Field:
    if item.choices:
        chosen = value or item.default
        choices = tuple(Choice(word, word, word == chosen) for word in item.choices)
        return Field(item.name, item.label, "list", hint=item.about, error=error, choices=choices)
    left_out = "" if item.default is None else f" Left empty it is {cell_text(item.default)}."
    hint = f"{item.about}{left_out}" if item.is_needed or left_out else f"{item.about} May stay empty."
    return Field(item.name, item.label, "number", value, item.unit, hint, error, is_needed=item.is_needed)


def _figures(found: Estimate) -> tuple[tuple[str, str], ...]:
    return tuple((one.name, f"{number(one.value)}{unit_behind(one.unit)}") for one in (found, *found.more))


def _listed(here: str) -> tuple[tuple[str, str, str, bool], ...]:
    return tuple((capital(spaced(name)), about(name), urls.estimates(name), name == here) for name in ESTIMATES)
