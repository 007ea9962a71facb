"""One thread of linear algebra for work on many small matrices, where threads would only wait for each other."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

_BRING_LIBRARIES = ("numpy", "scipy.linalg")
"""Modules that come with a linear algebra library of their own each."""


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold the linear algebra of numpy and scipy to one thread; also a decorator.

    The limit is the process's. Of two callers that overlap, the last to leave may leave it at one thread, which costs time
    in large products only.
    """
    with _libraries(tuple(name in sys.modules for name in _BRING_LIBRARIES)).limit(limits=1, user_api="blas"):
        yield


@cache
def _libraries(loaded: tuple[bool, ...]) -> Any:
    """Find the libraries once for each set of modules loaded; that takes longer than holding them to one thread."""
    from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

    return ThreadpoolController()
