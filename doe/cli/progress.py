"""A bar that shows how far a long command is, on a terminal only."""

from __future__ import annotations

import sys
from collections.abc import Callable

_WIDTH = 30


def bar(what: str) -> Callable[[int, int], None] | None:
    """Return a function that draws the bar for a count done and a count of all, or None where nobody watches.

    Parameters
    ----------
    what : str
        What is counted, in the plural.
    """
    if not sys.stderr.isatty():
        return None

    def draw(done: int, count: int) -> None:
        filled = round(_WIDTH * done / count)
        end = "\n" if done == count else ""
        print(
            f"\r[{'#' * filled}{'.' * (_WIDTH - filled)}] {done} of {count} {what}",
            end=end,
            file=sys.stderr,
            flush=True,
        )

    draw(0, 1)
    return draw
