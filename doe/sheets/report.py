"""The report: everything known about one project in a single file that opens offline."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from doe.charts import text
from doe.charts.export import write_whole
from doe.model import wording
from doe.model.errors import UsageError
from doe.model.given import described
from doe.model.version import version
from doe.sheets.asked import Asked, ProjectLike, answers, ask
from doe.sheets.contexts import Report
from doe.sheets.log import log_table
from doe.sheets.methods import methods
from doe.sheets.pictures import chart_library, css_palette, page_settings
from doe.sheets.render import asset, check_page, render
from doe.sheets.settled import ruled, settled
from doe.sheets.standing import next_change, standing

if TYPE_CHECKING:
    import pandas as pd


def report(project: ProjectLike, path: str | Path, *, replace: bool = False) -> Path:
    """Write a report of a project.

    The same content gives the same bytes: nothing in it depends on when or where it is written.

    Parameters
    ----------
    project : Project
        From `doe.open` or `doe.create`.
    path : str or Path
        Of the file to write; ends in ``.html``.
    replace : bool
        Whether a file of that name may be overwritten.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    UsageError
        If the name does not end in ``.html``, or `project` is none.
    StoreError
        If the file exists and may not be replaced, or its folder cannot be written.
    """
    if not hasattr(project, "setup"):
        raise UsageError(f"project is {described(project)}; it must be a project from doe.open or doe.create.")
    path = Path(path)
    check_page(path, replace=replace)
    write_whole(path, report_page(project).encode("utf-8"), replace=replace)
    return path


def report_page(project: ProjectLike) -> str:
    """Return the report as text."""
    return render("report.html", report_context(project))


def report_context(project: ProjectLike) -> Report:
    """Ask the project everything and put it into words."""
    setup, readings, variants = project.setup, project.readings(), project.variants()
    asked = ask(project, setup)
    order = [str(name) for name in variants["variant"]]
    analyses = list(asked.analyses.values())
    versions = project.file.settled_versions()
    return Report(
        title=setup.title,
        question=setup.question,
        counts=_counts(readings, variants),
        answers=tuple(answers(setup, asked).values()),
        ruled=ruled(analyses),
        settled=settled(setup, versions),
        standing=standing(setup, asked.advice, analyses, readings, order),
        next_change=next_change(setup, asked.advice, asked.no_advice),
        log=log_table(setup, variants, readings),
        unknown=_unknown(asked),
        methods=methods(setup, is_settled=bool(versions)),
        fingerprint=str(project.file.fingerprint()),
        last_reading=_time(project.file.last_reading_at()),
        version=version(),
        css=css_palette() + asset("report.css"),
        script=asset("charts.js"),
        plotly=chart_library(),
        settings=page_settings(),
    )


def _counts(readings: pd.DataFrame, variants: pd.DataFrame) -> str:
    built = variants[variants["status"] == "built"]
    parts = [wording.counted(len(built), "variant"), wording.counted(len(readings), "reading")]
    for column in ("session", "rater"):
        count = int(readings[column].nunique())
        parts += [wording.counted(count, column)] if count else []
    return " · ".join(parts)


def _unknown(asked: Asked) -> tuple[str, ...]:
    """Collect what cannot be known, each sentence once."""
    notes: list[str] = []
    for effects in asked.analyses.values():
        notes += effects.notes
    if asked.advice is not None:
        notes += asked.advice.notes
    return tuple(dict.fromkeys(text.plain(note) for note in notes))


def _time(when: datetime | None) -> str:
    return when.strftime("%Y-%m-%d %H:%M") if when is not None else "none yet"
