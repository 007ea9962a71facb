"""The JSON interface: the same questions as the pages, answered in the words of the commands' ``--json``."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse, Response

from doe.fit.answered import answered
from doe.model.model_words import read_model
from doe.model.setup import table_of
from doe.model.told import told_prepared, told_reading, told_session, told_variant, told_variants
from doe.web import urls
from doe.web.contexts import ApiPage
from doe.web.moves import find_outcome
from doe.web.pages import AtDesk, as_json, known_variant, page

Seed = Annotated[int, Query(ge=0, description="of everything drawn at random")]

Typed = Annotated[float, Field(strict=True)] | str
"""A setting or a reading; true and false are no numbers here either."""

router = APIRouter(tags=["project"])


class NewVariant(BaseModel):
    """A variant to be logged by what was changed."""

    settings: dict[str, Typed] = Field(default_factory=dict, description="factor -> setting, those that changed")
    unit: str | None = Field(None, description="the unit that was changed")
    new_unit: str | None = Field(None, description="it was made as a new unit; empty for the next free name")
    start: str | None = Field(None, description="variant whose settings it starts from")
    name: str | None = Field(None, description="its own label instead of the next number")
    again: bool = Field(False, description="nothing changed, but it was put together again")
    minutes: float | None = Field(None, ge=0, description="bench minutes that it really took")
    price: float | None = Field(None, ge=0, description="money that it really took")
    note: str = Field("", max_length=20_000)


class NewReadings(BaseModel):
    """Readings of one variant, each by itself."""

    variant: str
    values: list[tuple[str, Typed]] = Field(description="outcome and value; an outcome may come several times")
    versus: str | None = Field(None, description="the second variant of a comparison")
    session: str | None = None
    rater: str | None = None
    order: int | None = Field(None, ge=1)
    note: str = Field("", max_length=20_000)


@router.get("/api", include_in_schema=False)
def about_api(request: Request, desk: AtDesk) -> Response:
    """Show what the interface offers."""
    routes = sorted(
        (method.upper(), path, str(told.get("summary", "")))
        for path, methods in request.app.openapi()["paths"].items()
        for method, told in methods.items()
    )
    return page(request, "api.html", ApiPage(tuple(routes), urls.openapi()))


@router.get("/api/about")
def about(desk: AtDesk) -> JSONResponse:
    """Say what is tuned, and what is wrong."""
    setup = desk.view().snapshot.setup
    return as_json({"title": setup.title, "question": setup.question, "file": desk.project.path.name})


@router.get("/api/factors")
def factors(desk: AtDesk) -> JSONResponse:
    """List what can be changed."""
    return as_json([table_of(item) for item in desk.view().snapshot.setup.factors])


@router.get("/api/outcomes")
def outcomes(desk: AtDesk) -> JSONResponse:
    """List what is judged."""
    return as_json([table_of(item) for item in desk.view().snapshot.setup.outcomes])


@router.get("/api/variants")
def variants(desk: AtDesk) -> JSONResponse:
    """List all variants."""
    view = desk.view()
    return as_json(told_variants(view.snapshot.variants, view.readings))


@router.get("/api/variants/{name:path}")
def one_variant(desk: AtDesk, name: str) -> JSONResponse:
    """Show one variant with its readings."""
    view = desk.view()
    variant = known_variant(view.snapshot.variants, name)
    return as_json({**told_variant(variant), "readings": view.readings_of(variant.name)})


@router.post("/api/variants", status_code=201)
def log(desk: AtDesk, new: NewVariant) -> JSONResponse:
    """Log a variant."""
    given = new.model_dump()
    logged = desk.project.log(given.pop("settings"), **given)
    return as_json(logged.told(), 201)


@router.get("/api/readings")
def readings(desk: AtDesk, outcome: str | None = None) -> JSONResponse:
    """List all readings, or those of one outcome."""
    return as_json([item for item in desk.view().readings if outcome in (None, item["outcome"])])


@router.post("/api/readings", status_code=201)
def read(desk: AtDesk, new: NewReadings) -> JSONResponse:
    """Log readings."""
    done = desk.project.read(
        new.variant,
        new.values,
        versus=new.versus,
        session=new.session,
        rater=new.rater,
        order=new.order,
        note=new.note,
    )
    return as_json(
        {"entry": done.entry.id, "readings": [told_reading(item) for item in done.readings], "notes": list(done.notes)},
        201,
    )


@router.get("/api/units")
def units(desk: AtDesk) -> JSONResponse:
    """List the units and what each carries now."""
    names = ("variant", "settings", "retired", "note")
    return as_json(
        [{"unit": unit.name, **{name: getattr(unit, name) for name in names}} for unit in desk.view().snapshot.units]
    )


@router.get("/api/sessions")
def sessions(desk: AtDesk) -> JSONResponse:
    """List the sessions; of one that is still blind only how much is judged."""
    view = desk.view()
    rows = [told_session(session, view.readings) for session in view.snapshot.sessions]
    blind = [kept for kept in view.prepared if not kept.session.is_closed]
    return as_json([*rows, *(told_prepared(kept.session, len(kept.judgements)) for kept in blind)])


@router.get("/api/history")
def history(
    desk: AtDesk, last: Annotated[int | None, Query(ge=1, description="how many, the latest ones")] = None
) -> JSONResponse:
    """List the journal, oldest first."""
    entries = desk.view().history
    kept = entries[-last:] if last is not None else entries
    return as_json([asdict(entry) for entry in kept])


@router.post("/api/history/{entry}/undo")
def undo(desk: AtDesk, entry: int) -> JSONResponse:
    """Take an entry back."""
    done = desk.project.file.take_back(entry)
    return as_json(asdict(done))


@router.get("/api/analyse/{outcome}")
def analyse(desk: AtDesk, outcome: str, terms: str | None = None, seed: Seed = 1) -> JSONResponse:
    """Find what moves an outcome; terms are main, two-factor, quadratic, or listed with commas between."""
    chosen = find_outcome(desk.view().snapshot.setup, outcome)
    model = read_model(terms, "terms")
    return as_json(answered(desk.project.analyse(chosen.name, model, seed=seed), model).to_tables())


@router.get("/api/next")
def next_change(
    desk: AtDesk,
    count: int = 1,
    hours: float | None = None,
    unit: str | None = None,
    only: Literal["improve", "learn"] | None = None,
    seed: Seed = 1,
) -> JSONResponse:
    """Suggest the next change; looking stores nothing."""
    return as_json(desk.project.recommend(count, hours=hours, only=only, unit=unit, seed=seed).to_tables())


@router.get("/api/predict")
def predict(request: Request, desk: AtDesk, start: str | None = None, seed: Seed = 1) -> JSONResponse:
    """Predict settings, each a further part of the query by its factor's name, beside the variant that they start from."""
    changes = {name: value for name, value in request.query_params.items() if name not in ("start", "seed")}
    return as_json(desk.project.predict(changes, start=start, seed=seed).to_tables())


@router.get("/api/next/track")
def track(desk: AtDesk) -> JSONResponse:
    """Hold the predictions of earlier suggestions against what came."""
    return as_json(desk.project.track().to_tables())
