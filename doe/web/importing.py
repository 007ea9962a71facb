"""Import: a spreadsheet looked at first, each problem shown at its cell, then stored whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

from fastapi import APIRouter, Request
from starlette.responses import Response

from doe.charts import text
from doe.model.errors import DataError, FettleError, ImportProblems, Problem, listed
from doe.model.setup import Setup
from doe.model.wording import counted
from doe.store.attachments import clean_name
from doe.store.headings import ROLES, Header, Matcher
from doe.store.receipts import Imported
from doe.store.sheet import Line, Sheet, read_sheet
from doe.web import urls
from doe.web.contexts import Choice, Field, ImportPage, SheetCell
from doe.web.desk import Desk
from doe.web.factor_fields import time_text
from doe.web.forms import Posted, Sent
from doe.web.pages import AtDesk, go_to, page

router = APIRouter(include_in_schema=False)
_SHOWN = 60
_ASIDE = "-"
_TOLD_ABOVE = ("Not read, since ", "No column names the variant")
"""How notes begin that say what a doubt says already."""
_Made = TypeVar("_Made")


@dataclass(frozen=True, slots=True)
class Look:
    """What a dry run found.

    Attributes
    ----------
    sheet : Sheet or None
        The cells, if the file can be read at all.
    place : int
        Which of its lines holds the headings.
    problems : tuple of Problem
        What stands in the way.
    found : Imported or None
        What it holds, if nothing does.
    error : str
        Why it cannot be read.
    unread : tuple of str
        Headings of columns that nothing in the project goes by.
    has_variants : bool
        Whether a column says which variant a line is of.
    """

    sheet: Sheet | None = None
    place: int = 0
    problems: tuple[Problem, ...] = ()
    found: Imported | None = None
    error: str = ""
    unread: tuple[str, ...] = ()
    has_variants: bool = True


@router.get("/import")
def show(request: Request, desk: AtDesk) -> Response:
    """Show the form that takes a file."""
    return _page(request, desk, _empty(""))


def _page(request: Request, desk: Desk, context: ImportPage, status: int = 200) -> Response:
    setup = desk.view().snapshot.setup
    missing = [name for name, defined in (("factors", setup.factors), ("outcomes", setup.outcomes)) if not defined]
    return page(request, "import.html", replace(context, missing=listed(missing, "and")), status)


def _empty(error: str) -> ImportPage:
    return ImportPage((), (), (), (), (), "", (), False, "", "", error, "")


@router.post("/import")
def look(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Look at a file, a new one or one that is kept, with the columns as they are mapped now."""
    uploaded = sent.files.get("file", [])
    kept = desk.sheet(sent.text("sheet"))
    if uploaded:
        token = desk.keep_sheet(*uploaded[0])
    elif kept is not None:
        token = sent.text("sheet")
    else:
        gone = "The file is no longer kept here; choose it again." if sent.text("sheet") else "Choose a file first."
        return _page(request, desk, _empty(gone), 422)
    name, data = desk.sheet(token) or ("", b"")
    mapping = _carried(desk, name, data, sent) if uploaded else _mapping(sent)
    found = _looked(desk, name, data, mapping)
    is_bad = bool(found.error or found.problems)
    return _page(request, desk, _context(desk, token, name, mapping, found), 422 if is_bad else 200)


def _mapping(sent: Posted) -> dict[str, str]:
    """Return their headings with what each is here."""
    pairs = zip(sent.values.get("heading", []), sent.values.get("target", []), strict=False)
    return {heading: "" if target == _ASIDE else target for heading, target in pairs if target}


def _carried(desk: Desk, name: str, data: bytes, sent: Posted) -> dict[str, str]:
    """Return what the columns of the file before were chosen to be, if this one has the same: it was put right meanwhile."""
    mapping = _mapping(sent)
    try:
        sheet, header = _in_file(name, data, lambda path: _cells(path, desk.project.setup, mapping))
    except FettleError:  # it has other columns, or cannot be read at all, which is told without a mapping too
        return {}
    same = {text for text in _headings(sheet.lines[header.place]) if text} == set(sent.values.get("heading", []))
    return mapping if same else {}


def _looked(desk: Desk, name: str, data: bytes, mapping: Mapping[str, str]) -> Look:
    setup = desk.project.setup
    try:
        sheet, header = _in_file(name, data, lambda path: _cells(path, setup, mapping))
    except ImportProblems as err:
        return Look(problems=err.problems)
    except FettleError as err:
        return Look(error=str(err))
    look = Look(sheet, header.place, unread=header.unread, has_variants="variant" in header.columns)
    try:
        return replace(
            look, found=_in_file(name, data, lambda path: desk.project.import_log(path, mapping, dry_run=True))
        )
    except ImportProblems as err:
        return replace(look, problems=err.problems)
    except FettleError as err:
        return replace(look, error=str(err))


def _cells(path: Path, setup: Setup, mapping: Mapping[str, str]) -> tuple[Sheet, Header]:
    matcher = Matcher(setup, dict(mapping))
    sheet = read_sheet(path, matcher.score)
    return sheet, matcher.header(sheet)


