"""Recordings: opened, checked once from end to end in blocks, and read piece by piece; never whole by accident."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np
import soundfile
from numpy.typing import NDArray

from doe.model import wording
from doe.model.errors import DataError, UsageError
from doe.signals.sound_format import check_sound_file

Samples = NDArray[np.float64]

MOST_SAMPLES = 500_000_000
LOWEST_RATE, HIGHEST_RATE = 4_000, 768_000
SHORTEST_S = 0.005
SILENT_DBFS = -100.0
QUIET_DBFS = -50.0
_MOST_CHANNELS = 64
_LOSSLESS = ("PCM", "FLOAT", "DOUBLE")
_BLOCK = 1 << 19
_FULL_SCALE, _ABOVE_FULL_SCALE = 0.9999, 1.0001
_CLIPPED_RUN = 3


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording that passed its checks.

    Attributes
    ----------
    path : Path
        Where it is.
    format, encoding : str
        ``"WAV"``, ``"FLAC"`` or ``"AIFF"``, and how a sample is written (``"PCM_24"``, ``"FLOAT"``).
    rate : int
        Samples per second, in Hz.
    frames : int
        Samples per channel.
    peaks, rms : tuple of float
        Largest magnitude and root mean square per channel; 1.0 is full scale.
    alike : bool
        Whether all channels hold the same samples.
    """

    path: Path
    format: str
    encoding: str
    rate: int
    frames: int
    peaks: tuple[float, ...]
    rms: tuple[float, ...]
    alike: bool

    @property
    def channels(self) -> int:
        """Number of channels."""
        return len(self.peaks)

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return self.frames / self.rate

    @property
    def name(self) -> str:
        """File name, for messages."""
        return self.path.name


def open_recording(path: Path | str) -> Recording:
    """Check a recording from its first to its last sample; memory does not grow with its length.

    Parameters
    ----------
    path : path
        A WAV, FLAC or AIFF file of any bit depth, 4 to 768 kHz.

    Raises
    ------
    DataError
        If it is missing, empty, truncated, too large, too short, no recording, silent, clipped, or holds samples that
        are no numbers. The message says which, with the figure.
    """
    path = Path(path)
    kind = check_sound_file(path)
    with _opened(path) as file:
        _check_header(path, file)
        tally = _Tally(file.channels)
        for block in _blocks(path, file):
            tally.add(block)
        _check_tally(path, file, tally)
        return Recording(
            path=path,
            format=kind,
            encoding=str(file.subtype),
            rate=int(file.samplerate),
            frames=tally.frames,
            peaks=tuple(float(peak) for peak in tally.peaks),
            rms=tuple(float(value) for value in np.sqrt(tally.squares / tally.frames)),
            alike=tally.alike,
        )


def read_blocks(recording: Recording, channel: int, size: int = _BLOCK) -> Iterator[NDArray[np.float32]]:
    """Yield one channel (from 1) piece by piece, full scale being 1.0."""
    with _opened(recording.path) as file:
        for block in _blocks(recording.path, file, size):
            yield np.ascontiguousarray(block[:, channel - 1])


def read_samples(recording: Recording, channel: int, start: int = 0, stop: int | None = None) -> Samples:
    """Return part of one channel.

    Parameters
    ----------
    recording : Recording
        What `open_recording` returned.
    channel : int
        Counting from 1.
    start, stop : int
        First sample, and the one after the last; what lies outside the recording is left out.

    Returns
    -------
    ndarray of shape (n_samples,), full scale being 1.0
    """
    first, last = max(0, start), min(recording.frames, recording.frames if stop is None else stop)
    samples = np.empty(max(0, last - first))
    with _opened(recording.path) as file:
        file.seek(first)
        filled = 0
        while filled < len(samples):
            block = _read(recording.path, file, min(_BLOCK, len(samples) - filled))
            samples[filled : filled + len(block)] = block[:, channel - 1]
            filled += len(block)
    return samples


def choose_channel(recording: Recording, channel: int | None) -> tuple[int, str]:
    """Return the channel to use, from 1, and a sentence where it was not stated and matters.

    Raises
    ------
    UsageError
        If there is no such channel.
    DataError
        If that channel is silent.
    """
    chosen = 1 if channel is None else channel
    if not 1 <= chosen <= recording.channels:
        held = "1 channel" if recording.channels == 1 else f"channels 1 to {recording.channels}"
        raise UsageError(f"channel is {chosen}; {recording.name} has {held}.")
    if is_silent(recording.rms[chosen - 1]):
        raise DataError(f"{recording.name} is silent on channel {chosen}; set channel to the one that was recorded.")
    if channel is not None or recording.channels == 1 or recording.alike:
        return chosen, ""
    return chosen, f"{recording.name} has {recording.channels} channels; channel 1 was used, since none is set."


def is_silent(rms: float) -> bool:
    """Whether a root mean square lies below what any microphone gives."""
    return bool(rms <= 10.0 ** (SILENT_DBFS / 20.0))


def quiet_warning(recording: Recording, channel: int) -> str:
    """Return a sentence if the recording uses little of the scale, else an empty one."""
    peak = 20.0 * np.log10(max(recording.peaks[channel - 1], 1e-10))
    if peak >= QUIET_DBFS:
        return ""
    return f"{recording.name} peaks at only {wording.number(float(peak))} dB of full scale; raise the recording level."


