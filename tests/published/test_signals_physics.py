"""Rough physics against textbook formulas."""

from __future__ import annotations

import math

import pytest

from doe.signals import boxes, physics
from tests.published.cases import case
from tests.published.test_signals_tables import met
from tests.published.verification_signals import physics_rows

pytestmark = pytest.mark.published


def test_formulas_give_the_worked_figures():
    """Kinsler et al., sec. 10.8; Small (1972, 1973); Abramowitz & Stegun, table 9.5."""
    assert met(physics_rows()) <= 1.0


def test_one_flanged_end_adds_8_over_3_pi_radii():
    """Textbooks print 0.85."""
    published = case("helmholtz_resonator").find("end correction of one flanged end, 8/(3 pi)")
    assert abs(physics.END_CORRECTION["flanged"] - published.value) <= published.tolerance


def test_the_resonance_halves_with_four_times_the_volume():
    """The resonance goes with 1 / sqrt(V) and with c."""
    one, four = (physics.helmholtz(volume, 10, 50).value for volume in (1000, 4000))
    assert four / one == pytest.approx(0.5, abs=1e-12)
    cold, warm = (physics.helmholtz(1000, 10, 50, temperature_c=t).value for t in (0, 20))
    assert cold / warm == pytest.approx(physics.speed_of_sound(0) / physics.speed_of_sound(20), abs=1e-12)


def test_speed_of_sound_at_0_and_20_degrees():
    """331.3 and 343.2 m/s (CRC Handbook of Chemistry and Physics, *from memory*), to one decimal."""
    assert [round(physics.speed_of_sound(t), 1) for t in (0, 20)] == [331.3, 343.2]


def test_a_box_of_a_third_of_vas_doubles_q_and_resonance():
    """Small (1972): sqrt(1 + Vas / Vb)."""
    box = boxes.closed_box(50, 0.4, 30, 10)
    assert [box.value, box.more[0].value] == pytest.approx([0.8, 100.0], abs=1e-12)


def test_q_0_5_and_the_flattest_box():
    """Small (1972): f3/fc = 1.5538 at Q = 0.5; f3 = fc at Q = 1/sqrt(2), reached from Qts = 0.4 with Vas/Vb = 2.125."""
    published = case("closed_box_alignment")
    damped = boxes.closed_box(50, 0.25, 30, 10)
    expected = published.find("Qtc = 0.5 (critically damped): f3/fc")
    assert abs(damped.more[1].value / damped.more[0].value - expected.value) <= expected.tolerance
    alpha = published.value("alpha needed for Qtc = 1/sqrt2 from Qts = 0.4")
    flat = boxes.closed_box(50, 0.4, 10 * alpha, 10)
    assert flat.value == pytest.approx(math.sqrt(0.5), abs=1e-12)
    assert flat.more[1].value == pytest.approx(flat.more[0].value, rel=1e-12)
