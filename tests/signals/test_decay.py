"""Decays: bands, two slopes, what is said; closed forms are checked in `tests/published`."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from doe.model.errors import DataError
from doe.signals import bands
from doe.signals.decay import measure_decay, measure_decays
from tests.refusing import refused
from tests.signals import sounds

RATE = sounds.RATE


def schroeder_times(h, rate, start):
    """Decay times by scipy and numpy alone: truncate where the smoothed energy meets the known noise, fit lines."""
    power = h[start:] ** 2
    noise = np.mean(power[-len(power) // 10 :])
    smooth = signal.fftconvolve(power, np.ones(960) / 960, mode="same")
    stop = int(np.argmax(smooth < 2 * noise))
    curve = 10 * np.log10(np.cumsum((power[:stop] - noise)[::-1])[::-1].clip(1e-30))
    curve -= curve[0]
    t = np.arange(len(curve)) / rate
    found = {}
    for name, top, low in (("edt_s", 0, -10), ("t20_s", -5, -25)):
        inside = (curve <= top) & (curve >= low)
        found[name] = -60 / np.polyfit(t[inside], curve[inside], 1)[0]
    return found


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("t60", [0.3, 1.0])
def test_a_plain_reimplementation_agrees(t60, seed):
    """Gaussian decay, floor at -60 dB: EDT and T20 of a few lines of scipy within 1 %."""
    h = sounds.decay(t60, -60, seed=seed, carrier="noise", length=2 * t60)
    ours = measure_decay(sounds.impulse(h))
    start = sounds.impulse(h).onset
    plain = schroeder_times(h, RATE, start)
    for name, value in plain.items():
        assert getattr(ours, name) == pytest.approx(value, rel=0.01), name


@pytest.mark.slow
@pytest.mark.parametrize("nominal", [125.0, 500.0, 2000.0])
def test_band_decays_scatter_as_theory_says_and_are_not_biased(nominal):
    """ISO 3382-2:2008, 7.1 (*from memory*): sd of T20 = 0.88 T sqrt((1 + 1.9 / 10) / (B T)); the mean of 16 within 3 of it."""
    t60 = 1.0
    run = bands.bands_between(nominal * 0.99, nominal * 1.01, 1)
    band = (float(run.low[0]), float(run.high[0]))
    found = [
        measure_decay(sounds.impulse(sounds.decay(t60, -60, seed=seed, carrier="noise")), band).t20_s
        for seed in range(16)
    ]
    sd = 0.88 * t60 * math.sqrt(1.19 / ((band[1] - band[0]) * t60))
    off = abs(np.mean(found) - t60)
    assert off < 3 * sd / 4, f"mean off by {off:.4f} s, standard error {sd / 4:.4f} s"
    assert np.std(found) < 1.6 * sd


def test_energy_in_a_band_is_parted_before_filtering():
    """A second impulse at 60 ms with half the amplitude: C50 in a low band is 6 dB, whatever the filter smears."""
    h = np.zeros(RATE)
    h[4800], h[4800 + 2880] = 1.0, 0.5
    h = h + 1e-4 * np.random.default_rng(0).standard_normal(RATE)
    found = measure_decay(sounds.impulse(h), bands.edges(125.89, 1))
    assert found.c50_db == pytest.approx(6.02, abs=0.1)
    assert found.c80_db is None or found.c80_db > 20


def test_each_band_is_called_by_its_nominal_frequency():
    found = measure_decays(sounds.impulse(sounds.decay(0.5, -60)), bands.bands_between(500, 2000, 1))
    assert [decay.label for decay in found] == ["500 Hz", "1000 Hz", "2000 Hz"]
    assert measure_decay(sounds.impulse(sounds.decay(0.5, -60)), (300, 700)).label == "300 to 700 Hz"
    assert measure_decay(sounds.impulse(sounds.decay(0.5, -60))).label == "all frequencies"


@pytest.mark.slow
def test_a_single_slope_is_not_taken_for_two():
    """120 Gaussian decays, 0.1 to 2 s, floors -40 to -70 dB, some cut short: none is called two-slope."""
    wrong = []
    for seed in range(24):
        for t60, length in ((0.1, None), (0.3, 0.45), (1.0, 1.2), (1.0, 0.6), (2.0, 2.2)):
            floor = (-40, -50, -60, -70)[seed % 4]
            h = sounds.decay(t60, floor, seed=seed, carrier="noise", length=length)
            if measure_decay(sounds.impulse(h)).slopes is not None:
                wrong.append((t60, floor, seed))
    assert wrong == []


@pytest.mark.parametrize(
    ("share", "fast", "slow"), [(0.01, 0.4, 1.6), (0.03, 0.2, 0.6), (0.1, 0.3, 0.9), (0.003, 0.3, 1.0)]
)
@pytest.mark.parametrize("carrier", ["sign", "noise"])
def test_two_slopes_are_told_apart(share, fast, slow, carrier):
    """``exp(-k1 t) + share exp(-k2 t)``, floor -60 dB: both times within 10 %, and it is said."""
    h = sounds.decay(fast, -60, carrier=carrier, second=(share, slow), length=2.5)
    found = measure_decay(sounds.impulse(h))
    assert found.slopes is not None
    assert found.slopes.early_s == pytest.approx(fast, rel=0.1)
    assert found.slopes.late_s == pytest.approx(slow, rel=0.1)
    # Share of the slow part in the backward integral: share / k2 over 1 / k1 + share / k2.
    slow_energy = share * slow
    expected = 10 * math.log10(slow_energy / (fast + slow_energy))
    assert found.slopes.late_db == pytest.approx(expected, abs=1.0)
    assert any("two slopes" in text for text in found.said_about("shape"))


def test_each_decay_time_is_read_from_its_own_stretch():
    """The integral of ``exp(-k1 t) + 0.03 exp(-k2 t)`` in closed form, and lines through it (general library: numpy)."""
    fast, slow, share = 0.2, 0.6, 0.03
    found = measure_decay(sounds.impulse(sounds.decay(fast, carrier="one", second=(share, slow), length=1.5)))
    t = np.arange(0, 1.5, 1e-4)
    k1, k2 = sounds.decay_rate(fast), sounds.decay_rate(slow)
    curve = 10 * np.log10((np.exp(-k1 * t) / k1 + share * np.exp(-k2 * t) / k2) / (1 / k1 + share / k2))
    times = {}
    for name, top, low in (("edt", 0, -10), ("t20", -5, -25), ("t30", -5, -35)):
        inside = (curve <= top) & (curve >= low)
        times[name] = -60 / np.polyfit(t[inside], curve[inside], 1)[0]
    assert [found.edt_s, found.t20_s, found.t30_s] == pytest.approx(list(times.values()), rel=0.002)
    bend = 100 * (times["t30"] / times["t20"] - 1)  # ISO 3382-2:2008, annex B.3 (*from memory*)
    assert found.bend_percent == pytest.approx(bend, abs=0.3)


def test_too_high_a_noise_floor_is_said_for_each_figure():
    """ISO 3382-1:2009, 5.3.3: 35 dB for T20, 45 dB for T30."""
    found = measure_decay(sounds.impulse(sounds.decay(0.5, -32)))
    assert found.t30_s is None
    assert found.said_about("t30")[0].startswith("body, all frequencies: T30 cannot be read; the decay stands 3")
    assert "T20 leans on noise compensation" in found.said_about("t20")[0]
    assert found.said_about("edt") == ()


def test_noise_alone_has_no_decay():
    noise = 0.1 * np.random.default_rng(0).standard_normal(RATE)
    with refused(DataError, "body holds no decay that stands out of its noise; measure louder or nearer."):
        measure_decay(sounds.impulse(noise))


def test_a_lone_click_has_no_decay_time_and_no_c50():
    h = np.zeros(RATE)
    h[1000] = 1.0
    h = h + 1e-4 * np.random.default_rng(0).standard_normal(RATE)
    with pytest.raises(DataError, match="holds no decay"):
        measure_decay(sounds.impulse(h))


@pytest.mark.parametrize("scale", [1e-6, 1e6])
def test_decays_do_not_hang_on_the_recording_level(scale):
    h = sounds.decay(0.5, -60, seed=2, carrier="noise")
    plain, scaled = (measure_decay(sounds.impulse(part)) for part in (h, scale * h))
    for name in ("edt_s", "t20_s", "t30_s", "c50_db", "d50", "centre_s"):
        assert getattr(scaled, name) == pytest.approx(getattr(plain, name), rel=1e-6)


@pytest.mark.parametrize("rate", [8_000, 44_100, 192_000])
def test_decays_do_not_hang_on_the_sample_rate(rate):
    found = measure_decay(sounds.impulse(sounds.decay(0.4, -60, rate=rate), rate))
    assert [found.edt_s, found.t20_s, found.t30_s] == pytest.approx([0.4] * 3, rel=0.02)


def test_silence_before_the_sound_changes_nothing():
    h = sounds.decay(0.4, carrier="one")
    plain, later = (measure_decay(sounds.impulse(part)) for part in (h, np.concatenate([np.zeros(7000), h])))
    assert later.t20_s == pytest.approx(plain.t20_s, rel=1e-9)


def test_a_decay_that_is_followed_by_digital_silence_is_read():
    h = np.concatenate([sounds.decay(0.3, carrier="one"), np.zeros(20_000)])
    found = measure_decay(sounds.impulse(h))
    assert [found.edt_s, found.t20_s, found.t30_s] == pytest.approx([0.3] * 3, rel=0.01)
