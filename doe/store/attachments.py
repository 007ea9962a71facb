"""Photos, curves and other files beside the project, kept under the hash of their content."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import duckdb

from doe.model.errors import DataError, StoreError, UsageError, shown
from doe.model.names import check_label
from doe.store.rows import fetch, insert, next_id

TAKE = "take"
"""Note of a recording or curve that was measured; photos and other files have other notes, or none."""
FOR_RECIPE = "for a recipe"
"""Note of a file that was given for a recipe to name, such as a microphone's curve; it need not lie beside the project then."""
USED = "used by a recipe"
"""Note of a file that a recipe names, such as a microphone's curve."""
_HASH = re.compile(r"[0-9a-f]{64}")
_FOLDERS = (".", "..")


def save(folder: Path, data: bytes) -> str:
    """Write the bytes under their sha256, whole or not at all, and return the hash.

    Raises
    ------
    StoreError
        If the folder cannot be made or written.
    """
    digest = hashlib.sha256(data).hexdigest()
    path = folder / digest
    draft = folder / f"{digest}.{os.urandom(8).hex()}.part"
    try:
        folder.mkdir(exist_ok=True)
        if path.exists() and path.stat().st_size == len(data):
            return digest
        with draft.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except OSError as err:
        raise StoreError(f"{folder} cannot take the attachment: {err.strerror or err}.") from err
    finally:
        _remove(draft)
    return digest


def _remove(path: Path) -> None:
    """Remove a file if it is there; what cannot be removed must not hide why it is left over."""
    with suppress(OSError):
        path.unlink(missing_ok=True)


def save_file(folder: Path, source: Path, digest: str) -> None:
    """Copy a file under its sha256, whole or not at all, a piece at a time.

    Raises
    ------
    DataError
        If its content is no longer what was hashed.
    StoreError
        If the folder cannot be made or written.
    """
    target = folder / digest
    draft = folder / f"{digest}.{os.urandom(8).hex()}.part"
    try:
        if target.is_file() and target.stat().st_size == source.stat().st_size:
            return
        folder.mkdir(exist_ok=True)
        with source.open("rb") as old, draft.open("wb") as new:
            shutil.copyfileobj(old, new, 1 << 20)
            new.flush()
            os.fsync(new.fileno())
        if hash_of(draft) != digest:
            raise DataError(f"{source.name} was changed while it was measured; measure it again.")
        draft.replace(target)
    except OSError as err:
        raise StoreError(f"{folder} cannot take {source.name}: {err.strerror or err}.") from err
    finally:
        _remove(draft)


def clean_name(filename: str) -> str:
    """Return the bare file name, without any folder.

    Raises
    ------
    UsageError
        If nothing is left of it, it means a folder, or it holds control characters.
    """
    name = check_label("File name", filename.replace("\\", "/").rsplit("/", 1)[-1])
    if name in _FOLDERS:
        raise UsageError(f"File name '{name}' must be that of a file, not of a folder.")
    return name


def is_name(filename: object) -> bool:
    """Tell whether text is a bare file name, as `clean_name` leaves them."""
    try:
        return isinstance(filename, str) and clean_name(filename) == filename
    except UsageError:
        return False


def is_hash(text: object) -> bool:
    """Tell whether text is a sha256 as files are kept under."""
    return isinstance(text, str) and _HASH.fullmatch(text) is not None


def check_row(row: Mapping[str, Any]) -> None:
    """Check that a record of an attachment points nowhere but into the folder of attachments.

    Projects and exports are handed on, and what stands in one may have been made up.

    Raises
    ------
    DataError
        If its hash is none, or its file name leads elsewhere.
    """
    if not is_hash(row["sha256"]):
        raise DataError(
            f"attachment {row['id']}: sha256 is '{shown(row['sha256'])}'; it must be 64 digits, 0 to 9 or a to f."
        )
    if not is_name(row["filename"]):
        raise DataError(f"attachment {row['id']}: filename is '{shown(row['filename'])}'; it must be a bare file name.")


def add(con: duckdb.DuckDBPyConnection, entry: int, rows: list[dict[str, Any]]) -> None:
    """Store rows of attachments: variant (id or None), filename, sha256, size, note, and an id to keep if there is one."""
    first = next_id(con, "attachment")
    head = {"entry": entry, "replaces": None, "withdrawn": False}
    insert(con, "attachment", [{"id": first + place, **head, **row} for place, row in enumerate(rows)])


def load(con: duckdb.DuckDBPyConnection, folder: Path) -> list[dict[str, Any]]:
    """Read the attachments that count, with the path of each file; `unsound` tells which ones are left out."""
    rows = fetch(
        con,
        "SELECT a.id, v.name AS variant, a.filename, a.sha256, a.size, a.note"
        " FROM live_attachment a LEFT JOIN live_variant v ON v.id = a.variant ORDER BY a.id",
    )
    return [{**row, "path": folder / row["sha256"]} for row in rows if _misfit(row) is None]


def unsound(con: duckdb.DuckDBPyConnection) -> list[tuple[int, str]]:
    """Return the entry of each record that points elsewhere than to a file of the project, and what is wrong with it."""
    rows = fetch(con, "SELECT id, entry, filename, sha256 FROM live_attachment ORDER BY id")
    return [(row["entry"], f"{told} It is left out.") for row in rows if (told := _misfit(row)) is not None]


def _misfit(row: Mapping[str, Any]) -> str | None:
    try:
        check_row(row)
    except DataError as err:
        return str(err)
    return None


def copy_files(rows: Iterable[Mapping[str, Any]], folder: Path) -> None:
    """Copy the files of these attachments to another folder; what is missing is left out, for the check to tell."""
    for row in rows:
        path: Path = row["path"]
        if path.is_file():
            save(folder, path.read_bytes())


@contextmanager
def copied(rows: Sequence[Mapping[str, Any]], folder: Path) -> Iterator[None]:
    """Copy the files of these attachments to another folder, and take them out again if what is done inside fails."""
    is_new = not folder.exists()
    fresh = [path for row in rows if not (path := folder / row["sha256"]).exists()]
    try:
        copy_files(rows, folder)
        yield
    except BaseException:
        for path in fresh:
            _remove(path)
        if is_new:
            with suppress(OSError):
                folder.rmdir()
        raise


def check_whole(rows: Sequence[Mapping[str, Any]]) -> None:
    """Hold the files of an export against their hashes.

    Raises
    ------
    DataError
        If one is missing or was altered.
    """
    found = problems(rows)
    if found:
        raise DataError(f"The export is not whole: {found[0]}")


def problems(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """Compare each file with its hash, and tell which are missing or altered."""
    found = []
    for row in rows:
        path: Path = row["path"]
        what = f"attachment {row['id']} ('{row['filename']}')"
        if not path.is_file():
            found.append(f"{what} is missing: {path} does not exist.")
        elif hash_of(path) != row["sha256"]:
            found.append(f"{what} was altered: {path} no longer has the content it was stored with.")
    return found


def hash_of(path: Path) -> str:
    """Return the sha256 of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
