"""Impulse responses and the frequency responses taken from them."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from scipy import signal

from doe.model.errors import DataError
from doe.signals.files import open_recording
from doe.signals.impulse import find_onset, frequency_response, impulse_from_sweep, read_impulse, signal_to_noise
from doe.signals.response import Response
from doe.signals.sweep import Sweep
from tests.refusing import refused
from tests.signals import sounds

RATE = sounds.RATE


def test_the_onset_is_where_the_response_first_comes_within_20_db_of_its_peak():
    """ISO 3382-1:2009, 5.3.3: background before the direct sound does not count."""
    x = np.zeros(1000)
    x[:300] = 0.05
    x[300], x[310] = 0.2, 1.0
    assert find_onset(x) == 300


@pytest.mark.slow
@pytest.mark.parametrize("rate", [8_000, 44_100, 96_000, 192_000])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_a_known_filter_comes_back_at_every_rate_and_depth(tmp_path, rate, subtype):
    """Noise 60 dB below the sweep, 1/24 octave: within 0.1 dB from 25 Hz to 18 kHz or the end of the band."""
    known = sounds.Filter(rate)
    path = sounds.write_recording(tmp_path / "take.wav", rate=rate, through=known.apply, subtype=subtype)
    found = frequency_response(impulse_from_sweep(open_recording(path), 1, Sweep())).within(25, 18_000)
    off = found.smoothed(24).level - 20 * np.log10(0.25) - known.level(found.frequency)
    inside = (found.frequency > 30) & (found.frequency < min(16_000, 0.45 * rate))
    assert np.abs(off[inside]).max() < 0.1, f"{np.abs(off[inside]).max():.3f} dB"


@pytest.mark.slow
def test_the_known_filter_comes_back_from_a_recording_with_hum_and_noise(tmp_path):
    """A tone of 50 Hz 40 dB below the sweep beside noise: the sweep passes it once, the rest is spread out."""
    known = sounds.Filter()

    def chain(x):
        return known.apply(x) + 0.0025 * np.sin(2 * np.pi * 50 * np.arange(len(x)) / RATE)

    path = sounds.write_recording(tmp_path / "take.wav", through=chain, noise_db=-50)
    found = frequency_response(impulse_from_sweep(open_recording(path), 1, Sweep())).within(80, 18_000)
    truth = Response("truth", found.frequency, 20 * np.log10(0.25) + known.level(found.frequency))
    off = np.abs(found.smoothed(12).level - truth.smoothed(12).level)
    assert off.max() < 0.1, f"{off.max():.3f} dB"


def test_an_impulse_file_gives_the_response_of_its_filter(tmp_path):
    """General library as the yardstick: the filter's own transfer function."""
    b, a = signal.butter(2, [200, 4000], "bandpass", fs=RATE)
    x = np.zeros(RATE)
    x[1000] = 0.5
    soundfile.write(tmp_path / "body.wav", signal.lfilter(b, a, x), RATE, subtype="FLOAT")
    found = frequency_response(read_impulse(open_recording(tmp_path / "body.wav"), 1)).within(100, 15_000)
    _, H = signal.freqz(b, a, worN=found.frequency, fs=RATE)
    assert np.abs(found.level - 20 * np.log10(np.abs(0.5 * H))).max() < 0.05


def test_a_gate_cuts_a_reflection_off(tmp_path):
    """A copy 10 ms later makes ripple of 9.5 dB; a gate of 8 ms leaves none."""
    x = np.zeros(RATE)
    x[1000], x[1480] = 0.5, 0.25
    soundfile.write(tmp_path / "body.wav", x, RATE, subtype="FLOAT")
    impulse = read_impulse(open_recording(tmp_path / "body.wav"), 1)
    whole, gated = (frequency_response(impulse, gate).within(500, 5000).level for gate in (None, 0.008))
    assert np.ptp(whole) == pytest.approx(20 * np.log10(1.5 / 0.5), abs=0.1)
    assert np.ptp(gated) < 0.01
    assert frequency_response(impulse, 0.008).resolution_hz == pytest.approx(125)


def test_a_long_file_is_no_impulse_response(tmp_path):
    path = sounds.write_noise(tmp_path / "take.wav", 61, 8_000)
    with refused(
        DataError,
        "take.wav lasts 61 s; an impulse response may last 60 s: set input to 'sweep' if it is the recording of a sweep.",
    ):
        read_impulse(open_recording(path), 1)


def test_harmonics_spoil_neither_the_response_nor_its_noise(tmp_path):
    """Squared, a sine of amplitude 0.5 holds its octave 12 dB below; after a short sweep that stands close before it."""
    short = Sweep(50, 1800, 1.0)
    path = sounds.write_recording(
        tmp_path / "take.wav", rate=8000, sweep=short, through=lambda x: x + x**2, noise_db=-120, amplitude=0.5
    )
    impulse = impulse_from_sweep(open_recording(path), 1, short)
    assert frequency_response(impulse).within(100, 1500).level == pytest.approx(20 * np.log10(0.5), abs=0.05)
    assert signal_to_noise(impulse, 500, 1500) > 60


def test_the_signal_to_noise_ratio_of_a_sweep_follows_its_noise(tmp_path):
    """20 dB more noise, 20 dB less ratio."""
    ratios = []
    for noise in (-40, -20):
        path = sounds.write_recording(tmp_path / "take.wav", noise_db=noise, seed=3)
        ratios.append(signal_to_noise(impulse_from_sweep(open_recording(path), 1, Sweep()), 500, 2000))
    assert ratios[0] - ratios[1] == pytest.approx(20.0, abs=0.5)


def test_the_signal_to_noise_ratio_of_an_impulse_needs_a_stretch_of_noise():
    """Energy ``rate / k`` of the decay over that of 0.5 s of noise at -40 dB."""
    noisy = sounds.impulse(sounds.decay(0.1, -40, length=3.0))
    expected = 10 * np.log10(RATE / sounds.decay_rate(0.1) / (0.5 * RATE * 1e-4))
    assert signal_to_noise(noisy, 100, 20_000) == pytest.approx(expected, abs=1.5)
    assert signal_to_noise(sounds.impulse(sounds.decay(0.1, -40, length=0.4)), 500, 2000) is None
