"""What a file is, told from its first bytes, and whether it holds as much as it announces."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO

from doe.model import wording
from doe.model.errors import DataError

LARGEST_BYTES = 1_500_000_000
"""Longest recording that is read; ten minutes at 96 kHz in two 24-bit channels are 350 MB."""

_SMALLEST_BYTES = 44
_NOT_SOUND = "it must be a WAV, FLAC or AIFF recording"
_NO_LENGTH = (0, 0xFFFFFFFF)
"""What recorders and pipes write for the length of the samples before they know it."""

_LOSSY = {
    b"OggS": "Ogg",
    b"ID3": "MP3",
    b"\xff\xfb": "MP3",
    b"\xff\xf3": "MP3",
    b"\xff\xf2": "MP3",
}


def sound_format(path: Path) -> str | None:
    """Return ``"WAV"``, ``"FLAC"`` or ``"AIFF"`` by content, whatever the file is called; None for anything else.

    Raises
    ------
    DataError
        If the file cannot be opened, or is compressed with loss: that alters decays and levels.
    """
    try:
        with path.open("rb") as file:
            head = file.read(12)
    except OSError as err:
        raise DataError(f"{path.name} cannot be read: {(err.strerror or 'unknown reason').lower()}.") from err
    if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
        return "WAV"
    if head[:4] == b"fLaC":
        return "FLAC"
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return "AIFF"
    for sign, name in _LOSSY.items():
        if head.startswith(sign):
            raise DataError(f"{path.name} is {name}, which alters levels and decays; record to WAV or FLAC.")
    return None


def check_sound_file(path: Path) -> str:
    """Return the format of a sound file whose size and announced length are sound.

    Raises
    ------
    DataError
        If the file is missing, empty, too large, no recording, or shorter than its own header says.
    """
    if not path.is_file():
        raise DataError(f"{path.name} is not there; give the path of {_NOT_SOUND.removeprefix('it must be ')}.")
    size = path.stat().st_size
    if size == 0:
        raise DataError(f"{path.name} is empty; {_NOT_SOUND}.")
    if size > LARGEST_BYTES:
        raise DataError(
            f"{path.name} holds {wording.number(size / 1e9)} GB; a recording may hold at most "
            f"{wording.number(LARGEST_BYTES / 1e9)} GB: cut it to the part that matters."
        )
    kind = sound_format(path)
    if kind is None:
        raise DataError(f"{path.name} is not a recording; {_NOT_SOUND}.")
    if size < _SMALLEST_BYTES:
        raise DataError(f"{path.name} breaks off in its header; record it again or copy it again.")
    if kind == "WAV":
        _check_wav_length(path, size)
    return kind


def _check_wav_length(path: Path, size: int) -> None:
    """Compare the sample data that a WAV file announces with what it holds (RIFF, EBU Tech 3306 for RF64)."""
    with path.open("rb") as file:
        announced, held = _wav_data(file, size)
    if announced is None:
        raise DataError(f"{path.name} breaks off before its samples begin; record it again or copy it again.")
    if held > 0 and announced in _NO_LENGTH:
        raise DataError(
            f"{path.name} does not say how long its sound is, as when a recording was not ended; open it in a sound editor "
            "and save it anew."
        )
    if announced > held:
        share = 100 * held / announced
        raise DataError(
            f"{path.name} is truncated: its header announces {announced} bytes of sound, the file holds {held} "
            f"({wording.number(share)} %); copy it again, or end the recording properly."
        )


def _wav_data(file: BinaryIO, size: int) -> tuple[int | None, int]:
    """Walk through the chunks of a WAV file; return announced and held bytes of its samples."""
    file.seek(12)
    long_length: int | None = None
    while True:
        head = file.read(8)
        if len(head) < 8:
            return None, 0
        name, length = head[:4], int(struct.unpack("<I", head[4:])[0])
        start = file.tell()
        if name == b"data":
            announced = long_length if length == 0xFFFFFFFF and long_length is not None else length
            return announced, size - start
        if name == b"ds64":
            long_length = int(struct.unpack("<Q", (file.read(16) + bytes(16))[8:16])[0])
        file.seek(start + length + (length & 1))
