"""The JSON interface to plans and routes: what ``fettle plan --json`` and ``fettle route --json`` say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse

from doe.model.errors import UsageError
from doe.model.told import told_choice, told_plan, told_route
from doe.planning.asked import asked_for
from doe.web.api import Typed
from doe.web.pages import AtDesk, as_json

if TYPE_CHECKING:
    from doe.planning.known import Judged
    from doe.plans import Plan, PlanChoice
    from doe.project import Project

router = APIRouter(tags=["plans"])

_MOST = 10_000


class PlanRequest(BaseModel):
    """A plan that is asked for, in the words of ``fettle plan``."""

    runs: int | None = Field(None, ge=1, le=_MOST, description="variants to build at most")
    hours: float | None = Field(None, ge=0, allow_inf_nan=False, description="bench hours to spend at most")
    kind: str | None = Field(None, max_length=80, description="kind of plan, such as d-optimal, fraction or definitive")
    model: str | None = Field(
        None, max_length=5000, description="main, two-factor, quadratic, or terms with commas between"
    )
    blocks: int | None = Field(None, ge=1, le=_MOST, description="groups of runs, each read in one session")
    session_runs: int | None = Field(None, ge=1, le=_MOST, description="runs that one session can take at most")
    replicates: int | None = Field(None, ge=1, le=_MOST, description="how often every run is made")
    centre: int | None = Field(None, ge=0, le=_MOST, description="runs in the middle of all ranges")
    units: int | None = Field(None, ge=1, le=_MOST, description="units to build where a factor needs a rebuild")
    fold: str | None = Field(None, max_length=5000, description="fold-over only: the factors to mirror, commas between")
    starts: int | None = Field(None, ge=1, le=1000, description="starts of the search")
    beside_log: bool = Field(False, description="complement the variants that are built")
    outcome: str | None = Field(None, max_length=200, description="judge by this outcome")
    scatter: float | None = Field(None, allow_inf_nan=False, description="standard deviation between runs")
    matters: float | None = Field(None, allow_inf_nan=False, description="smallest difference that matters")
    seed: int = Field(1, ge=1, description="of search and run order")


class EditedRuns(BaseModel):
    """The adopted plan as it is to be."""

    runs: list[dict[str, Typed | None]] = Field(
        min_length=1,
        max_length=_MOST,
        description="all runs in order, a setting for every factor; one that names its variant changes it, one without is new",
    )


@router.get("/api/plan")
def show_plan(desk: AtDesk, asked: Annotated[PlanRequest, Query()]) -> JSONResponse:
    """Show the adopted plan, or make or compare plans; nothing is stored."""
    if asked_for(asked).is_open and desk.project.file.adopted_plan() is not None:
        return as_json(told_plan(desk.project.review_plan(_judged(desk.project, asked))))
    made, choice, _, _ = _made(desk.project, asked)
    return as_json(told_choice(choice) if choice is not None else told_plan(made))


@router.post("/api/plan", status_code=201)
def adopt_plan(desk: AtDesk, asked: PlanRequest) -> JSONResponse:
    """Make a plan and keep it: its runs become planned variants."""
    made, choice, model, judged = _made(desk.project, asked)
    entry = desk.project.adopt(made, model, judged.outcome)
    told = told_choice(choice) if choice is not None else told_plan(made)
    return as_json({"entry": entry.id, **told}, 201)


@router.put("/api/plan")
def edit_plan(desk: AtDesk, edited: EditedRuns) -> JSONResponse:
    """Change the adopted plan to these runs."""
    import pandas as pd

    entry, made = desk.project.edit_plan(pd.DataFrame(edited.runs), _judged(desk.project, PlanRequest()))
    return as_json({"entry": entry.id, **told_plan(made)})


@router.delete("/api/plan")
def abandon_plan(desk: AtDesk) -> JSONResponse:
    """Give up the adopted plan; what is built of it stays."""
    entry = desk.project.abandon_plan()
    return as_json({"entry": entry.id, "summary": entry.summary})


@router.get("/api/route")
def show_route(
    desk: AtDesk,
    new_units: Annotated[int | None, Query(ge=0, description="new units that may be made at most")] = None,
    shuffle: Annotated[
        float, Query(ge=0, le=10, allow_inf_nan=False, description="more time for a random order")
    ] = 0.0,
    seconds: Annotated[
        float, Query(ge=0, le=60, allow_inf_nan=False, description="time of each round of search")
    ] = 20.0,
    seed: Annotated[int, Query(ge=1, description="of whatever is drawn at random")] = 1,
) -> JSONResponse:
    """Find the order, and the unit for each planned variant, that takes the fewest bench minutes."""
    found = desk.project.route(new_units=new_units, shuffle=shuffle, seconds=seconds, seed=seed)
    return as_json(told_route(found))


def _made(project: Project, request: PlanRequest) -> tuple[Plan, PlanChoice | None, str | list[str], Judged]:
    """Compare plans where only an amount is given; otherwise make the one that is asked for."""
    asked = asked_for(request)
    if asked.hours is not None and asked.named:
        raise UsageError(
            f"hours compares plans of every kind, so {asked.named[0]} does not go with it; give runs instead."
        )
    judged = _judged(project, request)
    return *asked.made(project, judged), judged


def _judged(project: Project, asked: PlanRequest) -> Judged:
    outcome = asked.outcome
    if outcome is None and asked_for(asked).is_open:
        outcome = project.adopted_outcome()
    return project.judged_by(outcome, asked.scatter, asked.matters)
