"""What a project is asked for its pages and its report alike: an analysis of each outcome, and the next change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from doe.model.errors import FettleError
from doe.model.setup import Setup
from doe.sheets.answers import answer, no_answer
from doe.sheets.contexts import Answer

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
class Asked:
    """Everything that was worked out, before it is put into words.

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


def ask(project: ProjectLike, setup: Setup, tell: Callable[[str], None] = lambda _: None) -> Asked:
    """Analyse every outcome and ask for the next change; a refusal is an answer too. `tell` hears of each step before it."""
    analyses: dict[str, Effects] = {}
    refusals: dict[str, str] = {}
    for outcome in setup.outcomes:
        tell(f"what moves {outcome.name}")
        try:
            analyses[outcome.name] = project.analyse(outcome.name)
        except FettleError as err:
            refusals[outcome.name] = str(err)
    tell("the next change")
    try:
        return Asked(analyses, refusals, project.recommend(count=SUGGESTIONS), "")
    except FettleError as err:
        return Asked(analyses, refusals, None, str(err))


def answers(setup: Setup, asked: Asked) -> dict[str, Answer]:
    """Put into words and pictures what moves each outcome, by its name."""
    return {
        outcome.name: answer(place, asked.analyses[outcome.name])
        if outcome.name in asked.analyses
        else no_answer(place, outcome, asked.refusals[outcome.name])
        for place, outcome in enumerate(setup.outcomes, start=1)
    }
