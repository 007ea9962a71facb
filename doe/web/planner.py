"""Plans and routes worked out in the background: one at a time, stopped on demand with the best so far."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as Waited
from dataclasses import dataclass, field
from threading import Event, Lock
from typing import Any

from doe.model.errors import FettleError
from doe.model.wording import percent

Tell = Callable[[float, str], None]

_MOST_KEPT = 8


@dataclass(slots=True)
class _Job:
    """One question under way or answered."""

    future: Future[Any] = field(default_factory=Future)
    stop: Event = field(default_factory=Event)
    step: str = ""

    def tell(self, share: float, words: str) -> None:
        """Note how far the work is; the engines take a KeyboardInterrupt as the wish to keep the best so far."""
        self.step = f"{words}, {percent(share)}"
        if self.stop.is_set():
            raise KeyboardInterrupt


@dataclass(frozen=True, slots=True)
class Worked:
    """What came of a question so far.

    Attributes
    ----------
    answer : object
        The result; None while it is under way, or was refused.
    is_working : bool
        Whether it is under way.
    step : str
        What is being worked on.
    refusal : str
        Why there is no answer; empty while all is well.
    """

    answer: Any = None
    is_working: bool = False
    step: str = ""
    refusal: str = ""


class Planner:
    """Answers questions that take longer than a page may, and keeps the last few answers."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="planning")
        self._jobs: OrderedDict[Hashable, _Job] = OrderedDict()

    def ask(self, key: Hashable, work: Callable[[Tell], Any], patience_s: float) -> Worked:
        """Return the answer, after waiting at most so long for it.

        Parameters
        ----------
        key : hashable
            Of the question, and of the state of the log that it is asked about.
        work : callable
            Works it out; called once, with what it is to tell its progress to.
        patience_s : float
            In seconds.
        """
        with self._lock:
            job = self._jobs.get(key)
            if job is None:
                job = self._jobs[key] = _Job()
                job.future = self._pool.submit(_done, work, job)
                while len(self._jobs) > _MOST_KEPT:
                    self._jobs.popitem(last=False)[1].stop.set()
        try:
            return Worked(job.future.result(timeout=patience_s))
        except Waited:
            return Worked(is_working=True, step=job.step)
        except FettleError as err:
            with self._lock:
                if job.stop.is_set():  # asked again, it is to be searched again
                    self._jobs.pop(key, None)
            return Worked(refusal=str(err))

    def answered(self, key: Hashable) -> Any:
        """Return an answer that was shown; None if it was pushed out by others since."""
        with self._lock:
            job = self._jobs.get(key)
        return job.future.result() if job is not None and job.future.done() and not job.future.exception() else None

    def stop(self) -> None:
        """End what is under way with the best so far."""
        with self._lock:
            for job in self._jobs.values():
                if not job.future.done():
                    job.stop.set()

    def close(self) -> None:
        """End everything, so that the server can."""
        self.stop()
        self._pool.shutdown(wait=False, cancel_futures=True)


def _done(work: Callable[[Tell], Any], job: _Job) -> Any:
    try:
        return work(job.tell)
    except KeyboardInterrupt:
        raise FettleError("The search was stopped before it had found anything.") from None
