"""What the trade says of cavities and vents, held against the physics aids. *Common practice, no source*, unless it says so."""

from __future__ import annotations

import math

import numpy as np
import pytest

from doe.signals.boxes import closed_box, vented_box
from doe.signals.cavity_decay import cavity_decay
from doe.signals.physics import cavity_modes, helmholtz, ring_cavity

BODIES = [{"diameter_mm": 200}, {"width_mm": 180, "height_mm": 145}]
NARROW = {"width_mm": 90, "height_mm": 300}
NOTICEABLE = 0.05
"""Just noticeable difference of a decay time: 5 % (ISO 3382-1:2009, Table A.1, early decay time). Three of them are clear."""


@pytest.mark.parametrize("body", BODIES)
@pytest.mark.parametrize("share", [1 / 3, 0.4, 0.5])
@pytest.mark.parametrize("depth_mm", [84, 120, 144])
def test_shrinking_or_filling_a_cavity_by_a_third_to_a_half_clearly_lowers_its_echo(body, share, depth_mm):
    """By at least three just noticeable differences; and filling, which adds absorption, lowers it more than shrinking."""
    before = cavity_decay(depth_mm, **body).value
    shrunk = cavity_decay(depth_mm * (1 - share), **body).value
    filled = cavity_decay(depth_mm, stuffed_percent=100 * share, **body).value
    assert shrunk <= before * (1 - 3 * NOTICEABLE)
    assert filled < shrunk


@pytest.mark.parametrize("share", [1 / 3, 0.5])
def test_of_a_cavity_deeper_than_wide_only_filling_is_clear(share):
    """The rule says more than the aid: of 144 mm depth and 90 mm width, a third less takes 14 % off, not three differences."""
    before = cavity_decay(144, **NARROW).value
    assert cavity_decay(144 * (1 - share), **NARROW).value < before * (1 - 2 * NOTICEABLE)
    assert cavity_decay(144, stuffed_percent=100 * share, **NARROW).value < before * (1 - 3 * NOTICEABLE)


def test_the_decay_is_the_closed_form_of_eyring():
    """A cube of 0.2 m: T = 24 ln 10 V / (c S (-ln(1 - a))), V / S = 0.2 / 6 m by hand, c = 343.2 m/s at 20 degrees.

    Bare, a is that of its walls; where wool leaves a cube of twice the depth, one wall of the six absorbs 0.8 instead of 0.2.
    """
    unit = 1000 * 24 * math.log(10) * 0.2 / (343.2 * 6)
    side = {"width_mm": 200, "height_mm": 200, "absorption": 0.2}
    assert cavity_decay(200, **side).value == pytest.approx(unit / -math.log(0.8), rel=1e-3)
    assert cavity_decay(400, stuffed_percent=50, **side).value == pytest.approx(unit / -math.log(0.7), rel=1e-3)


@pytest.mark.parametrize("share", [1 / 3, 0.5])
def test_the_other_aids_move_the_same_way(share):
    """Less depth: less air in proportion, the first mode along the depth higher in proportion, the air spring stiffer."""
    air = [ring_cavity(rings=rings, thickness_mm=12, diameter_mm=200).value for rings in (12, round(12 * (1 - share)))]
    assert air[1] / air[0] == pytest.approx(1 - share, rel=1e-9)
    deep = {"width_mm": 60, "height_mm": 50}
    modes = [cavity_modes(depth, **deep).value for depth in (144, 144 * (1 - share))]
    assert modes[1] / modes[0] == pytest.approx(1 / (1 - share), rel=1e-9)
    tuned = [helmholtz(volume, 10, 20).value for volume in (1000, 1000 * (1 - share))]
    assert tuned[1] / tuned[0] == pytest.approx((1 - share) ** -0.5, rel=1e-9)


def test_a_driver_with_the_wrong_q_does_not_get_right_by_vents():
    """Qts 1.1 in 4 l: it peaks when closed, and no tuning from 30 to 150 Hz brings the peak below that by 1 dB.

    A driver with Qts 0.35 in the same box has a tuning with less than 0.5 dB.
    """
    driver = {"fs_hz": 70, "vas_l": 4, "volume_l": 4}
    closed = {figure.name: figure.value for figure in closed_box(qts=1.1, **driver).more}["Peak"]
    assert closed > 3

    def least_peak(qts):
        boxes = [vented_box(qts=qts, tuning_hz=tuning, **driver) for tuning in np.geomspace(30, 150, 12)]
        return min({figure.name: figure.value for figure in box.more}["Peak"] for box in boxes)

    assert least_peak(1.1) > closed - 1
    assert least_peak(0.35) < 0.5
