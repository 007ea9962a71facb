"""Start: a project from nothing, from a starter set, or the invented demo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from doe.guides.demos import demo_folder
from doe.guides.starters import BLANK, KEYS, Starter, starter, starters
from doe.model.errors import DataError, FettleError
from doe.model.names import file_stem
from doe.model.wording import counted
from doe.project import Project
from doe.web import urls
from doe.web.contexts import Field, StartPage
from doe.web.desk import Desk
from doe.web.factor_fields import blame, in_labels
from doe.web.forms import Sent, at_most
from doe.web.pages import go_to, page
from doe.web.setup import MOST_QUESTION, MOST_TITLE

router = APIRouter(include_in_schema=False)
DEMOS = {
    "radio": ("Tabletop radio", "23 variants of a radio from birch rings: which change is to blame for the echo?"),
    "fan": ("Desk fan", "A printed impeller, away from sound: airflow against whine."),
}
_LABELS = {"title": "What is tuned", "question": "What is wrong with it"}
_SUFFIX = ".duckdb"


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


AnyDesk = Annotated[Desk, Depends(_desk)]


@router.get("/start")
def show(request: Request, desk: AnyDesk) -> Response:
    """Show what a project can begin with."""
    return _shown(request, desk, {}, "")


def _shown(request: Request, desk: Desk, values: Mapping[str, str], error: str, status: int = 200) -> Response:
    folder = desk.settings.folder
    about = blame(error, ("title", "question"))
    error = in_labels(error, _LABELS)
    is_ours = desk.project.path.name if desk.is_open else ""
    others = sorted(path.name for path in folder.glob(f"*{_SUFFIX}") if path.is_file() and path.name != is_ours)
    context = StartPage(
        sets=tuple((item.key, item.name, _holds(item), item.cautions) for item in starters()),
        demos=tuple((key, name, told) for key, (name, told) in DEMOS.items()),
        others=tuple(others),
        fields=(
            Field(
                "title",
                _LABELS["title"],
                value=values.get("title", ""),
                hint="Such as: Tabletop radio.",
                error=error if about == "title" else "",
                is_needed=True,
            ),
            Field(
                "question",
                _LABELS["question"],
                "long",
                values.get("question", ""),
                error=error if about == "question" else "",
            ),
        ),
        error=error if not about else "",
        chosen=values.get("set") or "blank",
        folder=folder.resolve().name,
    )
    return page(request, "start.html", context, status)


def _holds(item: Starter) -> str:
    if item.key == BLANK:
        return item.told
    setup = item.setup
    count = f"{counted(len(setup.factors), 'factor')}, {counted(len(setup.outcomes), 'outcome')}"
    return f"{item.told} {count}, all to be edited."


@router.post("/start")
def begin(request: Request, sent: Sent, desk: AnyDesk) -> Response:
    """Make a project and turn to it."""
    key = sent.text("set") or BLANK
    if key not in (BLANK, *KEYS):
        raise HTTPException(404)

    def do() -> str:
        if not sent.text("title"):
            raise DataError("title is empty; it must be a few words, such as 'Tabletop radio'.")
        title = at_most(sent.text("title"), "title", MOST_TITLE)
        setup = replace(
            starter(key).setup, title=title, question=at_most(sent.text("question"), "question", MOST_QUESTION)
        )
        project = Project.create(_free_path(desk.settings.folder, setup.title), setup)
        desk.open(project)
        return urls.with_done(urls.bench(), project.file.history()[-1].id)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        values = {name: sent.text(name) for name in ("title", "question", "set")}
        return _shown(request, desk, values, str(err), 422)


def _free_path(folder: Path, title: str) -> Path:
    """Name a file after what is tuned; names are made of letters and digits, and never overwrite one."""
    name = file_stem(title)
    path, number = folder / f"{name}{_SUFFIX}", 2
    while path.exists():
        path, number = folder / f"{name}-{number}{_SUFFIX}", number + 1
    return path


@router.post("/start/demo")
def demo(request: Request, sent: Sent, desk: AnyDesk) -> Response:
    """Make an invented project with its log and turn to it."""
    key = sent.text("demo")
    if key not in DEMOS:
        raise HTTPException(404)

    def do() -> str:
        source = demo_folder(key)
        project = Project.create(_free_path(desk.settings.folder, f"{key} demo"), source / "setup.toml")
        project.import_log(source / "log.csv")
        desk.open(project)
        return urls.bench()

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        return _shown(request, desk, {}, str(err), 422)


@router.post("/start/open")
def open_other(request: Request, sent: Sent, desk: AnyDesk) -> Response:
    """Turn to another project of the folder."""
    wanted = sent.text("file")
    found = next((path for path in desk.settings.folder.glob(f"*{_SUFFIX}") if path.name == wanted), None)
    if found is None:
        raise HTTPException(404)
    try:
        desk.open(Project.open(found))
    except FettleError as err:
        return _shown(request, desk, {}, str(err), 422)
    return go_to(urls.bench())
