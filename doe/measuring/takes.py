"""Files as they are given and as they are kept: hashes, names, and what a recipe may need beside them."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from doe.model import wording
from doe.model.change import find_variant
from doe.model.errors import DataError, UsageError, shown
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.signals.recipes import check_recipe
from doe.signals.sound_format import LARGEST_BYTES
from doe.signals.sources import Context
from doe.store import ProjectFile
from doe.store.attachments import FOR_RECIPE, TAKE, hash_of, is_name

FILE_KEYS = ("microphone", "reference", "calibrator", "background")
"""Keys of recipes that name a file."""


@dataclass(frozen=True, slots=True)
class Take:
    """One file that is measured.

    Attributes
    ----------
    path : Path
        Ends in the file's own name, also where the kept bytes lie under another.
    sha256 : str
        Of its content.
    """

    path: Path
    sha256: str


@dataclass(frozen=True, slots=True)
class Kept:
    """The takes that a project keeps, and where recipes look for files.

    Attributes
    ----------
    takes : mapping of str to sequence of Take
        By variant.
    context : Context
        Where files named in a recipe are, with what was read already.
    """

    takes: Mapping[str, Sequence[Take]]
    context: Context

    def uses(self, settings: Mapping[str, Any]) -> dict[str, str]:
        """Return the other files that a recipe's settings bring in: name -> sha256, empty for one that is gone."""
        names = [str(settings[key]) for key in FILE_KEYS if settings.get(key) is not None]
        found = {name: _hash_or_nothing(self.context.path(name)) for name in names}
        variant = settings.get("reference_variant", "")
        for place, take in enumerate(self.takes.get(variant, ()), 1):
            found[f"{variant}, take {place}: {take.path.name}"] = take.sha256
        return found

    def used_files(self, settings: Mapping[str, Any]) -> list[Path]:
        """Return the files that a recipe's settings name."""
        return [self.context.path(str(settings[key])) for key in FILE_KEYS if settings.get(key) is not None]


def look_at(files: Iterable[Path | str]) -> list[Take]:
    """Hash files that are to be measured.

    Raises
    ------
    DataError
        If one is missing, a folder or too large, or two hold the same bytes.
    UsageError
        If there is none.
    """
    takes: list[Take] = []
    for path in map(Path, files):
        _check_file(path)
        take = Take(path, hash_of(path))
        twin = next((other for other in takes if other.sha256 == take.sha256), None)
        if twin is not None:
            what = f"{path} is given twice" if twin.path == path else f"{twin.path} and {path} hold the same bytes"
            raise DataError(f"{what}; a take is put up and measured anew.")
        takes.append(take)
    if not takes:
        raise UsageError("There are no files to measure; give one for each take.")
    return takes


def _check_file(path: Path) -> None:
    try:
        if not path.exists():
            raise DataError(f"{path} is not there; give the path of a recording or a curve file.")
        if not path.is_file():
            raise DataError(f"{path} is no file; give the path of a recording or a curve file.")
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except OSError as err:
        raise DataError(f"{str(path)[:80]} cannot be read: {(err.strerror or str(err)).lower()}.") from err
    if size > LARGEST_BYTES:
        raise DataError(
            f"{path.name} holds {wording.number(size / 1e9)} GB; a file to be measured may hold at most "
            f"{wording.number(LARGEST_BYTES / 1e9)} GB: cut it to the part that matters."
        )


@contextmanager
def kept_takes(file: ProjectFile, outcomes: Sequence[Outcome], variants: Sequence[Variant]) -> Iterator[Kept]:
    """Lay the takes that a project keeps out under their own names, for as long as they are needed.

    Raises
    ------
    DataError
        If a recipe's reference_variant is no variant.
    """
    with TemporaryDirectory(prefix="fettle-") as folder:
        takes: dict[str, list[Take]] = {}
        given: dict[str, Path] = {}  # the newest of a name counts
        for row in file.attachments():
            if row["note"] not in (TAKE, FOR_RECIPE) or not row["path"].is_file():
                continue
            path = under_its_name(row["path"], row["filename"], Path(folder) / str(row["id"]))
            if row["note"] == FOR_RECIPE:
                given[row["filename"]] = path
            else:
                takes.setdefault(row["variant"], []).append(Take(path, row["sha256"]))
        for name in filter(None, map(reference_of, outcomes)):
            takes.setdefault(name, takes.get(find_variant(name, variants).name, []))
        of_variants = {name: [take.path for take in own] for name, own in takes.items()}
        yield Kept(takes, Context(file.path.parent, of_variants, given))


def under_its_name(source: Path, name: str, folder: Path) -> Path:
    """Return a path that ends in a file's own name: a link, or a copy where the system allows none.

    Raises
    ------
    DataError
        If the name leads out of the folder.
    """
    path = folder / name
    if not is_name(name) or path.parent != folder or path.name != name:
        raise DataError(f"'{shown(name)}' must be a bare file name to be measured under.")
    folder.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        try:
            path.symlink_to(source.absolute())
        except OSError:
            shutil.copyfile(source, path)
    return path


def reference_of(outcome: Outcome) -> str | None:
    """Return the variant that the recipe of an outcome compares with, None where it compares with none."""
    name: str | None = check_recipe(outcome.recipe)[1].get("reference_variant")
    return name


def is_reference_itself(outcome: Outcome, variant: str) -> bool:
    """Whether an outcome compares with that very variant, which has nothing to be compared with then."""
    name = reference_of(outcome)
    return name is not None and name.casefold() == variant.casefold()


def _hash_or_nothing(path: Path) -> str:
    return hash_of(path) if path.is_file() else ""
