"""The JSON interface to settling: what ``fettle settle ... --json`` says."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import JSONResponse

from doe.model.told import told_settling, told_version
from doe.web.pages import AtDesk, as_json, known_version

router = APIRouter(tags=["settling"])

Variant = Annotated[str | None, Query(description="which variant; by default the best one")]
Through = Annotated[str | None, Query(description="predict through this derived quantity, not by its parts")]
Seed = Annotated[int, Query(ge=1, description="of whatever is drawn at random")]


@router.get("/api/settle")
def versions(desk: AtDesk) -> JSONResponse:
    """List the settled versions."""
    return as_json([told_version(item) for item in desk.project.versions()])


@router.get("/api/settle/find")
def find(
    desk: AtDesk,
    variant: Variant = None,
    without: Annotated[str | None, Query(description="the stand-in")] = None,
    to: Annotated[str | None, Query(description="its lasting setting")] = None,
    through: Annotated[str | None, Query(description="the derived quantity that is kept")] = None,
    hold: Annotated[list[str] | None, Query(description="parts of the quantity that must stay")] = None,
    count: Annotated[int, Query(ge=1, le=100, description="how many to list")] = 3,
    seed: Seed = 1,
) -> JSONResponse:
    """Find the permanent equivalent of a variant."""
    found = desk.project.settle(
        variant, without=without, to=to, through=through, hold=hold or (), count=count, seed=seed
    )
    return as_json(told_settling(found))


@router.get("/api/settle/tolerance")
def tolerance(
    desk: AtDesk,
    variant: Variant = None,
    probability: Annotated[float, Query(allow_inf_nan=False, description="with which all is kept")] = 0.9,
    through: Through = None,
    seed: Seed = 1,
) -> JSONResponse:
    """Say how far each setting may drift before an outcome leaves its limits or loses what matters."""
    found = desk.project.tolerances(variant, probability=probability, through=through, seed=seed)
    return as_json(told_settling(found))


@router.get("/api/settle/plan")
def plan_confirmation(
    desk: AtDesk,
    variant: Variant = None,
    risk: Annotated[float, Query(allow_inf_nan=False, description="of not confirming what is true")] = 0.1,
    seed: Seed = 1,
) -> JSONResponse:
    """Say how many fresh builds and readings would confirm what the log promises."""
    return as_json(told_settling(desk.project.plan_confirmation(variant, risk=risk, seed=seed)))


@router.get("/api/settle/confirm")
def confirm(
    desk: AtDesk,
    build: Annotated[list[str], Query(description="a fresh build; may be repeated")],
    through: Through = None,
    seed: Seed = 1,
) -> JSONResponse:
    """Judge fresh builds by what the log before them promised."""
    return as_json(told_settling(desk.project.confirm(build, through=through, seed=seed)))


@router.get("/api/settle/compare")
def compare(
    desk: AtDesk,
    first: Annotated[int, Query(ge=1, description="number of one version")],
    second: Annotated[int, Query(ge=1, description="number of the other")],
    seed: Seed = 1,
) -> JSONResponse:
    """Compare two settled versions outcome by outcome."""
    return as_json(desk.project.compare_versions(first, second, seed=seed))


@router.get("/api/settle/{number}")
def one_version(desk: AtDesk, number: int) -> JSONResponse:
    """Show one settled version."""
    return as_json(told_version(known_version(desk.project, number)))
