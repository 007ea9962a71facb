"""A line on the terminal that says how far long work is."""

from __future__ import annotations

import sys
import time
from types import TracebackType

from doe.model.wording import percent

_PATIENCE_S = 1.0
_BETWEEN_S = 0.1
_WIDTH = 24


class Progress:
    """A bar on standard error, drawn after a second, on a terminal only; gone when the work is done.

    Called with the share done (0..1) and a few words, as `tell` of the planning functions.

    Parameters
    ----------
    kept : str
        What is kept where the work is interrupted.
    patience_s : float
        Seconds before it is drawn.
    """

    def __init__(self, kept: str = "the best so far", patience_s: float = _PATIENCE_S) -> None:
        self._kept = kept
        self._begun = time.monotonic()
        self._patience_s = patience_s
        self._last = 0.0
        self._drawn = 0
        self._is_shown = sys.stderr.isatty()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._drawn:
            self._write("")

    def __call__(self, share: float, words: str) -> None:
        """Draw how far the work is."""
        now = time.monotonic()
        if not self._is_shown or now - self._begun < self._patience_s or now - self._last < _BETWEEN_S:
            return
        self._last = now
        done = round(_WIDTH * min(max(share, 0.0), 1.0))
        self._write(f"{'#' * done}{'.' * (_WIDTH - done)} {percent(share)}  {words}  (Ctrl-C keeps {self._kept})")

    def _write(self, line: str) -> None:
        sys.stderr.write("\r" + line.ljust(self._drawn) + ("\r" if not line else ""))
        sys.stderr.flush()
        self._drawn = max(self._drawn, len(line))
