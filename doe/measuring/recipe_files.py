"""Files that a recipe names, given to the project itself: a microphone's curve, a reference, a calibrator's tone, silence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from doe.measuring.takes import FILE_KEYS
from doe.model.errors import DataError, UsageError, listed
from doe.model.names import quoted
from doe.signals.curve import read_curve
from doe.signals.recipes import RECIPES
from doe.signals.sound_format import sound_format
from doe.store import ProjectFile
from doe.store.attachments import FOR_RECIPE, clean_name

_OF_SOUND = ("calibrator", "background")
"""Keys whose file is a recording; the others may be curves."""


def new_files(
    file: ProjectFile, recipe: Mapping[str, Any], files: Sequence[tuple[str, bytes]]
) -> list[tuple[str, bytes]]:
    """Return what is to be kept for a recipe, under bare names: files that its keys name, that can be read and are not there.

    Parameters
    ----------
    file : ProjectFile
        The project.
    recipe : mapping
        As an outcome holds it; empty without one.
    files : sequence of (str, bytes)
        Name and content of each.

    Raises
    ------
    UsageError
        If there is no recipe, or a file is named by none of its keys or given twice.
    DataError
        If a file is empty, or nothing that its key could be, or another of that name lies beside the project.
    """
    named = {str(recipe[key]): key for key in FILE_KEYS if recipe.get(key) is not None}
    # the newest of a name comes last
    kept = {row["filename"]: row["sha256"] for row in file.attachments() if row["note"] == FOR_RECIPE}
    checked: dict[str, bytes] = {}
    for filename, data in files:
        name = clean_name(filename)
        if name not in named:
            raise UsageError(_not_named(recipe, name))
        if name in checked:
            raise UsageError(f"'{name}' is given twice; choose each file once.")
        beside = file.path.parent / name
        if beside.is_file() and beside.read_bytes() != data:
            raise DataError(
                f"Another '{name}' lies beside the project, and that one would count; give this file a name of its own."
            )
        _check_content(name, data, named[name])
        checked[name] = data
    return [(name, data) for name, data in checked.items() if sha256(data).hexdigest() != kept.get(name)]


def _not_named(recipe: Mapping[str, Any], name: str) -> str:
    if not recipe:
        return f"'{name}' belongs to no recipe; choose one, and name the file in its keys."
    book = RECIPES.get(str(recipe.get("from")))
    keys = [key.name for key in book.keys if key.name in FILE_KEYS] if book is not None else []
    if not keys:
        return f"'{name}' is not needed: recipe '{recipe.get('from')}' takes no file beside the recordings."
    ways = listed([f"{key} = {quoted(name)}" for key in keys])
    return f"'{name}' is named by no key; write it to the key that it is for: {ways}."


def _check_content(name: str, data: bytes, key: str) -> None:
    if not data:
        raise DataError(f"'{name}' is empty; choose the file that {key} is to be.")
    with TemporaryDirectory(prefix="fettle-") as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        if sound_format(path) is not None and key != "microphone":
            return
        if key in _OF_SOUND:
            raise DataError(f"'{name}' is no sound as WAV, FLAC or AIFF, which {key} must be.")
        read_curve(path)
