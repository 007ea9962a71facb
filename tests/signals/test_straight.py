"""The one exponential of a straight decay: what is fitted, and how far it may be off."""

from __future__ import annotations

import math

import numpy as np
import pytest

from doe.signals.noise_floor import Floor
from doe.signals.straight import fit_straight

RATE = 8000.0
K = 30.0
T = np.arange(9600) / RATE
PURE = 0.02 * np.exp(-K * T)


def floor_of(noise, stop=4800, off=1.2):
    """The floor of that decay, its rate told wrong."""
    return Floor(noise, stop, off * K, 0.02 * math.exp(-K * stop / RATE), True)


def test_an_exponential_is_found_again_and_summed_in_closed_form():
    """Over noise of a millionth of its end; what is left from a sample on is the sum of the samples from there on."""
    noise = 1e-6 * PURE[4800]
    found = fit_straight(PURE + noise, floor_of(noise), RATE)
    assert (found.rate, found.height) == pytest.approx((K, math.log(0.02)), rel=1e-6)
    for sample in (0, 400, 6000):
        whole = PURE[sample] / (1 - math.exp(-K / RATE)) / RATE  # geometric series
        assert found.left_at(sample / RATE) == pytest.approx(whole, rel=1e-5)


def test_what_is_left_is_off_as_it_is_said_to_be():
    """100 Gaussian decays in Gaussian noise at -47 dB: rates and levels scatter as told, about the truth."""
    rng = np.random.default_rng(0)
    noise, step = 4e-7, 1 / (1 - math.exp(-K / RATE)) / RATE
    off = []
    for _ in range(100):
        h = np.sqrt(PURE) * rng.standard_normal(len(T)) + math.sqrt(noise) * rng.standard_normal(len(T))
        found = fit_straight(h**2, floor_of(noise, 2400, 0.9), RATE)
        levels = [
            10 * math.log10(found.left_at(t) / (0.02 * math.exp(-K * t) * step)) / found.sd_db(t) for t in (0.05, 0.3)
        ]
        off.append([(found.rate - K) / found.rate_sd, *levels])
    assert np.abs(np.mean(off, axis=0)).max() < 3 / math.sqrt(100)
    assert np.sqrt(np.mean(np.square(off), axis=0)) == pytest.approx(1, abs=3 / math.sqrt(200))


@pytest.mark.parametrize(
    ("power", "floor"),
    [(PURE, floor_of(1e-9, 30)), (PURE, floor_of(1e-9, off=0.0)), (PURE, floor_of(0.02)),
     (PURE, floor_of(1e-9, off=1e4)), (1 / PURE, floor_of(0.0))],
    ids=["few blocks", "no rate", "all noise", "too fast", "rising"],
)  # fmt: skip
def test_what_is_no_decay_has_no_line(power, floor):
    assert fit_straight(power, floor, RATE) is None
