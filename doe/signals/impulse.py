"""Impulse responses: read from a file or taken out of a sweep recording, and turned into a frequency response."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from doe.model import wording
from doe.model.errors import DataError
from doe.signals import bands
from doe.signals.files import Recording, read_blocks, read_samples
from doe.signals.response import Response
from doe.signals.sweep import Sweep, deconvolve, find_sweep

Array = NDArray[np.float64]

LONGEST_S = 60.0
ONSET_DB = -20.0
"""The direct sound begins where the response first comes this near to its peak (ISO 3382-1:2009, 5.3.3 and A.2)."""

GATE_S = 0.5
_BEFORE_S = 0.25
_ROOM_BEFORE_HARMONIC = 0.3
_TAIL_S = 3.0
_SHORT_TAIL_S = 0.3
_FINEST_HZ = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Impulse:
    """An impulse response.

    Attributes
    ----------
    name : str
        File it comes from.
    samples : ndarray of shape (n_samples,)
        Pressure over time; from a sweep, recorded over played samples.
    rate : float
        Sample rate in Hz.
    onset : int
        Index of the first sample of the direct sound.
    low_hz, high_hz : float
        The band in which it means anything.
    sweep : Sweep or None
        What it was taken with.
    warnings : tuple of str
        What was found on the way.
    """

    name: str
    samples: Array
    rate: float
    onset: int
    low_hz: float
    high_hz: float
    sweep: Sweep | None = None
    warnings: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """Length from the direct sound on."""
        return (len(self.samples) - self.onset) / self.rate

    @property
    def decay(self) -> Array:
        """The samples from the direct sound on."""
        return self.samples[self.onset :]


def find_onset(samples: Array) -> int:
    """Return the index of the first sample within 20 dB of the largest."""
    size = np.abs(samples)
    return int(np.argmax(size >= size.max() * 10.0 ** (ONSET_DB / 20.0)))


def read_impulse(recording: Recording, channel: int) -> Impulse:
    """Read a file that is an impulse response already.

    Raises
    ------
    DataError
        If it lasts longer than a minute.
    """
    if recording.seconds > LONGEST_S:
        raise DataError(
            f"{recording.name} lasts {wording.number(recording.seconds)} s; an impulse response may last "
            f"{wording.number(LONGEST_S)} s: set input to 'sweep' if it is the recording of a sweep."
        )
    samples = read_samples(recording, channel)
    samples = samples - float(np.mean(samples))
    return Impulse(recording.name, samples, recording.rate, find_onset(samples), 1.0, 0.5 * recording.rate)


def impulse_from_sweep(recording: Recording, channel: int, sweep: Sweep) -> Impulse:
    """Take the impulse response out of the recording of a sweep; the sweep may start anywhere in it.

    Raises
    ------
    DataError
        If the sweep is not in the recording, or not all of it.
    """
    rate = float(recording.rate)
    start = find_sweep(read_blocks(recording, channel), recording.frames, sweep, rate, recording.name)
    played = len(sweep.samples(rate))
    first = max(0, start - round((_BEFORE_S + GATE_S) * rate))
    last = min(recording.frames, start + played + round(_TAIL_S * rate))
    samples, zero = deconvolve(read_samples(recording, channel, first, last), sweep, rate)
    near = zero + start - first
    margin = round(0.05 * rate)
    around = samples[max(0, near - margin) : near + round(GATE_S * rate)]
    onset = max(0, near - margin) + find_onset(around)
    tail = max(0.0, (last - (start + played)) / rate)
    kept = samples[: onset + max(round(tail * rate), round(0.05 * rate))]
    return Impulse(recording.name, kept, rate, onset, sweep.start_hz, sweep.top_hz(rate), sweep,
                   _sweep_warnings(recording, sweep, tail))  # fmt: skip


def _sweep_warnings(recording: Recording, sweep: Sweep, tail: float) -> tuple[str, ...]:
    warnings = []
    if tail < _SHORT_TAIL_S:
        warnings.append(
            f"{recording.name} runs on for only {wording.number(tail, 2)} s after the sweep; its decay is truncated at "
            "high frequencies. Let the recording run 2 s longer."
        )
    if sweep.top_hz(recording.rate) < sweep.stop_hz:
        warnings.append(
            f"{recording.name} was recorded at {recording.rate} Hz; the response ends at "
            f"{wording.number(sweep.top_hz(recording.rate), 4)} Hz, not at {wording.number(sweep.stop_hz)} Hz."
        )
    return tuple(warnings)


def frequency_response(impulse: Impulse, gate_s: float | None = None) -> Response:
    """Return the frequency response of a stretch of the impulse response.

    Parameters
    ----------
    impulse : Impulse
        What was measured.
    gate_s : float, optional
        Length of the stretch from the direct sound on; its last quarter fades out. A short gate cuts reflections off
        the room away, and with them all detail finer than one over its length. By default 0.5 s, or what there is.

    Returns
    -------
    Response
        Within the band of the impulse response; level in dB re 1.

    Raises
    ------
    DataError
        If nothing is left in the band.
    """
    before, after = _stretch(impulse, gate_s)
    piece = _gated(impulse.samples, impulse.onset, before, after)
    spectrum, frequency = _spectrum(piece, impulse.rate)
    keep = (frequency >= impulse.low_hz * 0.999) & (frequency <= impulse.high_hz) & (frequency > 0)
    if np.count_nonzero(keep) < 2:
        raise DataError(f"{impulse.name} is too short to take a frequency response from.")
    level = bands.to_level(np.abs(spectrum[keep]) ** 2)
    return Response(impulse.name, frequency[keep], level, resolution_hz=impulse.rate / after)


def _stretch(impulse: Impulse, gate_s: float | None) -> tuple[int, int]:
    """Return how many samples before and after the onset are analysed."""
    before_s = _BEFORE_S
    if impulse.sweep is not None:
        before_s = min(before_s, _ROOM_BEFORE_HARMONIC * impulse.sweep.advance(2))
    after = min(round((gate_s or GATE_S) * impulse.rate), len(impulse.samples) - impulse.onset)
    return min(round(before_s * impulse.rate), impulse.onset), max(2, after)


def _gated(samples: Array, onset: int, before: int, after: int) -> Array:
    """Cut a stretch around the onset; its first half before the onset and its last quarter after it are faded."""
    piece = np.array(samples[max(0, onset - before) : onset + after])
    rise, fall = before // 2, after // 4
    piece[:rise] *= np.sin(0.5 * np.pi * np.arange(rise) / max(rise, 1)) ** 2
    piece[len(piece) - fall :] *= np.cos(0.5 * np.pi * np.arange(1, fall + 1) / (fall + 1)) ** 2
    return piece


def _spectrum(piece: Array, rate: float) -> tuple[NDArray[np.complex128], Array]:
    size = fft.next_fast_len(max(2 * len(piece), math.ceil(rate / _FINEST_HZ)), real=True)
    return fft.rfft(piece, size), fft.rfftfreq(size, 1.0 / rate)


def signal_to_noise(impulse: Impulse, low_hz: float, high_hz: float, gate_s: float | None = None) -> float | None:
    """Return how far the response stands above noise within a band, in dB; None where no stretch of noise is at hand.

    Notes
    -----
    The noise is taken from a stretch of the same length: from a sweep, the one before the direct sound, which holds
    nothing but noise and the far tails of harmonics; from an impulse response, the last one, if the file is twice as
    long as the gate.
    """
    before, after = _stretch(impulse, gate_s)
    length = before + after
    if impulse.sweep is not None:
        length = min(length, round(0.5 * impulse.sweep.advance(2) * impulse.rate))
        end = impulse.onset - before
        noise = impulse.samples[max(0, end - length) : end]
    else:
        noise = impulse.samples[max(impulse.onset + after, len(impulse.samples) - length) :]
    if len(noise) < 0.5 * length or not np.any(noise):
        return None
    piece = _gated(impulse.samples, impulse.onset, before, after)
    found = _band_energy(piece, impulse.rate, low_hz, high_hz)
    floor = _band_energy(noise, impulse.rate, low_hz, high_hz) * (before + after) / len(noise)
    return 10.0 * math.log10(max(found, 1e-300) / max(floor, 1e-300))


def _band_energy(piece: Array, rate: float, low_hz: float, high_hz: float) -> float:
    spectrum, frequency = _spectrum(piece, rate)
    inside = (frequency >= low_hz) & (frequency <= high_hz) & (frequency > 0)
    return float(np.sum(np.abs(spectrum[inside]) ** 2 / frequency[inside]))
