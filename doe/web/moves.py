"""What moves it: one outcome at a time, and what settings not yet built should give."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.advise.nearest import all_starts, start_told
from doe.advise.what_if import foresee
from doe.charts import text
from doe.fit.answered import answered
from doe.model.change import broken_told
from doe.model.choices import Value
from doe.model.model_words import between_commas, in_place_of_parts, read_model
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.project import Project
from doe.sheets.answers import about, answer
from doe.sheets.contexts import Answer
from doe.sheets.pictures import page_settings
from doe.web import urls
from doe.web.contexts import Field, MovesPage, NavItem, Predicted, ReadingsOfOutcome, WhatIfPage
from doe.web.desk import View
from doe.web.factor_fields import factor_field, read_fields, reading_rows
from doe.web.pages import AtDesk, adviser_of, page, think, waiting

if TYPE_CHECKING:
    from doe.web.thinking import Thought

router = APIRouter(include_in_schema=False)

_MOST_TERMS = 4000
_TERMS_HINT = "main, two-factor or quadratic; or terms with commas between, such as wool, vents, wool:vents, wool^2."


@router.get("/moves")
@router.get("/moves/{outcome}")
def show(request: Request, desk: AtDesk, outcome: str = "", terms: str = "") -> Response:
    """Show what moves one outcome, by whatever may act or by the terms that are asked for."""
    setup = desk.view().snapshot.setup
    chosen = find_outcome(setup, outcome) if outcome else next(iter(setup.outcomes), None)
    known = think(desk)
    answers = known.thought.answer_of if known.thought is not None else {}
    found, error, step = answers.get(chosen.name) if chosen is not None else None, "", ""
    asked = ", ".join(between_commas(terms[:_MOST_TERMS]))
    if chosen is not None and asked:
        place = 1 + setup.outcomes.index(chosen)
        worked = adviser_of(request).ask(
            (desk.mark(), chosen.name, asked),
            lambda _: _by_terms(desk.project, chosen, asked, place),
            desk.settings.patience_s,
        )
        error, step = worked.refusal, "the answer by these terms" if worked.is_working else ""
        found = found if error else worked.answer
    context = MovesPage(
        tabs=tuple(NavItem(text.name(item.name), urls.moves(item.name), item == chosen) for item in setup.outcomes),
        answer=found,
        terms=asked if not error else "",
        step=step,
        ask=Field("terms", "Terms", "text", asked, hint=_TERMS_HINT, error=error) if chosen is not None else None,
        through=_through(setup, chosen) if chosen is not None else (),
        here=urls.moves(chosen.name) if chosen is not None else "",
        readings=urls.moves_readings(chosen.name) if chosen is not None else "",
        waiting=waiting(known),
        settings=page_settings(),
    )
    return page(request, "moves.html", context, 422 if error else 200)


def _by_terms(project: Project, outcome: Outcome, asked: str, place: int) -> Answer:
    model = read_model(asked, "Terms")
    return answer(place, answered(project.analyse(outcome.name, model), model))


def _through(setup: Setup, outcome: Outcome) -> tuple[NavItem, ...]:
    """Return a question for each derived quantity: whether it moves the outcome, in the place of its parts."""
    return tuple(
        NavItem(
            text.name(quantity.name),
            urls.moves(outcome.name, ", ".join(in_place_of_parts(quantity, setup.factors, setup.derived))),
            False,
        )
        for quantity in setup.derived
    )


@router.get("/moves/{outcome}/readings")
def raw(request: Request, desk: AtDesk, outcome: str) -> Response:
    """Show the raw readings behind an analysis."""
    view = desk.view()
    setup = view.snapshot.setup
    chosen = find_outcome(setup, outcome)
    rows = reading_rows([item for item in view.readings if item["outcome"] == chosen.name], setup)
    context = ReadingsOfOutcome(text.name(chosen.name), about(chosen), rows, urls.moves(chosen.name))
    return page(request, "readings_of_outcome.html", context)


def find_outcome(setup: Setup, name: str) -> Outcome:
    """Return the outcome of that name.

    Raises
    ------
    HTTPException
        404 if there is none.
    """
    found = next((item for item in setup.outcomes if item.name == name), None)
    if found is None:
        raise HTTPException(404)
    return found


@router.get("/what-if")
def what_if(request: Request, desk: AtDesk) -> Response:
    """Predict settings."""
    view, known = desk.view(), think(desk)
    setup, thought = view.snapshot.setup, known.thought
    best = dict(thought.asked.advice.best) if thought is not None and thought.asked.advice is not None else {}
    typed = {factor.name: request.query_params.get(f"f.{factor.name}", "").strip() for factor in setup.factors}
    is_asked = any(typed.values())
    if not is_asked:
        typed = {name: text.plain(value) for name, value in _first_guess(view, best).items()}
    settings, errors = read_fields(setup.factors, typed)
    problem = ""
    rows: tuple[Predicted, ...] = ()
    effort: tuple[str, ...] = ()
    if is_asked and thought is not None and not errors:
        problem = broken_told(settings, setup)
        rows = _predicted(thought, settings, best.get("settings") or {})
        effort = _effort(view, settings)
    elif is_asked and errors:
        problem = "Some settings cannot be read; see below."
    fields = tuple(
        factor_field(factor, typed.get(factor.name, ""), error=errors.get(factor.name, "") if is_asked else "")
        for factor in setup.factors
    )
    context = WhatIfPage(fields, rows, effort, problem, waiting(known))
    return page(request, "what_if.html", context, 422 if is_asked and errors else 200)


def _first_guess(view: View, best: Mapping[str, Any]) -> Mapping[str, Value]:
    if best.get("settings"):
        settings: Mapping[str, Value] = best["settings"]
        return settings
    built = [item.settings for item in view.snapshot.variants if item.settings]
    return built[-1] if built else {}


def _predicted(thought: Thought, settings: Mapping[str, Value], best: Mapping[str, Value]) -> tuple[Predicted, ...]:
    return tuple(
        Predicted(text.name(one.outcome.name), one.refusal or one.told(one.there), one.build, one.told(one.now))
        for one in foresee(thought.asked.analyses.values(), settings, best)
    )


def _effort(view: View, settings: Mapping[str, Value]) -> tuple[str, ...]:
    """Say what it takes to get there, from each unit that can, and from nothing."""
    setup = view.snapshot.setup
    return tuple(start_told(way) for way in all_starts(setup.factors, view.snapshot.units, settings, setup.effort))
