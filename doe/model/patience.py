"""Giving up in the middle of long work: whoever waits says when, and the work asks now and then.

The engines know nothing of pages or keys. They call `checkpoint` in their outer loops, some ten times a second; it does
nothing unless the caller has said, with `interruptible`, how to find out that nobody waits any more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_given_up: ContextVar[Callable[[], bool] | None] = ContextVar("given_up", default=None)


class Interrupted(Exception):  # noqa: N818
    """Nobody waits for the work any more.

    Not a `FettleError`: nothing is wrong, and no engine may take it for a finding and go on.
    """


@contextmanager
def interruptible(given_up: Callable[[], bool]) -> Iterator[None]:
    """Let the work inside stop at its next `checkpoint` once `given_up` returns true.

    Holds for the thread or task that it is called in.
    """
    token = _given_up.set(given_up)
    try:
        yield
    finally:
        _given_up.reset(token)


def checkpoint() -> None:
    """Stop here if nobody waits any more.

    Raises
    ------
    Interrupted
    """
    given_up = _given_up.get()
    if given_up is not None and given_up():
        raise Interrupted
