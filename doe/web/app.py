"""The app put together: one project, one guard, one module for each page."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI

from doe.model.version import version
from doe.web import (
    access,
    api,
    api_plan,
    api_settle,
    bench,
    estimate_pages,
    faults,
    files,
    help_pages,
    history,
    importing,
    listen,
    listen_sound,
    live,
    log,
    moves,
    next_change,
    plan,
    readings,
    recipe_pages,
    recordings,
    rehearse_pages,
    sessions,
    settle,
    setup,
    start,
    symptom_pages,
    variants,
)
from doe.web.desk import Desk
from doe.web.packed import Packed
from doe.web.planner import Planner
from doe.web.settings import Settings
from doe.web.tokens import Tokens

_ROOMS = (
    access,
    files,
    live,
    start,
    bench,
    log,
    readings,
    recordings,
    variants,
    sessions,
    listen_sound,
    listen,
    moves,
    next_change,
    plan,
    settle,
    history,
)
_LAST_ROOMS = (
    importing,
    setup,
    recipe_pages,
    api,
    api_plan,
    api_settle,
    help_pages,
    symptom_pages,
    estimate_pages,
    rehearse_pages,
)


def create_app(project_path: str | Path | None = None, settings: Settings | None = None) -> FastAPI:
    """Build the web app.

    Parameters
    ----------
    project_path : str or Path, optional
        The project file; without one the first page starts one.
    settings : Settings, optional
        Where it listens and what it lets in; loopback by default.

    Raises
    ------
    StoreError
        If there is no such project, or it cannot be used.
    """
    settings = settings if settings is not None else Settings()
    app = FastAPI(
        title="Fettle",
        version=version(),
        docs_url=None,  # its pages would be fetched from outside
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=_lifespan,
    )
    app.state.desk = Desk(Path(project_path) if project_path is not None else None, settings)
    app.state.tokens = Tokens(settings.key, settings.key_attempts)
    app.state.planner = Planner()
    app.state.rehearser = Planner()
    app.state.adviser = Planner()
    app.state.is_closing = False
    faults.install(app)
    for room in (*_ROOMS, *_LAST_ROOMS):
        app.include_router(room.router)
    app.add_middleware(Packed)
    app.add_middleware(access.Door, settings=settings, tokens=app.state.tokens)
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    yield
    app.state.is_closing = True
    app.state.desk.thinker.cancel()
    app.state.planner.close()
    app.state.rehearser.close()
    app.state.adviser.close()
