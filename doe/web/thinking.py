"""Analyses in the background: one at a time, kept until the log changes, shown stale rather than not at all."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as Waited
from dataclasses import dataclass
from threading import Event, Lock
from typing import TYPE_CHECKING

from doe.model.errors import FettleError
from doe.model.patience import Interrupted, checkpoint, interruptible
from doe.sheets.asked import Asked, answers, ask
from doe.sheets.contexts import Answer, NextChange, Standing
from doe.sheets.standing import next_change, standing

if TYPE_CHECKING:
    from doe.model.setup import Setup
    from doe.project import Project

_HEAD_START_S = 0.3
"""How long the work waits where there is an older answer to show, so that the page is out first, in seconds."""


@dataclass(frozen=True, slots=True)
class Thought:
    """Everything that was worked out from one state of the log.

    Attributes
    ----------
    asked : Asked
        Analyses and advice, or why there is none.
    answer_of : dict of str to Answer
        By outcome, in words and pictures.
    standing : Standing
        Where things stand.
    next_change : NextChange
        The advice in words.
    """

    asked: Asked
    answer_of: dict[str, Answer]
    standing: Standing
    next_change: NextChange


@dataclass(frozen=True, slots=True)
class Known:
    """What can be shown now.

    Attributes
    ----------
    thought : Thought or None
        None while the first one is under way, or when it was cancelled or failed.
    is_fresh : bool
        Whether it is about the log as it is now.
    is_working : bool
        Whether a newer one is under way.
    step : str
        What is being worked on.
    trouble : str
        Why there is none; empty while all is well.
    """

    thought: Thought | None
    is_fresh: bool
    is_working: bool
    step: str = ""
    trouble: str = ""


class Thinker:
    """Works out what moves what and what to do next, off the threads that answer requests."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="thinking")
        self._job: Future[Thought] | None = None
        self._job_mark: object = None
        self._stop = Event()
        self._thought: Thought | None = None
        self._mark: object = None
        self._step = ""
        self._trouble = ""
        self._refused_mark: object = None

    def ask(self, project: Project, mark: object, patience_s: float) -> Known:
        """Return what is known, after waiting at most so long for something newer.

        Parameters
        ----------
        project : Project
            Whose log it is.
        mark : object
            Of the log as it is now; see `Desk.mark`.
        patience_s : float
            In seconds; not at all where there is an older answer to show, which the page then says and brings up to date.
        """
        with self._lock:
            if self._thought is not None and self._mark == mark:
                return Known(self._thought, is_fresh=True, is_working=False)
            if self._refused_mark == mark:
                return Known(self._thought, is_fresh=False, is_working=False, trouble=self._trouble)
            job = self._started(project, mark)
            has_older = self._thought is not None
        try:
            job.result(timeout=0.0 if has_older else patience_s)
        except Waited:
            return Known(self._thought, is_fresh=False, is_working=True, step=self._step)
        except Exception:
            return Known(self._thought, is_fresh=False, is_working=False, trouble=self._trouble)
        return Known(self._thought, is_fresh=True, is_working=False)

    def last(self, mark: object) -> Known:
        """Return what was worked out last, and begin nothing."""
        with self._lock:
            return Known(self._thought, is_fresh=self._mark == mark, is_working=False)

    def cancel(self) -> None:
        """Stop the work under way, in the middle of a fit if need be; it begins again when the log changes, or on demand."""
        self._stop.set()

    def again(self) -> None:
        """Forget that the work was cancelled or failed."""
        with self._lock:
            self._refused_mark = None

    def _started(self, project: Project, mark: object) -> Future[Thought]:
        if self._job is not None and not self._job.done():
            if self._job_mark == mark:
                return self._job
            self._stop.set()  # it works on a log that has changed since
        stop = self._stop = Event()
        self._job_mark = mark
        self._job = self._pool.submit(self._work, project, mark, stop, _HEAD_START_S if self._thought else 0.0)
        return self._job

    def _work(self, project: Project, mark: object, stop: Event, head_start_s: float) -> Thought:
        stop.wait(head_start_s)
        try:
            with interruptible(stop.is_set):
                thought = self._think(project)
        except Interrupted:
            self._refuse(mark, "The analysis was cancelled.", is_final=stop is self._stop)
            raise
        except FettleError as err:
            self._refuse(mark, str(err), is_final=True)
            raise
        except Exception as err:
            self._refuse(mark, f"The analysis met a fault of Fettle's own ({type(err).__name__}).", is_final=True)
            raise
        with self._lock:
            self._thought, self._mark = thought, mark
        return thought

    def _refuse(self, mark: object, why: str, *, is_final: bool) -> None:
        with self._lock:
            self._trouble = why
            self._refused_mark = mark if is_final else None

    def _think(self, project: Project) -> Thought:
        setup = project.setup
        asked = ask(project, setup, self._at)
        self._at("the charts")
        return _in_words(project, setup, asked)

    def _at(self, step: str) -> None:
        checkpoint()
        self._step = step


def _in_words(project: Project, setup: Setup, asked: Asked) -> Thought:
    order = [variant.name for variant in project.file.variants()]
    return Thought(
        asked=asked,
        answer_of=answers(setup, asked),
        standing=standing(setup, asked.advice, list(asked.analyses.values()), project.readings(), order),
        next_change=next_change(setup, asked.advice, asked.no_advice, project.track()),
    )
