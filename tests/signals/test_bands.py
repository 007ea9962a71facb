"""Bands, smoothing and band averages; the standard's own figures are checked in `tests/published`."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from doe.model.errors import DataError, UsageError
from doe.signals import bands
from tests.refusing import refused

GRID = np.geomspace(20, 20_000, 2000)


def test_other_fractions_are_called_by_rounded_frequencies():
    """IEC 61260-1:2014, E.3 (*from memory*): three digits from 1 to 4, two from 5 to 9."""
    run = bands.bands_between(100, 1000, 24)
    assert run.nominal[:3] == (101.0, 104.0, 107.0)
    assert run.nominal[-1] == 990.0


def test_what_is_no_range_or_no_fraction_is_refused():
    with refused(UsageError, "band is 100 to 50 Hz; it must rise from above 0."):
        bands.bands_between(100, 50)
    with refused(UsageError, "fraction is '0'; it must be a whole number from 1 (octave) to 48."):
        bands.bands_between(50, 100, 0)


@pytest.mark.parametrize("rate", [8_000, 48_000, 192_000])
@pytest.mark.parametrize(("mid", "fraction"), [(63.0957, 1), (1000.0, 3), (25.1189, 3), (1000.0, 24)])
def test_a_band_filter_is_3_db_down_at_the_edges_and_passes_the_middle(rate, mid, fraction):
    """A Butterworth band-pass is at half power at its edges (general library as the yardstick: scipy)."""
    low, high = bands.edges(mid, fraction)
    _, response = signal.sosfreqz(bands.band_filter(low, high, rate), worN=[low, mid, high], fs=rate)
    level = 20 * np.log10(np.abs(response))
    assert level == pytest.approx([-3.0103, 0.0, -3.0103], abs=0.01)


def test_a_band_beyond_half_the_rate_is_refused():
    with refused(DataError, "the band up to 5623 Hz needs a sample rate above 11247 Hz; the recording has 8000 Hz."):
        bands.band_filter(*bands.edges(3981.07, 1), 8000)


@given(st.floats(-100, 100), st.integers(1, 48), st.sampled_from(["power", "dB"]))
def test_smoothing_leaves_a_flat_curve_alone(level, fraction, average):
    flat = np.full(300, level)
    assert bands.smooth(np.geomspace(20, 20_000, 300), flat, fraction, average) == pytest.approx(flat, abs=1e-9)


@given(st.integers(1, 48), st.floats(-6, 6))
def test_smoothing_in_db_gives_the_middle_of_what_is_there_of_a_straight_slope(fraction, slope):
    """The mean over a stretch of a straight line is its middle; at the ends of the curve only the inner part is there."""
    place = np.log2(GRID)
    half = np.log2(bands.OCTAVE_RATIO) / 2 / fraction
    middle = (np.maximum(place - half, place[0]) + np.minimum(place + half, place[-1])) / 2
    smooth = bands.smooth(GRID, slope * place, fraction, "dB")
    assert np.abs(smooth - slope * middle).max() < 1e-3 * max(1, abs(slope))


def test_a_curve_in_third_octaves_is_hardly_changed_by_smoothing_over_a_twelfth():
    """Straight between points at +3 and -3 dB: over an eighth of the way to either side the mean is 3 - 6 / 16 dB."""
    third, level = np.log(bands.OCTAVE_RATIO) / 3, 3.0 * (-1.0) ** np.arange(19)
    smooth = bands.smooth(100 * np.exp(third * np.arange(19)), level, 12, "dB")
    assert smooth[1:-1] == pytest.approx(level[1:-1] * (1 - 2 / 16))


def test_smoothing_keeps_the_energy_of_a_peak_in_power_and_not_in_db():
    """A narrow line of height h over a floor of 0: its power mean over the sliding band is share * h."""
    level = np.full(2001, -100.0)
    grid = np.geomspace(100, 10_000, 2001)
    level[1000] = 0.0
    step = np.log(grid[1] / grid[0])
    expected = 10 * np.log10(step / (np.log(bands.OCTAVE_RATIO) / 3))
    assert bands.smooth(grid, level, 3, "power")[1000] == pytest.approx(expected, abs=0.01)
    assert bands.smooth(grid, level, 3, "dB")[1000] < -90


def test_the_mean_over_a_band_is_the_integral_over_octaves():
    """Closed form: the power mean of ``-6 dB/octave`` over an octave from f: (1 - 1/4) / (2 ln 2) re the level at f."""
    level = -20 * np.log10(GRID / 100)
    expected = 10 * np.log10((1 - 0.25) / (2 * np.log(2)))
    assert bands.band_mean(GRID, level, 100, 200, "power") == pytest.approx(expected, abs=1e-3)
    assert bands.band_mean(GRID, level, 100, 200, "dB") == pytest.approx(-10 * np.log10(2), abs=1e-6)


def test_a_coarse_curve_is_drawn_straight_between_its_points():
    """Three points: the dB mean of a straight rise from 0 to 12 dB over two octaves is 6 dB."""
    frequency = np.array([100.0, 200.0, 400.0])
    assert bands.band_mean(frequency, np.array([0.0, 6.0, 12.0]), 100, 400, "dB") == pytest.approx(6.0)
    assert bands.band_mean(frequency, np.array([0.0, 6.0, 12.0]), 150, 160, "dB") == pytest.approx(3.79, abs=0.01)


def test_a_band_that_is_not_covered_is_refused():
    with refused(DataError, "band 10 to 100 Hz is not covered: the response runs from 20 to 20000 Hz."):
        bands.band_mean(GRID, 0 * GRID, 10, 100)
