"""Sounds whose truth is written down: decays, sweeps through known filters, and files that are wrong on purpose."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import signal

from doe.signals.impulse import Impulse, find_onset
from doe.signals.sweep import Sweep

Array = NDArray[np.float64]

RATE = 48_000


def decay_rate(t60: float) -> float:
    """Return k of ``p^2 = exp(-k t)`` for a decay of 60 dB in `t60` seconds."""
    return 6.0 * np.log(10.0) / t60


def decay(
    t60: float,
    floor_db: float | None = None,
    *,
    seed: int = 0,
    carrier: str = "sign",
    second: tuple[float, float] | None = None,
    length: float | None = None,
    rate: int = RATE,
) -> Array:
    """An exponential decay after 20 ms of nothing.

    The carrier decides what the squared response is: ``"sign"`` (random signs) and ``"one"`` follow the exponential
    exactly, ``"noise"`` (Gaussian) on average, as a room does. `second` is (share, t60) of a slow part; `floor_db` the
    power of Gaussian noise re the squared response at its start.
    """
    rng = np.random.default_rng(seed)
    n = round((length or max(1.5 * t60, 0.3)) * rate)
    t = np.arange(n) / rate
    envelope = np.exp(-decay_rate(t60) * t)
    if second is not None:
        envelope = envelope + second[0] * np.exp(-decay_rate(second[1]) * t)
    carriers: dict[str, Callable[[], Array]] = {
        "sign": lambda: rng.choice([-1.0, 1.0], n),
        "noise": lambda: rng.standard_normal(n),
        "one": lambda: np.ones(n),
    }
    h = np.concatenate([np.zeros(round(0.02 * rate)), np.sqrt(envelope) * carriers[carrier]()])
    if floor_db is not None:
        h = h + 10.0 ** (floor_db / 20.0) * rng.standard_normal(len(h))
    return h


def impulse(samples: Array, rate: float = RATE) -> Impulse:
    """The samples as an impulse response."""
    return Impulse("body", samples, rate, find_onset(samples), 1.0, 0.5 * rate)


def closed_form(t60: float) -> dict[str, float]:
    """EDT, T20, T30, C50, C80, D50 and Ts of one exponential (ISO 3382-1:2009, annex A; integrals in closed form)."""
    k = decay_rate(t60)
    return {
        "EDT": t60,
        "T20": t60,
        "T30": t60,
        "C50": 10.0 * np.log10(np.expm1(0.05 * k)),
        "C80": 10.0 * np.log10(np.expm1(0.08 * k)),
        "D50": -np.expm1(-0.05 * k),
        "Ts": 1.0 / k,
    }


class Filter:
    """A loudspeaker-like chain: second-order high-pass at 70 Hz, first-order low-pass at 12 kHz, a peak at 900 Hz."""

    def __init__(self, rate: int = RATE) -> None:
        self.rate = rate
        parts = [signal.butter(2, 70, "high", fs=rate, output="sos")]
        if rate > 25_000:
            parts.append(signal.butter(1, 12_000, "low", fs=rate, output="sos"))
        self.sos = np.vstack(parts)
        self.b, self.a = signal.iirpeak(900, 5, fs=rate)

    def apply(self, x: Array) -> Array:
        y = signal.sosfilt(self.sos, x)
        return np.asarray(y + 0.8 * signal.lfilter(self.b, self.a, y))

    def level(self, frequency: Array) -> Array:
        """Level in dB by the filter's own transfer function."""
        _, H = signal.sosfreqz(self.sos, worN=frequency, fs=self.rate)
        _, P = signal.freqz(self.b, self.a, worN=frequency, fs=self.rate)
        return np.asarray(20.0 * np.log10(np.abs(H * (1.0 + 0.8 * P))))


def write_recording(
    path: Path,
    *,
    rate: int = RATE,
    sweep: Sweep | None = None,
    delay: int = 31_234,
    noise_db: float = -60.0,
    tail_s: float = 2.0,
    amplitude: float = 0.25,
    through: Callable[[Array], Array] | None = None,
    subtype: str = "PCM_24",
    seed: int = 0,
) -> Path:
    """A sweep played through a chain and recorded with an unknown delay; noise is relative to the sweep's amplitude."""
    x = amplitude * (sweep or Sweep()).samples(rate)
    x = np.concatenate([np.zeros(delay), x, np.zeros(round(tail_s * rate))])
    y = (through or (lambda samples: samples))(x)
    y = y + 10.0 ** (noise_db / 20.0) * amplitude * np.random.default_rng(seed).standard_normal(len(y))
    soundfile.write(path, y, rate, subtype=subtype)
    return path


def write_noise(path: Path, seconds: float = 1.0, rate: int = RATE, *, rms: float = 0.05, seed: int = 0,
                channels: int = 1, **how: Any) -> Path:  # fmt: skip
    """White noise."""
    shape = (round(seconds * rate), channels) if channels > 1 else round(seconds * rate)
    soundfile.write(path, rms * np.random.default_rng(seed).standard_normal(shape), rate, **how)
    return path


def write_tone(path: Path, hz: float, amplitude: float, seconds: float = 2.0, rate: int = RATE) -> Path:
    """A sine."""
    soundfile.write(path, amplitude * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate), rate,
                    subtype="FLOAT")  # fmt: skip
    return path


def wav_header(data_bytes: int, rate: int = RATE, channels: int = 1) -> bytes:
    """The first 44 bytes of a 16-bit WAV file that announces so much data."""
    fmt = struct.pack("<HHIIHH", 1, channels, rate, rate * channels * 2, channels * 2, 16)
    size = min(36 + data_bytes, 0xFFFFFFFF)
    data = min(data_bytes, 0xFFFFFFFF)
    return (
        b"RIFF"
        + struct.pack("<I", size)
        + b"WAVEfmt "
        + struct.pack("<I", 16)
        + fmt
        + b"data"
        + struct.pack("<I", data)
    )
