"""Recordings of one programme made comparable by ear: the same instant at the same sample, at the same loudness."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import correlate

from doe.model.errors import DataError
from doe.signals.files import Recording, open_recording, read_samples
from doe.signals.spectrum import level, power_spectrum

Sound = NDArray[np.float64]

LONGEST_S = 60.0
_MOST_SHIFT_S = 5.0
_SHORTEST_S = 0.5
_LEAST_LIKENESS = 0.1
"""Correlation below which two recordings pass for different programmes (common practice, no source)."""
_LARGEST_STEP = 1.0 / 32768.0


@dataclass(frozen=True, slots=True)
class Clip:
    """A recording ready to be switched to.

    Attributes
    ----------
    samples : ndarray of shape (n_samples, n_channels)
        Full scale being 1.0, aligned and cut to the length of the others, already at the matched level.
    rate : int
        In Hz.
    shift : int
        Samples that were left out before it, against the first recording; negative if that one starts earlier.
    gain_db : float
        Applied to match the loudness; never above 0, so that nothing clips.
    """

    samples: Sound
    rate: int
    shift: int
    gain_db: float


def matched(paths: Sequence[Path]) -> tuple[Clip, ...]:
    """Align recordings of the same programme, and match them in loudness to the quietest.

    Loudness is judged by the A-weighted equivalent level (IEC 61672-1:2013) of the part that all of them hold.

    Parameters
    ----------
    paths : sequence of Path
        WAV, FLAC or AIFF.

    Raises
    ------
    DataError
        If one cannot be read, their rates differ, they hold different programmes, or share less than half a second.
    """
    recordings = [open_recording(path) for path in paths]
    rates = sorted({item.rate for item in recordings})
    if len(rates) > 1:
        raise DataError(
            f"The recordings have {rates[0]} and {rates[-1]} samples a second; record all of them at one rate."
        )
    sounds = [_sound(item, min(recording.channels for recording in recordings)) for item in recordings]
    shifts = [0, *(delay(sounds[0], sound, rates[0]) for sound in sounds[1:])]
    parts = _common(sounds, shifts)
    if len(parts[0]) < _SHORTEST_S * rates[0]:
        raise DataError("The recordings share less than half a second of the programme; record it whole each time.")
    levels = [_loudness(part, rates[0]) for part in parts]
    gains = [min(levels) - own for own in levels]
    return tuple(
        Clip(part * 10.0 ** (gain / 20.0), rates[0], shift, gain)
        for part, shift, gain in zip(parts, shifts, gains, strict=True)
    )


def _sound(recording: Recording, channels: int) -> Sound:
    """Read the beginning of a recording, one or two channels of it."""
    stop = int((LONGEST_S + _MOST_SHIFT_S) * recording.rate)
    return np.stack([read_samples(recording, place + 1, stop=stop) for place in range(min(channels, 2))], axis=1)


def delay(first: Sound, other: Sound, rate: int) -> int:
    """Return by how many samples a programme comes later in the other recording: where the two correlate most.

    Raises
    ------
    DataError
        If they correlate nowhere within five seconds.
    """
    # Channel by channel, since they may cancel; a polarity turned round is the same programme.
    found = np.sum([np.abs(correlate(b, a, method="fft")) for a, b in zip(first.T, other.T, strict=True)], axis=0)
    zero, reach = len(first) - 1, int(_MOST_SHIFT_S * rate)
    start = max(0, zero - reach)
    near = found[start : zero + reach + 1]
    place = int(np.argmax(near))
    if near[place] <= _LEAST_LIKENESS * float(np.linalg.norm(first) * np.linalg.norm(other)):
        raise DataError("The recordings do not hold the same programme, so there is no instant to switch at.")
    return place + start - zero


def _common(sounds: Sequence[Sound], shifts: Sequence[int]) -> list[Sound]:
    """Cut out what all recordings hold, the same instant at the same sample."""
    start = max(-shift for shift in shifts)
    stop = min(len(sound) - shift for sound, shift in zip(sounds, shifts, strict=True))
    return [sound[start + shift : max(stop, start) + shift] for sound, shift in zip(sounds, shifts, strict=True)]


def _loudness(sound: Sound, rate: int) -> float:
    """Return the A-weighted level over all channels, in dB of full scale; one of them may hold nothing."""
    powers = [
        10.0 ** (level(power_spectrum(iter([channel.astype(np.float32)]), rate, len(channel)), "A") / 10.0)
        for channel in sound.T
        if np.any(channel)
    ]
    return float(10.0 * np.log10(np.sum(powers) / len(sound.T)))


def as_wav(clip: Clip, seed: int) -> bytes:
    """Write a clip as a WAV file of 16 bits that holds sound and nothing else.

    Triangular dither (Lipshitz, Wannamaker & Vanderkooy 1992) keeps the rounding from following the sound; it also makes
    two copies of one clip differ, so that files do not tell a hidden repeat.

    Parameters
    ----------
    clip : Clip
        What is written.
    seed : int
        Of the dither.
    """
    rng = np.random.default_rng(seed)
    noise = rng.random(clip.samples.shape) - rng.random(clip.samples.shape)
    steps = np.round(clip.samples / _LARGEST_STEP + noise)
    out = io.BytesIO()
    whole = np.clip(steps, -32768, 32767).astype(np.int16)
    soundfile.write(out, whole, clip.rate, format="WAV", subtype="PCM_16")
    return out.getvalue()
