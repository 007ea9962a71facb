"""Putting a file in place: whole or not at all, and never over another one."""

from __future__ import annotations

import os
from pathlib import Path

from doe.model.errors import StoreError


def is_there(path: Path) -> bool:
    """Tell whether something has that name.

    Raises
    ------
    StoreError
        If it can be no name of a file.
    """
    try:
        return path.exists()
    except OSError as err:
        raise StoreError(f"'{str(path)[:80]}' can be no file: {(err.strerror or str(err)).lower()}.") from err


def check_free(path: Path) -> None:
    """Check that a new project file can be made under this name.

    Raises
    ------
    StoreError
        If something is there already, or the folder is missing.
    """
    if is_there(path):
        raise StoreError(f"{path} exists already; choose another name, or open it.")
    if not path.parent.is_dir():
        raise StoreError(f"{path} cannot be made: the folder {path.parent} does not exist.")
    log = path.with_name(f"{path.name}.wal")
    if log.exists():
        raise StoreError(f"{log} is left over from another project; move it away before making {path.name}.")


def put_in_place(draft: Path, path: Path) -> None:
    """Give a finished file its name.

    Raises
    ------
    StoreError
        If something came to be there meanwhile.
    """
    try:
        os.link(draft, path)  # unlike a rename it never replaces what someone else made meanwhile
    except FileExistsError:
        raise StoreError(f"{path} exists already; choose another name, or open it.") from None
    except OSError:  # a file system without links
        check_free(path)
        draft.replace(path)
