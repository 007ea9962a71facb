"""Which project a command works on."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from doe.model.errors import NoVariant, StoreError, UsageError, listed

if TYPE_CHECKING:
    from doe.project import Project

SUFFIX = ".duckdb"


def open_project(named: str | None) -> Project:
    """Open the project that ``--project``, the environment or the folder names.

    Raises
    ------
    UsageError
        If the folder holds several projects and none was named.
    StoreError
        If there is none, or its file cannot be used.
    """
    from doe.project import Project  # the store takes a moment that --help need not wait for

    return Project.open(project_path(named))


def with_way_back(named: str | None, err: NoVariant) -> NoVariant:
    """Return the refusal of a variant that was taken out with the entry that did so, and what brings it back."""
    return open_project(named).file.with_way_back(err)


def project_path(named: str | None) -> Path:
    """Return the path of the project that is meant.

    Raises
    ------
    UsageError
        If the folder holds several projects and none was named.
    StoreError
        If there is none.
    """
    named = named or os.environ.get("FETTLE_PROJECT")
    if not named:
        return _only_one(Path())
    path = Path(named)
    if path.is_dir():
        return _only_one(path)
    with_suffix = path.with_name(path.name + SUFFIX)
    return with_suffix if not path.exists() and with_suffix.exists() else path


def projects_in(folder: Path) -> list[Path]:
    """List the project files of a folder by name."""
    return sorted(path for path in folder.glob(f"*{SUFFIX}") if path.is_file())


def _only_one(folder: Path) -> Path:
    found = projects_in(folder)
    where = "this folder" if folder == Path() else f"'{folder}'"
    if not found:
        raise StoreError(
            f"There is no project in {where}; start one with 'fettle init', or name one with --project FILE."
        )
    if len(found) > 1:
        names = listed([path.name for path in found], "and")
        raise UsageError(f"There are {len(found)} projects in {where}, {names}; say which with --project FILE.")
    return found[0]
