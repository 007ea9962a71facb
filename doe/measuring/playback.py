"""Kept recordings of several variants, made ready to be played beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from doe.model.errors import DataError, listed
from doe.signals.playback import Clip, matched
from doe.signals.sound_format import sound_format
from doe.store import ProjectFile


def recordings_of(file: ProjectFile) -> Mapping[str, Path]:
    """Return the latest recording that is kept of each variant; curves and photos are none."""
    found = {}
    for item in file.attachments():
        if item["variant"] is not None and item["path"].is_file() and _is_sound(item["path"]):
            found[str(item["variant"])] = item["path"]
    return found


def _is_sound(path: Path) -> bool:
    try:
        return sound_format(path) is not None
    except DataError:
        return False


def playback(file: ProjectFile, variants: Sequence[str]) -> Mapping[str, Clip]:
    """Return the recordings of these variants, aligned and matched; see `doe.signals.playback.matched`.

    Raises
    ------
    DataError
        If a variant has none, or they cannot be compared.
    """
    kept = recordings_of(file)
    names = list(dict.fromkeys(variants))
    missing = [name for name in names if name not in kept]
    if missing:
        raise DataError(f"No recording is kept of variant {listed(missing, 'and')}; measure one first.")
    return dict(zip(names, matched([kept[name] for name in names]), strict=True))
