"""Power spectrum of a recording of any length, its levels, and what they mean with a calibration."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from doe.model import wording
from doe.model.errors import DataError
from doe.signals import bands
from doe.signals.weighting import Weighting, weighting_db, weighting_filter

Array = NDArray[np.float64]
Block = NDArray[np.float32]

LOWEST_HZ = 10.0
"""Where Z weighting begins (IEC 61672-1:2013 specifies it from 10 Hz); what lies below is offset and rumble."""

FAST_S = 0.125
"""Time constant F of IEC 61672-1:2013."""

_RESOLUTION_HZ = 1.5
_SHIFTS, _FEWEST = 4, 16
_WINDOWS_AT_ONCE = 16
_SINE_DB = 20.0 * math.log10(math.sqrt(2.0))


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Mean square of a recording, parted by frequency.

    Attributes
    ----------
    frequency : ndarray of shape (n_lines,), in Hz
        Evenly spaced from 0 to half the sample rate.
    power : ndarray of shape (n_lines,)
        Mean square in each line, full scale being 1.0; they add up to the mean square of all samples.
    rate : float
        Sample rate in Hz.
    seconds : float
        Length of what was analysed.
    """

    frequency: Array
    power: Array
    rate: float
    seconds: float


def power_spectrum(blocks: Iterable[Block], rate: float, count: int) -> Spectrum:
    """Analyse a stream of samples; memory does not grow with its length.

    Parameters
    ----------
    blocks : iterable of ndarray
        Consecutive samples of one channel.
    rate : float
        Sample rate in Hz.
    count : int
        How many samples there are in all.

    Raises
    ------
    DataError
        If there are too few samples.

    Notes
    -----
    The method of P. D. Welch (1967, IEEE Trans. Audio Electroacoust. 15, 70-73): overlapping segments under a Hann window,
    each shifted by a quarter so that no sample within counts more than another. Segments lie inside the recording; a
    sound cut off at its ends would else click into the midrange, where A weighting is 40 dB more sensitive than in the
    bass. The lines are scaled to add up to the mean square of all samples.
    """
    if count < _FEWEST:
        raise DataError(f"There are {count} samples to analyse; {_FEWEST} are needed.")
    size = 1 << min(math.ceil(math.log2(rate / _RESOLUTION_HZ)), int(math.log2(count / 2)))
    window = signal.windows.hann(size, sym=False).astype(np.float32)
    lines, squares, held = np.zeros(size // 2 + 1), 0.0, np.zeros(0, dtype=np.float32)
    for block in blocks:
        squares += float(np.einsum("i,i", block, block, dtype=np.float64))
        power, held = _whole_segments(np.concatenate([held, block]), window)
        lines += power
    scale = squares / count / max(float(lines.sum()), 1e-300)
    return Spectrum(fft.rfftfreq(size, 1.0 / rate), lines * scale, rate, count / rate)


def _whole_segments(samples: Block, window: Block) -> tuple[Array, Block]:
    """Return the summed squared lines of all whole segments, and the samples that the next segment starts with."""
    size, hop = len(window), len(window) // _SHIFTS
    count = max(0, (len(samples) - size) // hop + 1)
    total = np.zeros(size // 2 + 1)
    if not count:
        return total, samples
    segments = np.lib.stride_tricks.sliding_window_view(samples, size)[::hop][:count]
    for first in range(0, count, _WINDOWS_AT_ONCE):
        lines = fft.rfft(segments[first : first + _WINDOWS_AT_ONCE] * window, axis=1)
        total += np.sum(lines.real.astype(np.float64) ** 2 + lines.imag.astype(np.float64) ** 2, axis=0)
    total[[0, -1]] *= 0.5
    return total, samples[count * hop :].copy()


def band_power(spectrum: Spectrum, low_hz: float, high_hz: float) -> float:
    """Return the mean square within a band; lines on its edges count in part.

    Raises
    ------
    DataError
        If the band reaches beyond half the sample rate.
    """
    return float(np.sum(spectrum.power * _shares(spectrum, low_hz, high_hz)))


def _shares(spectrum: Spectrum, low_hz: float, high_hz: float) -> Array:
    if high_hz > 0.5 * spectrum.rate:
        raise DataError(
            f"band {wording.number(low_hz)} to {wording.number(high_hz)} Hz is not covered: at a sample rate of "
            f"{wording.number(spectrum.rate, 6)} Hz the recording ends at {wording.number(0.5 * spectrum.rate)} Hz."
        )
    width = spectrum.frequency[1]
    low, high = spectrum.frequency - 0.5 * width, spectrum.frequency + 0.5 * width
    inside = np.minimum(high, high_hz) - np.maximum(low, low_hz)
    return np.asarray(np.clip(inside / width, 0.0, 1.0), dtype=np.float64)


def level(
    spectrum: Spectrum,
    weighting: Weighting = "Z",
    band: tuple[float, float] | None = None,
    *,
    full_scale_db: float | None = None,
) -> float:
    """Return the level of a whole recording: the equivalent continuous level Leq (IEC 61672-1:2013, 3.9).

    Parameters
    ----------
    spectrum : Spectrum
        Of the recording.
    weighting : {"A", "C", "Z"}
        Applied by the analogue formula.
    band : pair of float, optional
        In Hz; without it all from 10 Hz up.
    full_scale_db : float, optional
        Sound level of a sine at full scale, from a calibration. Without it the level is relative to that sine, in dBFS.

    Raises
    ------
    DataError
        If the band is not covered, or nothing is left in it.
    """
    low, high = band or (LOWEST_HZ, 0.5 * spectrum.rate)
    gain = bands.to_power(weighting_db(spectrum.frequency, weighting))
    power = float(np.sum(spectrum.power * gain * _shares(spectrum, low, high)))
    if power <= 0:
        raise DataError(f"Nothing was recorded from {wording.number(low)} to {wording.number(high)} Hz.")
    return to_db(power, full_scale_db)


def to_db(mean_square: float, full_scale_db: float | None = None) -> float:
    """Return a level from a mean square; a sine at full scale has 0 dBFS (AES17), or `full_scale_db` if calibrated."""
    return 10.0 * math.log10(mean_square) + _SINE_DB + (full_scale_db or 0.0)


def loudest_level(
    blocks: Iterable[Block], rate: float, weighting: Weighting = "A", *, full_scale_db: float | None = None
) -> float:
    """Return the highest time-weighted level, F, of a stream (LAFmax; IEC 61672-1:2013, 3.8).

    Raises
    ------
    DataError
        If there are no samples, or nothing but silence.
    """
    sos = weighting_filter(rate, weighting)
    slow = np.array([[1.0 - math.exp(-1.0 / (FAST_S * rate)), 0.0, 0.0, 1.0, -math.exp(-1.0 / (FAST_S * rate)), 0.0]])
    state: Array | None = None
    average, top = np.zeros((1, 2)), 0.0
    for block in blocks:
        if state is None:
            # As if the first sample had stood there before, so that an offset does not click.
            state = signal.sosfilt_zi(sos) * float(block[0])
        weighted, state = signal.sosfilt(sos, block.astype(np.float64), zi=state)
        smoothed, average = signal.sosfilt(slow, weighted**2, zi=average)
        top = max(top, float(smoothed.max(initial=0.0)))
    if top <= 0:
        raise DataError("There is no sound to take the loudest level of.")
    return to_db(top, full_scale_db)


def full_scale_from(spectrum: Spectrum, level_db: float) -> float:
    """Return the sound level of a full-scale sine from the recording of a calibrator.

    Parameters
    ----------
    spectrum : Spectrum
        Of the calibrator's tone, recorded at the same gain as the measurement.
    level_db : float
        Level that is printed on the calibrator, such as 94 dB.

    Raises
    ------
    DataError
        If the recording is no single tone: less than 90 % of its power lies within 5 % of one frequency.
    """
    audible = spectrum.frequency >= LOWEST_HZ
    peak = float(spectrum.frequency[np.argmax(np.where(audible, spectrum.power, 0.0))])
    tone = band_power(spectrum, 0.95 * peak, min(1.05 * peak, 0.5 * spectrum.rate))
    everything = float(np.sum(spectrum.power[audible]))
    if tone < 0.9 * everything:
        raise DataError(
            "The calibrator recording holds no steady tone; record the calibrator alone, without handling it."
        )
    return level_db - to_db(tone)
