"""Whose turn it is: one short connection after the other, in about the order of asking.

Without it, programs that wait for the project file would each try to open it again and again, and one that opens and
closes it in a loop would win every time. The turn is a lock on the folder (flock), so it leaves no file behind and ends with
its program, however that ends. Where folders cannot be locked, the retry in `connect` is enough for a few programs.
"""

from __future__ import annotations

import os
import random
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from doe.model.errors import StoreError

try:
    import fcntl
except ImportError:  # not a POSIX system
    fcntl = None  # type: ignore[assignment]

_SHORTEST_PAUSE, _LONGEST_PAUSE = 0.0005, 0.004
_locks: dict[str, threading.Lock] = {}
_locks_guard = threading.Lock()


@contextmanager
def turn(path: Path, deadline: float) -> Iterator[None]:
    """Wait for the turn at a project file, among the threads of this program and among programs.

    Parameters
    ----------
    path : Path
        The project file.
    deadline : float
        Reading of the monotonic clock up to which to wait, in seconds.

    Raises
    ------
    StoreError
        If another thread keeps the file till then. A program that keeps the folder is not waited for any longer either;
        whether it holds the project file too is then for the database to say.
    """
    with _locks_guard:
        lock = _locks.setdefault(str(path.resolve()), threading.Lock())
    if not lock.acquire(timeout=max(0.0, deadline - time.monotonic())):
        raise StoreError(f"{path} is held by another part of this program; try again in a moment.")
    try:
        folder = _locked_folder(path.resolve().parent, deadline)
        try:
            yield
        finally:
            if folder is not None:
                os.close(folder)  # ends the lock too
    finally:
        lock.release()


def _locked_folder(folder: Path, deadline: float) -> int | None:
    """Return an open descriptor of the folder that carries the lock, None where there can be none."""
    if fcntl is None:
        return None
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:
        return None
    while time.monotonic() < deadline:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return descriptor
        except BlockingIOError:
            time.sleep(random.uniform(_SHORTEST_PAUSE, _LONGEST_PAUSE))
        except OSError:  # a network folder without such locks
            break
    os.close(descriptor)
    return None
