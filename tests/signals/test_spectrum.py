"""Levels of recordings of any length."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from doe.model.errors import DataError
from doe.signals import spectrum
from doe.signals.weighting import weighting_db, weighting_filter
from tests.refusing import refused
from tests.strategies import examples

RATE = 48_000


def analysed(x, pieces=None):
    return spectrum.power_spectrum(pieces or [x], RATE, len(x))


def tone(hz, amplitude=0.5, seconds=2.0):
    return (amplitude * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE)).astype(np.float32)


@given(st.integers(16, 120_000), st.integers(100, 60_000), st.integers(0, 10))
@examples(20)
def test_the_lines_add_up_to_the_mean_square_whatever_the_pieces(count, piece, seed):
    """Parseval, for any length and any way of cutting the stream."""
    x = np.random.default_rng(seed).standard_normal(count).astype(np.float32)
    found = analysed(x, [x[place : place + piece] for place in range(0, count, piece)])
    assert found.power.sum() == pytest.approx(np.mean(x.astype(float) ** 2), rel=1e-5)
    assert found.seconds == pytest.approx(count / RATE)


def test_a_full_scale_sine_has_0_dbfs():
    """AES17: the level of a full-scale sine is 0 dBFS."""
    assert spectrum.level(analysed(tone(997, 1.0))) == pytest.approx(0.0, abs=0.001)


@pytest.mark.parametrize("name", ["A", "C", "Z"])
@pytest.mark.parametrize("hz", [31.62, 1000.0, 7943.0])
def test_a_weighted_tone_has_the_weighting_of_its_frequency(name, hz):
    found = spectrum.level(analysed(tone(hz)), name)
    expected = -6.0206 + weighting_db(np.array([hz]), name)[0]
    assert found == pytest.approx(expected, abs=0.05), f"off by {found - expected:.3f} dB"


def test_the_formula_and_the_digital_filter_give_the_same_level():
    """White noise: the sum over weighted lines against the mean square behind the filter."""
    x = np.random.default_rng(0).standard_normal(10 * RATE).astype(np.float32)
    by_lines = spectrum.level(analysed(x), "A", (10, 0.5 * RATE))
    filtered = signal.sosfilt(weighting_filter(RATE, "A"), x)
    assert by_lines == pytest.approx(spectrum.to_db(float(np.mean(filtered**2))), abs=0.05)


def test_a_constant_offset_is_not_heard():
    """Z weighting begins at 10 Hz."""
    x = tone(100)
    plain, shifted = (spectrum.level(analysed(part)) for part in (x, x + np.float32(0.3)))
    assert shifted == pytest.approx(plain, abs=0.05)


def test_white_noise_has_3_db_more_in_an_octave_above():
    """Equal power per hertz: the octave above is twice as wide. A line counts by as much of it as lies in the band."""
    x = np.random.default_rng(0).standard_normal(20 * RATE).astype(np.float32)
    found = analysed(x)
    low, high = (10 * math.log10(spectrum.band_power(found, f, 2 * f)) for f in (1000, 2000))
    assert high - low == pytest.approx(3.01, abs=0.1)
    width, hz = found.frequency[1], found.frequency[700]
    within, across = [spectrum.band_power(found, hz - part * width, hz + 0.25 * width) for part in (0.25, 0.75)]
    assert within == pytest.approx(0.5 * found.power[700])
    assert across == pytest.approx(0.75 * found.power[700] + 0.25 * found.power[699])


def test_the_loudest_level_of_a_steady_tone_is_its_level_and_of_a_burst_follows_fast():
    """IEC 61672-1:2013, table 4: a burst of 200 ms reads -1.0 dB, one of 50 ms -4.8 dB on F."""
    steady = spectrum.loudest_level([tone(1000)], RATE, "A")
    assert steady == pytest.approx(-6.0206, abs=0.05)
    for seconds, expected in ((0.2, -1.0), (0.05, -4.8)):
        burst = np.concatenate([np.zeros(RATE), tone(4000, seconds=seconds), np.zeros(RATE)]).astype(np.float32)
        long = spectrum.loudest_level([tone(4000)], RATE, "A")
        assert spectrum.loudest_level([burst], RATE, "A") - long == pytest.approx(expected, abs=0.1)


def test_the_loudest_level_of_an_offset_tone_is_that_of_the_tone():
    """A constant offset must not click at the start."""
    assert spectrum.loudest_level([tone(1000) + np.float32(0.3)], RATE) == pytest.approx(-6.0206, abs=0.05)


def test_the_loudest_level_does_not_depend_on_the_pieces():
    x = np.random.default_rng(0).standard_normal(RATE).astype(np.float32)
    pieces = [x[place : place + 777] for place in range(0, RATE, 777)]
    assert spectrum.loudest_level(pieces, RATE) == pytest.approx(spectrum.loudest_level([x], RATE), abs=1e-9)


def test_a_calibrator_sets_the_scale():
    """94 dB recorded at an amplitude of 0.5: a full-scale sine is 6 dB more."""
    scale = spectrum.full_scale_from(analysed(tone(1000)), 94.0)
    assert scale == pytest.approx(100.02, abs=0.01)
    quieter = analysed(tone(1000, 0.05))
    assert spectrum.level(quieter, full_scale_db=scale) == pytest.approx(74.0, abs=0.01)


@pytest.mark.parametrize(
    "x", [np.random.default_rng(0).standard_normal(RATE).astype(np.float32), tone(500) + tone(2000, 0.3)]
)
def test_noise_and_two_tones_are_no_calibrator(x):
    with refused(
        DataError, "The calibrator recording holds no steady tone; record the calibrator alone, without handling it."
    ):
        spectrum.full_scale_from(analysed(x), 94.0)


def test_what_cannot_be_levelled_is_refused():
    with refused(DataError, "There are 3 samples to analyse; 16 are needed."):
        analysed(np.zeros(3, np.float32))
    found = analysed(tone(1000))
    with refused(
        DataError,
        "band 1000 to 30000 Hz is not covered: at a sample rate of 48000 Hz the recording ends at 24000 Hz.",
    ):
        spectrum.level(found, "Z", (1000, 30_000))
    with refused(DataError, "Nothing was recorded from 10 to 24000 Hz."):
        spectrum.level(analysed(np.zeros(4800, np.float32)))
    with refused(DataError, "There is no sound to take the loudest level of."):
        spectrum.loudest_level([np.zeros(4800, np.float32)], RATE)