class _Tally:
    """What is gathered in one pass over the samples."""

    def __init__(self, channels: int) -> None:
        self.frames = 0
        self.peaks = np.zeros(channels)
        self.squares = np.zeros(channels)
        self.clipped = 0
        self.bad = -1
        self.alike = True
        self._run = np.zeros(channels, dtype=np.int64)

    def add(self, block: NDArray[np.float32]) -> None:
        size = np.abs(block)
        top = size.max(axis=0)
        if not np.isfinite(top).all() and self.bad < 0:
            self.bad = self.frames + int(np.argmin(np.isfinite(block).all(axis=1)))
        self.peaks = np.maximum(self.peaks, top)
        self.squares += np.einsum("ij,ij->j", block, block, dtype=np.float64)
        if self.alike and block.shape[1] > 1:
            self.alike = bool((block == block[:, :1]).all())
        for channel in np.flatnonzero(top >= _FULL_SCALE):
            # Float files may run beyond full scale unharmed; what stays exactly at it was cut by a converter.
            full = (size[:, channel] >= _FULL_SCALE) & (size[:, channel] <= _ABOVE_FULL_SCALE)
            self._count_clipped(full, int(channel))
        self._run[top < _FULL_SCALE] = 0
        self.frames += len(block)

    def _count_clipped(self, full: NDArray[np.bool_], channel: int) -> None:
        turns = np.flatnonzero(np.diff(np.concatenate([[False], full, [False]]).astype(np.int8)))
        starts, ends = turns[::2], turns[1::2]
        runs = ends - starts
        held = int(self._run[channel]) if len(runs) and starts[0] == 0 else 0  # of the run that goes on
        runs[:1] += held
        self.clipped += int(np.sum(runs[runs >= _CLIPPED_RUN])) - (held if held >= _CLIPPED_RUN else 0)
        self._run[channel] = runs[-1] if full[-1] else 0


@contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    """Open a sound file by content alone: soundfile would trust the ending of a name, but not of a bare handle."""
    with path.open("rb") as handle:
        try:
            file = soundfile.SoundFile(handle.fileno(), closefd=False)
        except (soundfile.LibsndfileError, RuntimeError, TypeError) as err:
            raise DataError(f"{path.name} cannot be read as sound; its header or its content is damaged.") from err
        with file:
            yield file


def _blocks(path: Path, file: soundfile.SoundFile, size: int = _BLOCK) -> Iterator[NDArray[np.float32]]:
    rows = max(1, size // int(file.channels))
    while True:
        block = _read(path, file, rows, may_end=True)
        if not len(block):
            return
        yield block


def _read(path: Path, file: soundfile.SoundFile, rows: int, *, may_end: bool = False) -> NDArray[np.float32]:
    try:
        block = file.read(rows, dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, RuntimeError) as err:
        raise DataError(f"{path.name} is damaged or truncated: its sound breaks off; record or copy it again.") from err
    if not len(block) and not may_end:
        raise DataError(f"{path.name} changed while it was read; try again.")
    return cast("NDArray[np.float32]", block)


def _check_header(path: Path, file: soundfile.SoundFile) -> None:
    rate, channels, frames = int(file.samplerate), int(file.channels), int(file.frames)
    if not str(file.subtype).startswith(_LOSSLESS):
        raise DataError(
            f"{path.name} is written as {file.subtype}, which alters levels and decays; record to PCM or float."
        )
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise DataError(
            f"{path.name} has a sample rate of {rate} Hz; it must be from {LOWEST_RATE} to {HIGHEST_RATE} Hz."
        )
    if not 1 <= channels <= _MOST_CHANNELS:
        raise DataError(f"{path.name} has {channels} channels; it may have 1 to {_MOST_CHANNELS}.")
    if frames * channels > MOST_SAMPLES:
        raise DataError(
            f"{path.name} announces {wording.duration(frames / rate / 60)} in {channels} channels; that is more than can "
            f"be measured at once ({MOST_SAMPLES // 1_000_000} million samples): cut it to the part that matters."
        )


def _check_tally(path: Path, file: soundfile.SoundFile, tally: _Tally) -> None:
    rate = int(file.samplerate)
    if tally.frames < int(file.frames):
        raise DataError(
            f"{path.name} is truncated: it announces {int(file.frames)} samples and holds {tally.frames}; copy it again."
        )
    if tally.frames < SHORTEST_S * rate:
        raise DataError(
            f"{path.name} holds {wording.counted(tally.frames, 'sample')}; at least {wording.number(SHORTEST_S * 1000)} ms "
            "are needed to measure anything."
        )
    if tally.bad >= 0:
        raise DataError(
            f"{path.name} holds a sample that is no finite number, at {wording.number(tally.bad / rate, 4)} s; record "
            "it again."
        )
    if all(is_silent(float(value)) for value in np.sqrt(tally.squares / tally.frames)):
        raise DataError(f"{path.name} is silent; check the microphone and the input, and record it again.")
    if tally.clipped:
        raise DataError(
            f"{path.name} is clipped: {wording.counted(tally.clipped, 'sample')} stand at full scale; lower the "
            "recording level and record it again."
        )
