"""Plan: which runs to make, compared for what may be spent; adopted, and abandoned."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.coding import Coding
from doe.model.errors import DataError, FettleError, UsageError, listed
from doe.model.numbers import read_hours, read_number
from doe.model.wording import capital, duration
from doe.plans.catalogue import KINDS
from doe.plans.choose import bench_time, in_short
from doe.plans.layout import Layout
from doe.plans.precision import POWER
from doe.plans.varied import named_terms
from doe.sheets.pictures import page_settings, picture
from doe.web import route, urls
from doe.web.contexts import Choice, Field
from doe.web.definition_faults import NotRead
from doe.web.desk import Desk
from doe.web.forms import Sent, marked, way_back
from doe.web.pages import AtDesk, go_to, page
from doe.web.plan_contexts import PlanPage, Runs
from doe.web.plan_runs import next_build, runs_of_plan, runs_to_build
from doe.web.planner import Planner, Tell, Worked

if TYPE_CHECKING:
    from doe.advise.route import Route
    from doe.planning.known import Judged
    from doe.plans import Plan, PlanChoice
    from doe.project import Project

router = APIRouter(include_in_schema=False)
router.include_router(route.router)

_SHAPE = {"blocks": "block", "units": "units", "centre": "centre"}
"""What may be said of the plan of one kind, by the word with which a refusal speaks of it."""
_ASKED = ("hours", "runs", "kind", "model", "beside", *_SHAPE)
_AMOUNTS = ("hours", "runs", "kind")
"""One of these has to be said."""
_GIVEN = (*_ASKED, "at")
"""What an address may say: the question, and which of the plans that answer it is looked at."""
_AMOUNTS_SAID = {
    "hours": ("Bench time", 10_000),
    "runs": ("Variants", 1000),
    "blocks": ("Sessions", 1000),
    "units": ("Units", 1000),
    "centre": ("Runs in the middle", 1000),
}
"""How a sentence begins that is about an amount, and the most that it may be."""
_OF_NO_FIELD = ("There are no factors", "The search was stopped", "Existing run", "loosen the limit")
"""Signs of refusals that no other entry in the form would mend."""
_EVEN = 0.5
_ONE_KIND = "Bench time compares plans of every kind; leave it empty to ask for one kind, or leave the kind open."
_OF_ONE_KIND = "This is said of one kind of plan; choose the kind, or leave it empty."
_MODELS = {"main": "main effects", "two-factor": "interactions of two too", "quadratic": "curvature too"}
_CHANGED = "The log, or the plan that was shown, has changed since. Look at this one before adopting it."


@router.get("/plan")
def show(request: Request, desk: AtDesk) -> Response:
    """Show the plan that is being built, or plans that could be."""
    return _shown(request, desk, {name: request.query_params.get(name, "").strip()[:40] for name in _GIVEN})


def _shown(request: Request, desk: Desk, asked: Mapping[str, str], error: str = "", status: int = 200) -> Response:
    planner, patience = route.planner_of(request), desk.settings.patience_s
    is_adopted = desk.project.file.adopted_plan() is not None
    found, errors = Worked(), {}
    if is_adopted:
        found = planner.ask((desk.mark(), "review"), lambda tell: _reviewed(desk.project, tell), patience)
    elif "hours" in request.query_params or any(asked[name] for name in _AMOUNTS):
        try:
            wish = _read(asked)
            found = planner.ask(_key(desk, asked), lambda tell: _made(desk.project, wish, tell), patience)
        except NotRead as err:
            errors = dict(err.errors)
    refused = route.in_words(found.refusal)
    if refused and not is_adopted:
        errors = _at_field(refused, asked)
    is_refused = bool(refused or errors)
    refused = marked(len(errors), "planned") if errors else refused
    context = _context(found, asked, is_adopted, error or refused, errors)
    if is_adopted and refused:  # its runs are there all the same
        context = replace(context, **_unjudged(desk.project))
    context = replace(context, has_factors=bool(desk.view().snapshot.setup.factors))
    return page(request, "plan.html", context, 422 if is_refused and status == 200 else status)


def _key(desk: Desk, asked: Mapping[str, str]) -> tuple[object, ...]:
    return (desk.mark(), "plan", *(asked[name] for name in _ASKED))


@dataclass(frozen=True, slots=True)
class _Wish:
    """What is asked for, as numbers."""

    hours: float | None
    runs: int | None
    kind: str
    model: str
    is_beside: bool
    shape: Mapping[str, int]


def _read(asked: Mapping[str, str]) -> _Wish:
    """Read what was typed.

    Raises
    ------
    NotRead
        Naming every field that is wrong.
    """
    errors: dict[str, str] = {}
    amounts: dict[str, float | None] = {}
    for name in _AMOUNTS_SAID:
        try:
            amounts[name] = _amount(asked, name)
        except DataError as err:
            errors[name] = str(err)
    if asked["kind"] and asked["hours"]:
        errors.setdefault("hours", _ONE_KIND)
    if not any(asked[name] for name in _AMOUNTS):
        errors["hours"] = "Say how much bench time you can spend, or how many variants."
    if asked["kind"] and asked["kind"] not in KINDS:
        errors["kind"] = f"Kind of plan is '{asked['kind']}'; it must be {listed(KINDS)}."
    if asked["model"] and asked["model"] not in _MODELS:
        errors["model"] = f"What it is to estimate is '{asked['model']}'; it must be {listed(_MODELS)}."
    if not asked["kind"]:
        errors |= {name: _OF_ONE_KIND for name in _SHAPE if asked[name] and name not in errors}
    if errors:
        raise NotRead(errors)
    hours = amounts.pop("hours")
    counts = {name: int(amount) for name, amount in amounts.items() if amount is not None}
    runs = counts.pop("runs", None)
    return _Wish(hours, runs, asked["kind"], asked["model"] or "main", asked["beside"] == "yes", counts)


def _amount(asked: Mapping[str, str], name: str) -> float | None:
    if not asked[name]:
        return None
    label, most = _AMOUNTS_SAID[name]
    amount = (read_hours if name == "hours" else read_number)(asked[name], label)
    if not 0 < amount <= most:
        limit = "more than 0" if amount <= 0 else f"at most {most}"
        raise DataError(f"{label} is '{asked[name]}'; it must be {limit}.")
    if name != "hours" and amount % 1:
        raise DataError(f"{label} is '{asked[name]}'; it must be a whole number.")
    return amount


def _at_field(refused: str, asked: Mapping[str, str]) -> dict[str, str]:
    """Return a refusal by the field that it is about; empty where it is about none."""
    if any(sign in refused for sign in _OF_NO_FIELD):
        return {}
    wanted = re.escape(asked["runs"])
    has_runs = bool(wanted and re.search(rf"\b(?:not|have) {wanted}\b|\b{wanted} runs?\b", refused))
    if "'beside the log'" in refused:
        return {"beside": refused}
    if asked["kind"]:
        about = next((name for name, word in _SHAPE.items() if asked[name] and word in refused), "")
        return {about: capital(refused)} if about else {"runs" if has_runs else "kind": refused}
    if not refused.startswith("No plan "):
        return {}
    is_dear = "the cheapest takes" in refused or not asked["runs"]
    return {"hours" if asked["hours"] and is_dear else "runs": refused}


def _reviewed(project: Project, tell: Tell) -> tuple[Plan, None, Judged, Route | None]:
    """Review the plan that is being built, and find the order to build what is left of it in."""
    judged = project.judged_by(project.adopted_outcome(), tell=tell)
    made = project.review_plan(judged)
    try:
        return made, None, judged, route.found(project, {}, tell)
    except FettleError:  # the route's own page says why there is none
        return made, None, judged, None


def _unjudged(project: Project) -> dict[str, Any]:
    """Return what is shown of the plan that is being built where it cannot be judged, since definitions were changed."""
    found = project.adopted()
    if found is None:
        return {}
    plan, table = found
    return {"heading": plan.headline, "runs": runs_to_build(table, project.setup.factors, None)}


def _made(project: Project, wish: _Wish, tell: Tell) -> tuple[Plan, PlanChoice | None, Judged, None]:
    """Work out what was asked for.

    Raises
    ------
    DataError, UsageError
        If no plan is that way.
    """
    if not project.setup.factors:
        raise DataError("There are no factors yet, so there is nothing to plan; define them first.")
    judged = project.judged_by(tell=tell)
    given: dict[str, Any] = {"beside_log": wish.is_beside, "judged": judged, "tell": tell}
    if wish.kind:
        return project.plan(wish.runs, wish.model, kind=wish.kind, **{**given, **wish.shape}), None, judged, None
    try:
        choice = project.choose_plan(wish.runs, wish.hours, **given)
    except UsageError as err:
        raise UsageError(f"{err}{_quickest(project, wish, str(err), given)}") from None
    return choice.plan, choice, judged, None


def _quickest(project: Project, wish: _Wish, refused: str, given: Mapping[str, Any]) -> str:
    """Say how long the smallest plan takes, where only hours were asked for and the refusal tells of runs."""
    setup = project.setup
    coding = Coding(tuple(setup.factors), tuple(setup.derived))
    least = Layout(coding, named_terms(coding, "main", setup.limits)).n_columns + 1
    if wish.runs is not None or f"ask for {least} runs" not in refused:
        return ""
    try:
        hours = float(project.choose_plan(least, **given).table["hours"].min())
    except FettleError:  # something else stands in the way too; the refusal is true without the hours
        return ""
    return f" The quickest plan of {least} runs takes {duration(60 * hours)} at the bench, readings included."


def _context(
    found: Worked, asked: Mapping[str, str], is_adopted: bool, error: str, errors: Mapping[str, str]
) -> PlanPage:
    answer: tuple[Plan, PlanChoice | None, Judged, Route | None] | None = found.answer
    made, choice, judged, ways = answer if answer is not None else (None, None, None, None)
    at = _place(choice, asked)
    if choice is not None:
        made = choice.plans[at]
    finer = () if is_adopted else _finer(asked, errors)
    return PlanPage(
        kicker="Being built" if is_adopted else _kicker(choice, at) if choice is not None else "As asked for",
        heading=choice.headline if choice is not None and not at else made.headline if made is not None else "",
        sentences=_sentences(made, choice, at) if made is not None else (),
        notes=(*made.notes, *([judged.note] if judged is not None and judged.note else [])) if made is not None else (),
        runs=_runs(made, ways, is_adopted) if made is not None else None,
        next_build=next_build(ways),
        others=_others(choice, at, asked) if choice is not None else (),
        pictures=_pictures(made) if made is not None else (),
        is_adopted=is_adopted,
        hidden=tuple(asked.items()),
        fields=() if is_adopted else _fields(asked, errors),
        finer=finer,
        is_finer=any(item.error for item in finer),
        step=(found.step or "the plan") if found.is_working else "",
        error=error,
        settings=page_settings(),
    )


def _place(choice: PlanChoice | None, asked: Mapping[str, str]) -> int:
    """Return which plan of a comparison is shown: the recommended one, at 0, unless another is asked for."""
    at = asked["at"]
    return int(at) if choice is not None and at in map(str, range(len(choice.plans))) else 0


def _kicker(choice: PlanChoice, at: int) -> str:
    """Say what a plan is good for: builds are worth it where they are likely to show what matters."""
    row = choice.table.iloc[at]
    if row["power"] >= POWER:
        return "Worth its builds"
    if row["power"] < _EVEN and not row["unjudged"]:
        return "Likely to miss what it looks for"
    return "Another that fits" if at else "The surest that fits"


def _sentences(made: Plan, choice: PlanChoice | None, at: int) -> tuple[str, ...]:
    if choice is not None and not at:
        return choice.reason
    told = (*made.separation.sentences, *made.precision_sentences())
    if choice is None:
        return told
    return (*told, bench_time(choice.table.to_dict("records")[at]))


def _runs(made: Plan, ways: Route | None, is_adopted: bool) -> Runs:
    return runs_to_build(made.table, made.factors, ways) if is_adopted else runs_of_plan(made)


def _others(choice: PlanChoice, at: int, asked: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    """List the plans that are not shown, each with the address where it is."""
    found = []
    for place, row in enumerate(choice.table.to_dict("records")):
        if place == at:
            continue
        first = "recommended; " if row["is_recommended"] else ""
        told = f"{first}{in_short(choice.plan, row)}"
        found.append((row["plan"], urls.plan(asked={**asked, "at": str(place or "")}.items()), told))
    return tuple(found)


def _pictures(made: Plan) -> tuple[Any, ...]:
    return tuple(picture(f"plan-{what}", made, what) for what in ("correlations", "precision", "prediction"))


def _fields(asked: Mapping[str, str], errors: Mapping[str, str]) -> tuple[Field, ...]:
    hours, runs = errors.get("hours", ""), errors.get("runs", "")
    return (
        Field("hours", "Bench time you can spend, readings included", "number", asked["hours"], "h", error=hours),
        Field("runs", "Most variants to build", "number", asked["runs"], hint="One of the two is enough.", error=runs),
    )


def _finer(asked: Mapping[str, str], errors: Mapping[str, str]) -> tuple[Field, ...]:
    named = (Choice(kind, f"{kind}: {what}", asked["kind"] == kind) for kind, what in KINDS.items())
    kinds = (Choice("", "compare all that fit", not asked["kind"]), *named)
    models = tuple(Choice(name, what, asked["model"] == name) for name, what in _MODELS.items())
    beside = (Choice("yes", "the variants that are built count as runs already made", asked["beside"] == "yes"),)
    return (
        Field("kind", "Kind of plan", "list", error=errors.get("kind", ""), choices=kinds),
        Field("model", "What that kind is to estimate", "list", error=errors.get("model", ""), choices=models),
        Field("beside", "Beside the log", "many", error=errors.get("beside", ""), choices=beside),
        *(
            Field(name, label, "number", asked[name], hint=hint, error=errors.get(name, ""), when="kind=*")
            for name, label, hint in (
                (
                    "blocks",
                    "Sessions to read it in",
                    "Each block of runs is one session, so that sessions that differ do no harm.",
                ),
                ("units", "Units to build", "Where a factor needs a rebuild."),
                ("centre", "Runs in the middle of all ranges", "They show scatter, and whether anything bends."),
            )
        ),
    )


@router.post("/plan/adopt")
def adopt(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Keep the plan that was shown: its runs become planned variants."""
    asked = {name: sent.text(name)[:40] for name in _GIVEN}
    planner: Planner = route.planner_of(request)

    def store() -> str:
        found = planner.answered(_key(desk, asked))
        if found is None:
            raise LookupError
        made, choice, judged, _ = found
        model = asked["model"] or "main"
        if choice is not None:
            at = _place(choice, asked)
            made, model = choice.plans[at], str(choice.table.iloc[at]["model"])
        return urls.with_done(urls.plan(), desk.project.adopt(made, model, judged.outcome).id)

    try:
        return go_to(desk.once(sent, store))
    except LookupError:
        return _shown(request, desk, asked, _CHANGED, 409)
    except FettleError as err:
        return _shown(request, desk, asked, str(err), 422)


@router.post("/plan/abandon")
def abandon(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Give the plan up; what is built of it stays."""
    try:
        return go_to(desk.once(sent, lambda: urls.with_done(urls.plan(), desk.project.abandon_plan().id)))
    except FettleError as err:
        return _shown(request, desk, dict.fromkeys(_GIVEN, ""), str(err), 409)


@router.post("/plan/stop")
def stop(request: Request, sent: Sent) -> Response:
    """End a search with the best so far, and go back to where it was asked for."""
    route.planner_of(request).stop()
    return go_to(way_back(sent, urls.plan(), urls.plan(), urls.route()))
