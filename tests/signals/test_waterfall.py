"""Waterfall data of a resonance whose decay is known."""

from __future__ import annotations

import numpy as np
import pytest

from doe.model.errors import DataError, UsageError
from doe.signals.waterfall import measure_waterfall
from tests.refusing import refused
from tests.signals import sounds

RATE = sounds.RATE


def ringing(f0, q):
    t = np.arange(RATE) / RATE
    h = np.zeros(RATE + 500)
    h[500:] = np.exp(-np.pi * f0 / q * t) * np.cos(2 * np.pi * f0 * t)
    return sounds.impulse(h)


@pytest.mark.parametrize(("f0", "q"), [(400, 30), (1000, 40), (3000, 60)])
def test_a_resonance_falls_as_fast_as_it_rings(f0, q):
    """``exp(-pi f0 t / Q)``: 27.3 f0 / Q dB a second at its frequency."""
    found = measure_waterfall(ringing(f0, q), 100, 10_000, slices=30, span_s=0.05)
    there = int(np.argmin(np.abs(found.frequency - f0)))
    slope = -np.polyfit(found.time_s, found.level[:, there], 1)[0]
    assert slope == pytest.approx(20 * np.log10(np.e) * np.pi * f0 / q, rel=0.05)


def test_a_click_stands_in_each_slice_as_the_window_lets_it_through():
    """Closed form: its level over the slices is the window itself, a rise of 0.5 ms and a fall from the middle on."""
    click = np.zeros(RATE)
    click[0], click[960] = 0.1, 1.0  # 20 ms after the onset
    found = measure_waterfall(sounds.impulse(click), 100, 10_000, slices=82, span_s=0.02025)
    level = found.level - found.level[80]  # which starts with the click; a sample stands for its middle
    fallen = (np.array([0.0175, 0.015, 0.0125]) + 0.5 / RATE) / (0.5 * 0.02025) - 1
    assert np.ptp(level[[10, 20, 30]], axis=1).max() < 1e-6
    assert level[[10, 20, 30], 0] == pytest.approx(20 * np.log10(np.cos(0.5 * np.pi * fallen) ** 2), abs=1e-6)
    assert level[81] == pytest.approx(20 * np.log10(np.sin(0.5 * np.pi * 12.5 / 24) ** 2), abs=1e-6)
    assert level[41:80] == pytest.approx(0, abs=1e-6)


def test_the_first_slice_reaches_0_db_and_the_shape_is_told():
    found = measure_waterfall(ringing(400, 30), 100, 10_000, slices=12, span_s=0.04)
    assert found.level.shape == (12, len(found.frequency))
    assert found.level[0].max() == 0.0
    assert found.time_s[[0, -1]].tolist() == [0.0, 0.04]
    assert found.window_s == 0.04


def test_what_has_no_waterfall_is_refused():
    impulse = ringing(400, 30)
    with refused(UsageError, "slices is 1; it must be a whole number from 2 to 400."):
        measure_waterfall(impulse, 100, 1000, slices=1)
    with refused(UsageError, "span is 0 s; it must be from 0.0005 to 10 s."):
        measure_waterfall(impulse, 100, 1000, span_s=0)
    with refused(DataError, "band 100 to 30000 Hz is not covered: body runs from 1 to 24000 Hz."):
        measure_waterfall(impulse, 100, 30_000)
    with refused(DataError, "body lasts 1 s after the direct sound; a waterfall over 5 s needs at least half of that."):
        measure_waterfall(impulse, 100, 1000, span_s=5)
