"""The exponential sweep (Farina 2000): written to a file, found in a recording, and taken out of it again."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import fft

from doe.model import wording
from doe.model.errors import DataError, StoreError, UsageError
from doe.signals import safety

Array = NDArray[np.float64]
Block = NDArray[np.float32]

LEVEL_DBFS = -12.0
SILENCE_BEFORE_S, SILENCE_AFTER_S = 1.0, 3.0
_TOP_OF_RATE = 0.49
_FADE_OUT_S = 0.005
_COARSE_RATE = 12_000.0
_COARSE_BLOCK = 1 << 18
_LEAST_CREST_DB = 20.0
_BELOW = 0.01
"""Weight of the added term below the sweep: small, so that the response ends gently there and rings little in time."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """An exponential sine sweep: each octave takes the same time.

    Attributes
    ----------
    start_hz, stop_hz : float
        First and last frequency.
    seconds : float
        Length.

    Raises
    ------
    UsageError
        If it does not rise, or is shorter than 0.5 s or longer than 30 s.

    References
    ----------
    A. Farina (2000), Simultaneous measurement of impulse response and distortion with a swept-sine technique, 108th AES
    Convention, Paris, preprint 5093; notation `L` of A. Novak, P. Lotton, L. Simon (2015), J. Audio Eng. Soc. 63,
    786-798.
    """

    start_hz: float = 20.0
    stop_hz: float = 20_000.0
    seconds: float = 10.0

    def __post_init__(self) -> None:
        if not 1.0 <= self.start_hz < self.stop_hz / 1.5 or self.stop_hz > 300_000:
            raise UsageError(
                f"sweep runs from {wording.number(self.start_hz)} to {wording.number(self.stop_hz)} Hz; it must rise by "
                "half an octave at least, between 1 and 300000 Hz."
            )
        if not 0.5 <= self.seconds <= 30.0:
            raise UsageError(f"sweep lasts {wording.number(self.seconds)} s; it must last 0.5 to 30 s.")

    @property
    def L(self) -> float:  # noqa: N802 - the source's own letter
        """Seconds in which the frequency rises by the factor e."""
        return self.seconds / math.log(self.stop_hz / self.start_hz)

    def top_hz(self, rate: float) -> float:
        """Return the highest frequency of the sweep that a sample rate can hold."""
        return min(self.stop_hz, _TOP_OF_RATE * rate)

    def advance(self, order: int) -> float:
        """Return how many seconds the impulse response of a harmonic comes before that of the fundamental."""
        return self.L * math.log(order)

    def samples(self, rate: float) -> Array:
        """Return the sweep with magnitude 1, faded at both ends, and cut where the sample rate cannot hold it.

        Raises
        ------
        UsageError
            If the sample rate is too low for any useful part of it.
        """
        top = self.top_hz(rate)
        if top < 1.5 * self.start_hz:
            raise UsageError(
                f"a sweep from {wording.number(self.start_hz)} Hz does not fit a sample rate of {rate:g} Hz."
            )
        t = np.arange(round(self.L * math.log(top / self.start_hz) * rate)) / rate
        x = np.sin(2.0 * np.pi * self.start_hz * self.L * np.expm1(t / self.L))
        rise = min(round(rate / self.start_hz), len(x) // 4)
        fall = min(round(_FADE_OUT_S * rate), len(x) // 4)
        x[:rise] *= np.sin(0.5 * np.pi * np.arange(rise) / rise) ** 2
        x[len(x) - fall :] *= np.cos(0.5 * np.pi * np.arange(1, fall + 1) / fall) ** 2
        return np.asarray(x, dtype=np.float64)


def write_sweep(path: Path | str, sweep: Sweep | None = None, *, rate: int = 48_000, replace: bool = False) -> str:
    """Write a sweep as a 24-bit WAV file, with silence around it, and return the caution to be shown.

    Parameters
    ----------
    path : path
        Must end in ``.wav``.
    sweep : Sweep, optional
        20 Hz to 20 kHz in 10 s by default, 12 dB below full scale.
    rate : int
        Sample rate in Hz.
    replace : bool
        Whether a file that exists may be replaced.

    Returns
    -------
    str
        What must be said wherever a sweep is handed out (`doe.signals.safety`).

    Raises
    ------
    UsageError
        If the path does not end in ``.wav``, the file exists, or the rate cannot hold the sweep.
    StoreError
        If the file cannot be written.
    """
    path, sweep = Path(path), sweep or Sweep()
    if path.suffix.lower() != ".wav":
        raise UsageError(f"sweep file is '{path.name}'; its name must end in .wav.")
    if path.exists() and not replace:
        raise UsageError(f"{path.name} exists; choose another name, or allow it to be replaced.")
    if sweep.top_hz(rate) < sweep.stop_hz:
        raise UsageError(
            f"rate is {rate} Hz; a sweep up to {wording.number(sweep.stop_hz)} Hz needs at least "
            f"{math.ceil(sweep.stop_hz / _TOP_OF_RATE)} Hz."
        )
    before, after = (np.zeros(round(seconds * rate)) for seconds in (SILENCE_BEFORE_S, SILENCE_AFTER_S))
    sound = np.concatenate([before, 10.0 ** (LEVEL_DBFS / 20.0) * sweep.samples(rate), after])
    part = path.with_name(f".{path.name}.part")
    try:
        soundfile.write(part, sound, rate, format="WAV", subtype="PCM_24")
        os.replace(part, path)  # noqa: PTH105 - Path.replace would read like str.replace beside `replace`
    except (OSError, RuntimeError) as err:
        part.unlink(missing_ok=True)
        raise StoreError(
            f"{path.name} cannot be written there; choose a folder that exists and may be written."
        ) from err
    return safety.SWEEP_CAUTION


def inverse_filter(sweep: Sweep, rate: float, size: int) -> NDArray[np.complex128]:
    """Return the spectrum that turns the sweep into an impulse at time 0.

    Parameters
    ----------
    sweep : Sweep
        What was played.
    rate : float
        Sample rate in Hz.
    size : int
        Length of the transform, at least that of the sweep and the recording together.

    Returns
    -------
    ndarray of shape (size // 2 + 1,)

    Notes
    -----
    Farina's time-reversed sweep with its level falling by 3 dB an octave is, in the frequency domain, the conjugate of
    the sweep's spectrum over its power - approximately. Here that quotient is formed as it stands, so that the fades and
    the ripple of a sweep of finite length drop out; harmonics are set apart just the same. Outside the swept band,
    where there is nothing to divide by, a term is added that grows over an octave (O. Kirkeby, P. A. Nelson,
    H. Hamada, F. Orduna-Bustamante 1998, IEEE Trans. Speech Audio Process. 6, 189-194).
    """
    X = fft.rfft(sweep.samples(rate), size)
    divisor = X.real**2 + X.imag**2
    first, last = (min(len(X) - 1, round(hz * size / rate)) for hz in (sweep.start_hz, sweep.top_hz(rate)))
    inside = divisor[first : last + 1]
    low, high = float(inside[: max(1, len(inside) // 100)].max()), float(inside[-max(1, len(inside) // 10) :].max())
    divisor += 1e-12 * float(inside.max())
    divisor[:first] += _BELOW * low * _ramp(np.log2(first / np.maximum(np.arange(first), 1e-3)))
    divisor[last:] += high * _ramp(np.arange(len(X) - last) / (0.1 * last))
    np.conjugate(X, out=X)
    X /= divisor
    return np.asarray(X, dtype=np.complex128)


def _ramp(x: Array) -> Array:
    """Return 0 below 0, 1 above 1, and a smooth rise between."""
    inner = np.clip(x, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * inner) ** 2, dtype=np.float64)


def deconvolve(recorded: Array, sweep: Sweep, rate: float) -> tuple[Array, int]:
    """Take the sweep out of a recording.

    Parameters
    ----------
    recorded : ndarray of shape (n_samples,)
        The recording, full scale being 1.0.
    sweep : Sweep
        What was played, at magnitude 1.
    rate : float
        Sample rate in Hz.

    Returns
    -------
    samples : ndarray
        Impulse response of the chain; harmonics of order n stand `Sweep.advance` (n) seconds before the fundamental.
    zero : int
        Index in `samples` that belongs to a sweep which starts with the first sample of the recording.
    """
    before = len(sweep.samples(rate))
    size = fft.next_fast_len(len(recorded) + before, real=True)
    spectrum = inverse_filter(sweep, rate, size)
    spectrum *= fft.rfft(recorded, size)
    around = fft.irfft(spectrum, size, overwrite_x=True)
    return np.concatenate([around[size - before :], around[: len(recorded)]]), before


def find_sweep(blocks: Iterable[Block], frames: int, sweep: Sweep, rate: float, name: str) -> int:
    """Return the sample at which the sweep starts in a recording, to about a millisecond.

    Parameters
    ----------
    blocks : iterable of ndarray
        The recording, piece by piece.
    frames : int
        Its number of samples.
    sweep : Sweep
        What was played.
    rate : float
        Sample rate in Hz.
    name : str
        Name of the file, for messages.

    Raises
    ------
    DataError
        If the sweep is not in the recording, or not all of it.
    """
    step = max(1, int(rate // max(_COARSE_RATE, 4.0 * sweep.start_hz)))
    lag, crest = _best_lag(_decimated(blocks, step), sweep, rate / step)
    if crest < _LEAST_CREST_DB:
        raise DataError(
            f"{name} does not hold the sweep from {wording.number(sweep.start_hz)} Hz to {wording.number(sweep.stop_hz)} "
            f"Hz in {wording.number(sweep.seconds)} s; set sweep to what was played, or input to 'impulse' or "
            "'recording' if no sweep was."
        )
    start, grace = lag * step, round(0.01 * rate)
    if start < -grace:
        raise DataError(f"{name} begins after the sweep has started; start the recording first, then the sweep.")
    played = len(sweep.samples(rate))
    if start + played > frames + grace:
        short = (start + played - frames) / rate
        raise DataError(f"{name} ends {wording.number(short)} s before the sweep does; let the recording run longer.")
    return max(0, start)


def _best_lag(blocks: Iterable[Array], sweep: Sweep, rate: float) -> tuple[int, float]:
    """Return where the sweep starts in a stream, and how far that stands above the rest, in dB.

    The stream is searched in pieces that overlap by the length of the sweep, so that one piece at least holds it whole.
    """
    played = len(sweep.samples(rate))
    length = max(2 * played, _COARSE_BLOCK)
    best, lag, total, count = 0.0, 0, 0.0, 0
    for first, piece in _overlapping(blocks, length, played):
        response, zero = deconvolve(piece, sweep, rate)
        power = response**2
        top = int(np.argmax(power))
        total, count = total + float(np.sum(power)), count + len(power)
        if power[top] > best:
            best, lag = float(power[top]), first + top - zero
    return lag, 10.0 * math.log10(max(best, 1e-300) / max(total / max(count, 1), 1e-300))


def _overlapping(blocks: Iterable[Array], length: int, overlap: int) -> Iterator[tuple[int, Array]]:
    held, first, is_fresh = np.zeros(0), 0, False
    for block in blocks:
        held, is_fresh = np.concatenate([held, block]), True
        while len(held) >= length:
            yield first, held[:length]
            held, first, is_fresh = held[length - overlap :], first + length - overlap, False
    if is_fresh or first == 0:
        yield first, held


def _decimated(blocks: Iterable[Block], step: int) -> Iterator[Array]:
    """Keep every `step`-th sample below the lower band edge; blocks are cut sharply, which is enough to find a sweep."""
    held = np.zeros(0, dtype=np.float32)
    length = _COARSE_BLOCK - _COARSE_BLOCK % step
    for block in blocks:
        held = np.concatenate([held, block])
        while len(held) >= length:
            yield _low_part(held[:length], step)
            held = held[length:]
    if len(held) >= 2 * step:
        yield _low_part(held[: len(held) - len(held) % step], step)


def _low_part(samples: Block, step: int) -> Array:
    if step == 1:
        return samples.astype(np.float64)
    size = len(samples) // step
    spectrum = fft.rfft(samples)[: size // 2 + 1]
    return np.asarray(fft.irfft(spectrum, size) / step, dtype=np.float64)
