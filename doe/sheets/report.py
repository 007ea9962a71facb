"""The report: everything known about one project in a single file that opens offline."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from doe.charts import text
from doe.charts.export import write_whole
from doe.model import wording
from doe.model.errors import FettleError
from doe.model.setup import Setup
from doe.model.version import version
from doe.sheets.answers import answer, no_answer
from doe.sheets.contexts import Answer, Report
from doe.sheets.log import log_table
from doe.sheets.methods import methods
from doe.sheets.pictures import chart_library, css_palette, page_settings
from doe.sheets.render import asset, check_page, render
from doe.sheets.settled import ruled, settled
from doe.sheets.standing import next_change, standing

if TYPE_CHECKING:
    import pandas as pd

    from doe.advise.advice import Advice
    from doe.fit.effects import Effects

SUGGESTIONS = 3
"""Changes that the report and the pages tell of."""


class ProjectLike(Protocol):
    """What a report asks of a project; `doe.open` returns one."""

    @property
    def setup(self) -> Setup:
        """The definitions."""

    @property
    def file(self) -> Any:
        """The project file, with `fingerprint()`, `last_reading_at()` and `settled_versions()`."""

    def readings(self) -> pd.DataFrame:
        """One row per reading."""

    def variants(self) -> pd.DataFrame:
        """One row per variant."""

    def analyse(self, outcome: str) -> Effects:
        """Analyse one outcome."""

    def recommend(self, count: int = 1) -> Advice:
        """Choose the next change."""


@dataclass(frozen=True, slots=True)
class Known:
    """Everything a report shows, before it is put into words.

    Attributes
    ----------
    analyses : dict of str to Effects
        By outcome, those that could be analysed.
    refusals : dict of str to str
        By outcome, why the others could not.
    advice : Advice or None
        The next change.
    no_advice : str
        Why there is none.
    """

    analyses: dict[str, Effects]
    refusals: dict[str, str]
    advice: Advice | None
    no_advice: str


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
        If the name does not end in ``.html``.
    StoreError
        If the file exists and may not be replaced, or its folder cannot be written.
    """
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
    known = ask(project, setup)
    order = [str(name) for name in variants["variant"]]
    analyses = list(known.analyses.values())
    versions = project.file.settled_versions()
    return Report(
        title=setup.title,
        question=setup.question,
        counts=_counts(readings, variants),
        answers=_answers(setup, known),
        ruled=ruled(analyses),
        settled=settled(setup, versions),
        standing=standing(setup, known.advice, analyses, readings, order),
        next_change=next_change(setup, known.advice, known.no_advice),
        log=log_table(setup, variants, readings),
        unknown=_unknown(known),
        methods=methods(setup, is_settled=bool(versions)),
        fingerprint=str(project.file.fingerprint()),
        last_reading=_time(project.file.last_reading_at()),
        version=version(),
        css=css_palette() + asset("report.css"),
        script=asset("charts.js"),
        plotly=chart_library(),
        settings=page_settings(),
    )


def ask(project: ProjectLike, setup: Setup) -> Known:
    """Analyse every outcome and ask for the next change; a refusal is an answer too."""
    analyses: dict[str, Effects] = {}
    refusals: dict[str, str] = {}
    for outcome in setup.outcomes:
        try:
            analyses[outcome.name] = project.analyse(outcome.name)
        except FettleError as err:
            refusals[outcome.name] = str(err)
    try:
        return Known(analyses, refusals, project.recommend(count=SUGGESTIONS), "")
    except FettleError as err:
        return Known(analyses, refusals, None, str(err))


def _answers(setup: Setup, known: Known) -> tuple[Answer, ...]:
    return tuple(
        answer(place, known.analyses[outcome.name])
        if outcome.name in known.analyses
        else no_answer(place, outcome, known.refusals[outcome.name])
        for place, outcome in enumerate(setup.outcomes, start=1)
    )


def _counts(readings: pd.DataFrame, variants: pd.DataFrame) -> str:
    built = variants[variants["status"] == "built"]
    parts = [wording.counted(len(built), "variant"), wording.counted(len(readings), "reading")]
    for column in ("session", "rater"):
        if column in readings:
            count = int(readings[column].nunique())
            parts += [wording.counted(count, column)] if count else []
    return " · ".join(parts)


def _unknown(known: Known) -> tuple[str, ...]:
    """Collect what cannot be known, each sentence once."""
    notes: list[str] = []
    for effects in known.analyses.values():
        notes += effects.notes
    if known.advice is not None:
        notes += known.advice.notes
    return tuple(dict.fromkeys(text.plain(note) for note in notes))


def _time(when: datetime | None) -> str:
    return when.strftime("%Y-%m-%d %H:%M") if when is not None else "none yet"
