"""The digital weighting filter at every usual sample rate; the standard's table is checked in `tests/published`."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from doe.signals.weighting import POLES_HZ, weighting_db, weighting_filter


@pytest.mark.parametrize("name", ["A", "C"])
@pytest.mark.parametrize(
    ("rate", "up_to", "within"),
    [(44_100, 20_000, 0.1), (48_000, 20_000, 0.1), (88_200, 20_000, 0.1), (96_000, 20_000, 0.1), (192_000, 20_000, 0.1),
     (768_000, 20_000, 0.1), (22_050, 10_000, 0.1), (8_000, 3_600, 0.1), (4_000, 1_800, 0.1)],
)  # fmt: skip
def test_the_filter_follows_the_formula(rate, up_to, within, name):
    """Compared at 300 frequencies from 10 Hz, by the filter's own transfer function."""
    frequency = np.geomspace(10, up_to, 300)
    _, response = signal.sosfreqz(weighting_filter(rate, name), worN=frequency, fs=rate)
    off = np.abs(20 * np.log10(np.abs(response)) - weighting_db(frequency, name))
    assert off.max() < within, f"{off.max():.3f} dB at {frequency[off.argmax()]:.0f} Hz"


@pytest.mark.parametrize("rate", [4_000, 8_000, 44_100, 768_000])
@pytest.mark.parametrize("name", ["A", "C"])
def test_the_filter_is_stable(rate, name):
    poles = np.concatenate([np.roots(section[3:]) for section in weighting_filter(rate, name)])
    assert np.abs(poles).max() < 1.0


def test_z_weights_nothing():
    assert signal.sosfilt(weighting_filter(48_000, "Z"), [1.0, 0.5, -0.2]).tolist() == [1.0, 0.5, -0.2]


def test_nothing_at_all_is_left_at_0_hz():
    assert weighting_db(np.array([0.0]), "A")[0] < -300


def test_the_poles_are_those_of_the_annex():
    """IEC 61672-1:2013, annex E: 20.60, 107.7, 737.9 and 12194 Hz as printed."""
    assert [float(f"{pole:.4g}") for pole in POLES_HZ] == [20.60, 107.7, 737.9, 12190.0]