def _in_file(name: str, data: bytes, use: Callable[[Path], _Made]) -> _Made:
    """Let something read an upload from a file of its own, which is gone afterwards."""
    with TemporaryDirectory(prefix="fettle-") as folder:
        path = Path(folder) / clean_name(name)
        path.write_bytes(data)
        return use(path)


def _context(desk: Desk, token: str, name: str, mapping: Mapping[str, str], found: Look) -> ImportPage:
    setup = desk.project.setup
    sheet = found.sheet
    lines = sheet.lines[found.place :] if sheet is not None else ()
    headings = _headings(lines[0]) if lines else ()
    bad = {(problem.line, problem.column.casefold()): problem.allowed for problem in found.problems}
    wrong_lines = {problem.line for problem in found.problems}
    body = lines[1:]
    kept = [line for place, line in enumerate(body) if place < _SHOWN or line.number in wrong_lines][: 4 * _SHOWN]
    rows = tuple(
        (
            line.number,
            tuple(
                SheetCell(_cell_text(cell), bad.get((line.number, heading.casefold()), ""))
                for cell, heading in zip(line.cells, headings, strict=False)
            ),
        )
        for line in kept
    )
    left = len(body) - len(kept)
    doubts = _doubts(found)
    notes = found.found.notes if found.found is not None else ()
    return ImportPage(
        fields=tuple(_target_field(heading, mapping, setup, found.unread) for heading in headings if heading),
        rows=rows,
        headings=headings,
        problems=tuple(problem.sentence() for problem in found.problems),
        notes=tuple(note for note in notes if not (doubts and note.startswith(_TOLD_ABOVE))),
        verdict=_verdict(found),
        doubts=doubts,
        can_store=found.found is not None,
        sheet=token,
        name=name,
        error=found.error,
        more=f"{counted(left, 'more line')} below." if left > 0 else "",
    )


def _cell_text(cell: object) -> str:
    if hasattr(cell, "year"):
        return time_text(cell)  # type: ignore[arg-type]
    return text.plain(cell) if not isinstance(cell, bool) else str(cell)


def _headings(line: Line) -> tuple[str, ...]:
    return tuple(_cell_text(cell).strip() for cell in line.cells)


def _doubts(found: Look) -> tuple[str, ...]:
    """Say what a person has to look at before a file is stored: columns that are left out, and lines taken for builds."""
    doubts = []
    if found.unread:
        names = listed([f"'{heading}'" for heading in found.unread], "and")
        it = "it is, or set it" if len(found.unread) == 1 else "each is, or set it"
        doubts.append(
            f"Not read, since nothing in the project has that name: {names}. Say here what {it} to 'not read'."
        )
    if found.sheet is not None and not found.has_variants:
        doubts.append("No column names the variant, so each line is taken for a build of its own.")
    return tuple(doubts)


def _target_field(heading: str, mapping: Mapping[str, str], setup: Setup, unread: Sequence[str]) -> Field:
    chosen = mapping.get(heading)
    current = "" if chosen is None else (chosen or _ASIDE)
    names = [*(item.name for item in setup.factors), *(item.name for item in setup.outcomes), *ROLES]
    choices = (
        Choice("", "nothing that is known here" if heading in unread else "as its heading says", not current),
        Choice(_ASIDE, "not read", current == _ASIDE),
        *(Choice(name, name, name == current) for name in dict.fromkeys(names)),
    )
    return Field("target", heading, "list", choices=choices)


def _verdict(found: Look) -> str:
    if found.problems:
        return f"Nothing can be stored yet: {counted(len(found.problems), 'cell')} to put right."
    if found.found is None:
        return ""
    holds = found.found
    parts = [
        counted(count, noun)
        for count, noun in (
            (holds.variants, "variant"),
            (holds.readings, "reading"),
            (holds.sessions, "session"),
            (holds.units, "unit"),
        )
    ]
    return f"{'So far this is read' if _doubts(found) else 'It can be read as it is'}: {', '.join(parts)}."


@router.post("/import/store")
def store(request: Request, sent: Sent, desk: AtDesk) -> Response:
    """Store a file that was looked at."""
    mapping = _mapping(sent)

    def do() -> str:
        kept = desk.sheet(sent.text("sheet"))
        if kept is None:
            raise DataError("The file is no longer kept here; choose it again.")
        done = _in_file(*kept, lambda path: desk.project.import_log(path, mapping))
        return urls.with_done(urls.variants(), done.entry.id if done.entry is not None else 0)

    try:
        return go_to(desk.once(sent, do))
    except FettleError as err:
        kept = desk.sheet(sent.text("sheet"))
        if kept is None:
            return _page(request, desk, _empty(str(err)), 422)
        found = _looked(desk, *kept, mapping)
        again = replace(found, found=None, error=str(err) if not found.problems else "")
        return _page(request, desk, _context(desk, sent.text("sheet"), kept[0], mapping, again), 422)
