"""Harmonic distortion by order; the cubic yardstick is in `tests/published`."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from doe.model.errors import DataError, UsageError
from doe.signals.distortion import measure_distortion
from doe.signals.files import open_recording
from doe.signals.impulse import impulse_from_sweep
from doe.signals.sweep import Sweep
from tests.refusing import refused
from tests.signals import sounds

SWEEP = Sweep(50, 20_000, 5)


def distorted(tmp_path, shape, noise_db=-80.0, sweep=SWEEP):
    def chain(x):
        return signal.resample_poly(shape(signal.resample_poly(x, 4, 1)), 1, 4)

    path = sounds.write_recording(tmp_path / "take.wav", sweep=sweep, amplitude=0.5, through=chain, noise_db=noise_db,
                                  subtype="FLOAT")  # fmt: skip
    return measure_distortion(impulse_from_sweep(open_recording(path), 1, sweep))


def test_each_order_is_set_apart(tmp_path):
    """``x + a x^2 + b x^3`` at amplitude A: second a A / 2, third b A^2 / 4, over 1 + 3 b A^2 / 4; no fourth."""
    found = distorted(tmp_path, lambda x: x + 0.04 * x**2 + 0.1 * x**3)
    first = 1 + 0.75 * 0.1 * 0.25
    inside = (found.frequency > 100) & (found.frequency < 5000)
    second, third = (20 * np.log10(value / first) for value in (0.04 * 0.5 / 2, 0.1 * 0.25 / 4))
    off = [float(np.abs(found.of_order(order)[inside] - level).max()) for order, level in ((2, second), (3, third))]
    assert max(off) < 0.5, off
    assert found.of_order(4)[inside & (found.frequency < 4000)].max() < -70
    total = 100 * np.hypot(10 ** (second / 20), 10 ** (third / 20))
    assert found.total_percent[inside] == pytest.approx(np.full(inside.sum(), total), rel=0.05)


def test_a_straight_chain_has_only_its_floor(tmp_path):
    found = distorted(tmp_path, lambda x: x, noise_db=-60)
    inside = (found.frequency > 100) & (found.frequency < 5000)
    assert found.of_order(3)[inside].max() < -40
    assert np.median(found.of_order(2)[inside] - found.floor[inside]) == pytest.approx(0.0, abs=3)


def test_harmonics_above_the_band_are_left_open(tmp_path):
    found = distorted(tmp_path, lambda x: x + 0.1 * x**3)
    assert np.isnan(found.of_order(3)[found.frequency > 20_000 / 3 * 1.01]).all()
    assert np.isfinite(found.of_order(3)[found.frequency < 20_000 / 3 * 0.99]).all()


def test_what_cannot_be_set_apart_is_refused(tmp_path):
    with refused(DataError, "body is no sweep recording; distortion by order needs one."):
        measure_distortion(sounds.impulse(sounds.decay(0.2)))
    short = Sweep(20, 20_000, 1)
    path = sounds.write_recording(tmp_path / "take.wav", sweep=short)
    taken = impulse_from_sweep(open_recording(path), 1, short)
    with refused(DataError, "take.wav: the sweep is too short to set 5 harmonics apart; it must last 2.4 s or more."):
        measure_distortion(taken)
    for order in (1, 11):
        with refused(UsageError, f"highest order is {order}; it must be from 2 to 10."):
            measure_distortion(taken, order)


def test_an_order_that_was_not_measured_is_refused(tmp_path):
    with refused(UsageError, "order is 7; it must be from 2 to 5."):
        distorted(tmp_path, lambda x: x).of_order(7)
