"""What is not a page: style sheets, scripts, photos, the report and the log as files."""

from __future__ import annotations

import csv
import io
import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING
from zipfile import ZIP_DEFLATED, ZipFile

from fastapi import APIRouter, Request
from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response

from doe.model.errors import StoreError
from doe.sheets.pictures import chart_library, css_palette
from doe.sheets.render import asset
from doe.sheets.report import report_page
from doe.web.pages import AtDesk

if TYPE_CHECKING:
    from doe.project import Project

router = APIRouter(include_in_schema=False)
_FOLDER = Path(__file__).parent / "static"
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_KEEP = {"Cache-Control": "max-age=3600"}
_OWN = {
    "app.css": "text/css",
    "app.js": "text/javascript",
    "before-plotly.js": "text/javascript",
    "listen.js": "text/javascript",
    "mark.svg": "image/svg+xml",
}


@cache
def _made(name: str) -> tuple[str, str] | None:
    """Return content and kind of a file that is made rather than kept."""
    if name == "palette.css":
        return css_palette(), "text/css"
    if name == "report.css":
        return asset("report.css"), "text/css"
    if name == "charts.js":
        return asset("charts.js"), "text/javascript"
    if name == "plotly.js":
        return chart_library(), "text/javascript"
    if name in _OWN:
        return (_FOLDER / name).read_text(encoding="utf-8"), _OWN[name]
    return None


@router.get("/static/{name}")
def static(name: str) -> Response:
    """Serve a file of ours; names are looked up in a list, never on disk."""
    found = _made(name)
    if found is None:
        raise HTTPException(404)
    return Response(found[0], media_type=found[1], headers=_KEEP)


@router.get("/favicon.ico")
def favicon() -> Response:
    """Serve the mark, which browsers ask for by this name."""
    return static("mark.svg")


@router.get("/photos/{digest}")
def photo(desk: AtDesk, digest: str) -> Response:
    """Serve a photo by the hash of its content."""
    found = next((item for item in desk.view().attachments if item["sha256"] == digest), None)
    if found is None or not re.fullmatch(r"[0-9a-f]{64}", digest) or not found["path"].is_file():
        raise HTTPException(404)
    kind = "image/png" if found["filename"].casefold().endswith(".png") else "image/jpeg"
    return FileResponse(found["path"], media_type=kind, headers={"Cache-Control": "private, max-age=86400"})


@router.get("/report.html")
def report(desk: AtDesk) -> Response:
    """Serve the report as a file to keep."""
    name = desk.project.path.stem
    return _download(report_page(desk.project).encode(), f"{name}.html", "text/html")


@router.get("/export.csv")
def export(request: Request, desk: AtDesk) -> Response:
    """Serve the log as a table."""
    log = desk.view().log
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(log.headings)
    writer.writerows([[_harmless(cell) for cell in row] for row in log.rows])
    return _download(out.getvalue().encode("utf-8-sig"), f"{desk.project.path.stem}-variants.csv", "text/csv")


@router.get("/export.xlsx")
def export_whole(desk: AtDesk) -> Response:
    """Serve everything that counts, and the history, as one spreadsheet; photos and recordings are not in it."""
    with TemporaryDirectory() as folder:
        made = desk.project.file.export(Path(folder) / f"{desk.project.path.stem}.xlsx", "xlsx")
        return _download(made.read_bytes(), made.name, _XLSX)


@router.get("/backup.zip")
def backup(desk: AtDesk) -> Response:
    """Serve a copy of the project file with its photos and recordings; it may be large, so it goes out from disk."""
    folder = TemporaryDirectory()
    try:
        packed = _packed(desk.project, Path(folder.name))
    except BaseException as err:
        folder.cleanup()
        if isinstance(err, OSError) and not isinstance(err, StoreError):
            raise StoreError(f"The copy cannot be packed: {err.strerror or err}.") from err
        raise
    named = {"Content-Disposition": _as_file(packed.name)}
    return FileResponse(packed, headers=named, media_type="application/zip", background=BackgroundTask(folder.cleanup))


def _packed(project: Project, folder: Path) -> Path:
    """Copy a project into a folder, and pack the copy."""
    copy = project.file.backup(folder / project.path.name)
    packed = folder / f"{project.path.stem}.zip"
    with ZipFile(packed, "w", ZIP_DEFLATED, compresslevel=1) as archive:
        for path in (copy, *sorted(copy.with_suffix(".files").glob("*"))):
            archive.write(path, path.relative_to(folder))
    return packed


def _harmless(cell: str) -> str:
    """Keep a spreadsheet program from taking text for a formula."""
    is_number = re.fullmatch(r"-?[\d.,e+\- ()]*", cell) is not None
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t") and not is_number else cell


def _download(data: bytes, name: str, kind: str) -> Response:
    return Response(data, media_type=kind, headers={"Content-Disposition": _as_file(name)})


def _as_file(name: str) -> str:
    plain = re.sub(r"[^A-Za-z0-9._-]", "-", name)
    return f'attachment; filename="{plain}"'
