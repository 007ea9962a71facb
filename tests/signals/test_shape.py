"""Deviation, tilt and resonances of response curves whose truth is a formula."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError
from doe.signals.bands import smooth
from doe.signals.response import Response
from doe.signals.shape import deviation, find_resonances, tilt
from doe.signals.sources import average_responses
from tests.refusing import refused

GRID = np.geomspace(20, 20_000, 4000)


def resonator(f0, q, grid=GRID):
    """Second-order resonance: ``|H|^2 = 1 / ((1 - u^2)^2 + (u / Q)^2)``."""
    u = grid / f0
    return -10 * np.log10((1 - u**2) ** 2 + (u / q) ** 2)


@given(st.floats(-60, 60))
def test_a_mere_change_of_level_is_no_deviation(shift):
    base = Response("a", GRID, 3 * np.sin(np.log(GRID)))
    found = deviation(Response("b", GRID, base.level + shift), base, 50, 10_000)
    assert (found.rms_db, found.largest_db) == (0, 0)  # not what rounding leaves: it would be told as 17.5 x 10^-15 dB
    assert found.shift_db == pytest.approx(shift, abs=1e-9)


def test_a_sine_over_log_frequency_deviates_by_its_rms():
    """``a sin`` over whole periods: a / sqrt(2), and a at most."""
    band = (100.0, 100.0 * 2**5)
    wave = 2 * np.sin(2 * np.pi * np.log2(GRID / 100))
    found = deviation(Response("b", GRID, wave), Response("a", GRID, 0 * GRID), *band)
    assert found.rms_db == pytest.approx(np.sqrt(2), abs=0.005)
    assert found.largest_db == pytest.approx(2.0, abs=0.01)


def test_levels_may_be_matched_in_another_band():
    step = np.where(GRID < 1000, 0.0, -6.0)
    found = deviation(Response("b", GRID, step), Response("a", GRID, 0 * GRID), 2000, 8000, match=(100, 800))
    assert found.shift_db == pytest.approx(0.0, abs=0.01)
    assert (found.rms_db, found.largest_db) == pytest.approx((6.0, 6.0), abs=0.01)


@given(st.floats(-12, 12))
def test_a_straight_slope_has_its_tilt(slope):
    assert tilt(Response("a", GRID, slope * np.log2(GRID)), 200, 5000) == pytest.approx(slope, abs=1e-6)


def test_takes_are_averaged_as_power_or_as_decibels():
    """0 and 20 dB are powers of 1 and 100."""
    takes = [Response(name, GRID, 0 * GRID + level) for name, level in (("a", 0), ("b", 20))]
    for average, mean in (("power", 10 * np.log10(101 / 2)), ("dB", 10.0)):
        assert average_responses(takes, average, (100, 1000)).level == pytest.approx(mean)


def test_what_is_not_covered_or_too_narrow_is_refused():
    flat = Response("body", GRID, 0 * GRID)
    with refused(DataError, "band 5 to 100 Hz is not covered: body runs from 20 to 20000 Hz."):
        deviation(flat, flat, 5, 100)
    with refused(DataError, "band 5 to 100 Hz is not covered: body runs from 20 to 20000 Hz."):
        find_resonances(flat, 5, 100)
    with refused(DataError, "band 100 to 110 Hz is too narrow for a tilt; it must span half an octave or more."):
        tilt(flat, 100, 110)
    with refused(DataError, "body has fewer than two points from 30000 to 40000 Hz."):
        flat.within(30_000, 40_000)


@pytest.mark.parametrize("f0", [55.0, 400.0, 3150.0])
@pytest.mark.parametrize("q", [4.0, 10.0, 40.0])
def test_a_resonance_has_its_frequency_and_q(f0, q):
    """Closed form: top at u^2 = 1 - 1/(2 Q^2), half power at u^2 = that +- sqrt(1 - 1/(4 Q^2)) / Q, with u = f / f0.

    The Q between half-power points is 3 % below the resonator's own at Q = 4, and 0.5 % at Q = 10.
    """
    grid = np.geomspace(20, 20_000, 40_000)
    found = find_resonances(Response("a", grid, resonator(f0, q, grid)), 30, 10_000)
    assert len(found) == 1
    top, reach = 1 - 0.5 / q**2, np.sqrt(1 - 0.25 / q**2) / q
    assert found[0].frequency_hz == pytest.approx(f0 * np.sqrt(top), rel=1e-4)
    half_power = np.sqrt(top) / (np.sqrt(top + reach) - np.sqrt(top - reach))
    assert found[0].q == pytest.approx(half_power, rel=2e-3)
    assert half_power == pytest.approx(q, rel=0.04)


@pytest.mark.parametrize("f0", [430.0, 500.0, 590.0])
def test_a_top_between_coarse_points_is_that_of_the_parabola_through_them(f0):
    """``9 - 40 log2(f / f0)^2`` on points a third of an octave apart: its top is 9 dB at f0, wherever the points lie."""
    grid = 50 * 2 ** (np.arange(20) / 3)
    curve = Response("a", grid, np.maximum(9 - 40 * np.log2(grid / f0) ** 2, -40))
    (found,) = find_resonances(curve, 100, 3000)
    around = smooth(grid, curve.level, 1, "dB")[np.argmax(curve.level)]
    assert (found.frequency_hz, found.height_db) == pytest.approx((f0, 9 - around))


def test_the_height_of_a_narrow_peak_is_its_height():
    """A narrow bump of 9 dB on a flat response hardly lifts the octave around it."""
    bump = 9 * np.exp(-((np.log2(GRID / 700) / 0.02) ** 2))
    found = find_resonances(Response("a", GRID, bump), 100, 5000)[0]
    assert found.height_db == pytest.approx(9.0, abs=0.4)


def test_the_highest_comes_first_and_small_ones_are_left_out():
    level = sum(h * np.exp(-((np.log2(GRID / f) / 0.05) ** 2)) for f, h in ((200, 4), (900, 8), (4000, 2)))
    found = find_resonances(Response("a", GRID, level), 100, 10_000)
    assert [round(peak.frequency_hz, -1) for peak in found] == [900, 200]


def test_a_peak_that_does_not_fall_3_db_has_no_q():
    level = 6 * np.exp(-((np.log2(GRID / 900) / 0.05) ** 2))
    level = np.where(GRID > 900, np.maximum(level, 4.5), level)
    found = find_resonances(Response("a", GRID, level), 100, 5000, least_db=1)
    assert found[0].q is None


def test_a_width_that_was_not_resolved_gives_no_q():
    sharp = Response("a", GRID, resonator(400, 40), resolution_hz=50)
    assert find_resonances(sharp, 100, 1000)[0].q is None
