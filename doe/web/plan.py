"""Plan: which runs to make, compared for what may be spent; adopted, and abandoned."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.charts import text
from doe.model.errors import DataError, FettleError, UsageError
from doe.model.numbers import read_hours, read_number
from doe.model.wording import duration, number
from doe.plans.catalogue import KINDS
from doe.sheets.pictures import page_settings, picture
from doe.web import route, urls
from doe.web.contexts import Choice, Field
from doe.web.desk import Desk
from doe.web.forms import Sent
from doe.web.pages import AtDesk, go_to, page
from doe.web.plan_contexts import PlanPage, Runs
from doe.web.planner import Planner, Tell, Worked

if TYPE_CHECKING:
    from doe.planning.known import Judged
    from doe.plans import Plan, PlanChoice
    from doe.project import Project

router = APIRouter(include_in_schema=False)
router.include_router(route.router)

_ASKED = ("hours", "runs", "kind", "model", "beside")
_MODELS = {"main": "main effects", "two-factor": "interactions of two too", "quadratic": "curvature too"}
_CHANGED = "The log, or the plan that was shown, has changed since. Look at this one before adopting it."


@router.get("/plan")
def show(request: Request, desk: AtDesk) -> Response:
    """Show the plan that is being built, or plans that could be."""
    asked = {name: request.query_params.get(name, "").strip()[:40] for name in _ASKED}
    was_sent_empty = "hours" in request.query_params and not any(asked[name] for name in ("hours", "runs", "kind"))
    if was_sent_empty and desk.project.file.adopted_plan() is None:
        return _shown(request, desk, asked, "Say how much bench time you can spend, or how many variants.", 422)
    return _shown(request, desk, asked)


def _shown(request: Request, desk: Desk, asked: Mapping[str, str], error: str = "", status: int = 200) -> Response:
    planner = route.planner_of(request)
    is_adopted = desk.project.file.adopted_plan() is not None
    if is_adopted:
        found = planner.ask(
            (desk.mark(), "review"), lambda tell: _reviewed(desk.project, tell), desk.settings.patience_s
        )
    elif any(asked[name] for name in ("hours", "runs", "kind")):
        found = planner.ask(_key(desk, asked), lambda tell: _made(desk.project, asked, tell), desk.settings.patience_s)
    else:
        found = Worked()
    refused = route.in_words(found.refusal)
    context = _context(found, asked, is_adopted, error or refused)
    return page(request, "plan.html", context, 422 if refused and status == 200 else status)


def _key(desk: Desk, asked: Mapping[str, str]) -> tuple[object, ...]:
    return (desk.mark(), "plan", *(asked[name] for name in _ASKED))


def _reviewed(project: Project, tell: Tell) -> tuple[Plan, None, Judged]:
    judged = project.judged_by(project.adopted_outcome(), tell=tell)
    return project.review_plan(judged), None, judged


def _made(project: Project, asked: Mapping[str, str], tell: Tell) -> tuple[Plan, PlanChoice | None, Judged]:
    """Work out what was asked for.

    Raises
    ------
    DataError, UsageError
        If it cannot be read, or no plan is that way.
    """
    if not project.setup.factors:
        raise DataError("There are no factors yet, so there is nothing to plan; define them first.")
    hours, runs = _amount(asked, "hours", "Bench time"), _amount(asked, "runs", "Variants")
    if runs is not None and runs % 1:
        raise DataError(f"Variants is '{asked['runs']}'; it must be a whole number.")
    count, is_beside = int(runs) if runs is not None else None, asked["beside"] == "yes"
    if asked["kind"] and hours is not None:
        raise UsageError(
            "Bench time compares plans of every kind; leave it empty to ask for one kind, or leave the kind open."
        )
    judged = project.judged_by(tell=tell)
    if asked["kind"]:
        made = project.plan(
            count, asked["model"] or "main", kind=asked["kind"], beside_log=is_beside, judged=judged, tell=tell
        )
        return made, None, judged
    choice = project.choose_plan(count, hours, beside_log=is_beside, judged=judged, tell=tell)
    return choice.plan, choice, judged


def _amount(asked: Mapping[str, str], name: str, label: str) -> float | None:
    if not asked[name]:
        return None
    amount = (read_hours if name == "hours" else read_number)(asked[name], label)
    if not 0 < amount < 10_000:
        raise DataError(f"{label} is '{asked[name]}'; it must be more than 0.")
    return amount


def _context(found: Worked, asked: Mapping[str, str], is_adopted: bool, error: str) -> PlanPage:
    answer: tuple[Plan, PlanChoice | None, Judged] | None = found.answer
    made, choice, judged = answer if answer is not None else (None, None, None)
    sentences: tuple[str, ...] = ()
    if made is not None:
        sentences = choice.reason if choice is not None else (*made.separation.sentences, *made.precision_sentences())
    return PlanPage(
        kicker="Being built" if is_adopted else "Worth its builds" if choice is not None else "As asked for",
        heading=choice.headline if choice is not None else made.headline if made is not None else "",
        sentences=sentences,
        notes=(*made.notes, *([judged.note] if judged is not None and judged.note else [])) if made is not None else (),
        runs=_runs(made) if made is not None else None,
        others=_others(choice) if choice is not None else (),
        pictures=_pictures(made) if made is not None else (),
        is_adopted=is_adopted,
        hidden=tuple(asked.items()),
        fields=() if is_adopted else _fields(asked),
        finer=() if is_adopted else _finer(asked),
        step=(found.step or "the plan") if found.is_working else "",
        error=error,
        settings=page_settings(),
    )


def _runs(made: Plan) -> Runs:
    table = made.table
    units = {factor.name: factor.unit for factor in made.factors}
    headings = tuple(_heading(str(name), units) for name in table.columns)
    rows = tuple(tuple(text.plain(cell) for cell in row) for row in table.itertuples(index=False))
    names = table["variant"] if "variant" in table.columns else [""] * len(table)
    return Runs(headings, rows, tuple(urls.variant(name) if name else "" for name in names))


def _heading(name: str, units: Mapping[str, str]) -> str:
    if name not in units:
        return name.capitalize()
    return f"{text.name(name)}, {units[name]}" if units[name] else text.name(name)


def _others(choice: PlanChoice) -> tuple[tuple[str, str], ...]:
    rows = choice.table[~choice.table["is_recommended"]].to_dict("records")
    found = []
    for row in rows:
        sure = (
            f"interval of ± {number(row['half_width_of_judged'])}" if row["half_width_of_judged"] < float("inf") else ""
        )
        but = f"no interval for {row['unjudged']}" if row["unjudged"] else ""
        found.append(
            (row["plan"], "; ".join(part for part in (duration(60 * row["hours"]), row["apart"], sure, but) if part))
        )
    return tuple(found)


def _pictures(made: Plan) -> tuple[Any, ...]:
    return tuple(picture(f"plan-{what}", made, what) for what in ("correlations", "precision", "prediction"))


def _fields(asked: Mapping[str, str]) -> tuple[Field, ...]:
    return (
        Field("hours", "Bench time you can spend, readings included", "number", asked["hours"], "h"),
        Field("runs", "Most variants to build", "number", asked["runs"], hint="One of the two is enough."),
    )


def _finer(asked: Mapping[str, str]) -> tuple[Field, ...]:
    named = (Choice(kind, f"{kind}: {what}", asked["kind"] == kind) for kind, what in KINDS.items())
    kinds = (Choice("", "compare all that fit", not asked["kind"]), *named)
    models = tuple(Choice(name, what, asked["model"] == name) for name, what in _MODELS.items())
    beside = (Choice("yes", "the variants that are built count as runs already made", asked["beside"] == "yes"),)
    return (
        Field("kind", "Kind of plan", "list", choices=kinds),
        Field("model", "What that kind is to estimate", "list", choices=models),
        Field("beside", "Beside the log", "many", choices=beside),
    )


@router.post("/plan/adopt")
def adopt(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Keep the plan that was shown: its runs become planned variants."""
    asked = {name: sent.text(name)[:40] for name in _ASKED}
    planner: Planner = route.planner_of(request)

    def store() -> str:
        found = planner.answered(_key(desk, asked))
        if found is None:
            raise LookupError
        made, choice, judged = found
        model = choice.model if choice is not None else asked["model"] or "main"
        return urls.with_done(urls.plan(), desk.project.adopt(made, model, judged.outcome).id)

    try:
        return go_to(desk.once(sent.once, store))
    except LookupError:
        return _shown(request, desk, asked, _CHANGED, 409)
    except FettleError as err:
        return _shown(request, desk, asked, str(err), 422)


@router.post("/plan/abandon")
def abandon(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Give the plan up; what is built of it stays."""
    try:
        return go_to(desk.once(sent.once, lambda: urls.with_done(urls.plan(), desk.project.abandon_plan().id)))
    except FettleError as err:
        return _shown(request, desk, dict.fromkeys(_ASKED, ""), str(err), 409)


@router.post("/plan/stop")
def stop(request: Request, sent: Sent) -> Response:
    """End a search with the best so far, and go back to where it was asked for."""
    route.planner_of(request).stop()
    back = sent.text("back")
    return go_to(back if re.fullmatch(r"/(?:plan|route)(?:\?[\w=&.%-]*)?", back) else urls.plan())
