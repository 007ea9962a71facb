"""Recipes: from files to readings, and everything that is said or refused on the way."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import signal

from doe.model.errors import DataError, FettleError, UsageError
from doe.model.setup import Setup
from doe.signals.recipes import RECIPES, Context, check_recipe, compute
from doe.signals.sweep import Sweep
from tests.refusing import refused
from tests.signals import sounds
from tests.strategies import examples

RATE = sounds.RATE
SHORT = Sweep(50, 15_000, 1.5)
SWEEP_KEY = [50, 15_000, 1.5]


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Two takes of a known filter, a curve, a reference curve, a calibrator, a signal."""
    folder = tmp_path_factory.mktemp("bench")
    known = sounds.Filter()
    for take in (1, 2):
        sounds.write_recording(
            folder / f"take{take}.wav", sweep=SHORT, through=known.apply, delay=9000 * take, seed=take
        )
    grid = np.geomspace(20, 20_000, 400)
    for name, level in (("flat", 0 * grid + 70), ("tilted", 70 - 2 * np.log2(grid / 1000)), ("mic", 0 * grid + 1.5)):
        np.savetxt(folder / f"{name}.txt", np.column_stack([grid, level]), fmt="%.4f", header="Freq SPL")
    sounds.write_tone(folder / "calibrator.wav", 1000, 0.1)
    sounds.write_tone(folder / "tone.wav", 1000, 0.05)
    sounds.write_noise(folder / "silence.wav", 2.0, rms=1e-4)
    t = np.arange(1000) / 1000
    np.savetxt(folder / "rig.csv", np.column_stack([t, 1 + 2 * np.sin(2 * np.pi * 25 * t)]), delimiter=",", fmt="%.9f",
               header="time,force", comments="")  # fmt: skip
    return folder


def value(bench, recipe, file, **keys):
    return compute({"from": recipe, **keys}, bench / file, Context(bench)).values[0]


def test_a_band_level_relative_to_another_is_that_of_the_filter(bench):
    """Power mean over log frequency of the filter's own transfer function."""
    known = sounds.Filter()

    def mean(low, high):
        grid = np.geomspace(low, high, 2000)
        return 10 * math.log10(float(np.mean(10 ** (known.level(grid) / 10))))

    measured = compute({"from": "band_level", "band": [60, 150], "relative_to": [300, 1000], "sweep": SWEEP_KEY},
                       [bench / "take1.wav", bench / "take2.wav"])  # fmt: skip
    assert measured.values == pytest.approx([mean(60, 150) - mean(300, 1000)] * 2, abs=0.05)


def test_takes_are_separate_readings_with_their_scatter(bench):
    files = [bench / "take1.wav", bench / "take2.wav"]
    measured = compute({"from": "band_level", "band": [300, 1000], "sweep": SWEEP_KEY}, files)
    a, b = measured.values
    assert a != b
    assert measured.files == ("take1.wav", "take2.wav")
    assert measured.scatter == pytest.approx(abs(a - b) / math.sqrt(2))
    alone = compute({"from": "band_level", "band": [300, 1000], "sweep": SWEEP_KEY}, files[0])
    assert alone.values == (a,) and alone.scatter is None


@pytest.mark.parametrize(("average", "expected"), [("power", 10 * math.log10((1 + 100) / 2)), ("dB", 10.0)])
def test_takes_are_averaged_as_stated(tmp_path, average, expected):
    """0 and 20 dB: 17.0 dB as power, 10 dB as decibels."""
    for name, level in (("a", 0), ("b", 20)):
        (tmp_path / f"{name}.txt").write_text(f"20 {level}\n20000 {level}\n")
    files = [tmp_path / "a.txt", tmp_path / "b.txt"]
    measured = compute({"from": "band_level", "band": [100, 200], "average": average}, files)
    assert measured.mean == pytest.approx(expected)
    assert measured.average == average


def test_a_value_carries_all_that_made_it(bench):
    """Recipe, version and every setting, also those left out; ready for JSON."""
    measured = compute({"from": "band_level", "band": [300, 1000], "sweep": SWEEP_KEY}, bench / "take1.wav")
    assert (measured.recipe, measured.version, measured.unit) == ("band_level", 2, "dB")
    assert set(measured.settings) == {key.name for key in RECIPES["band_level"].keys}
    assert measured.settings["sweep"] == SWEEP_KEY
    assert json.loads(json.dumps(dict(measured.settings))) == measured.settings


def test_the_same_settings_measured_again_give_the_same_value(bench):
    """What a result carries can be used as a recipe."""
    measured = compute({"from": "decay_time", "sweep": SWEEP_KEY, "octave": 1000}, bench / "take1.wav")
    again = {name: part for name, part in measured.settings.items() if part is not None}
    assert compute({"from": "decay_time", **again}, bench / "take1.wav").values == measured.values


def test_what_was_assumed_is_said_once(bench):
    takes = [bench / "take1.wav", bench / "take2.wav"]
    measured = compute({"from": "band_level", "band": [300, 1000], "sweep": SWEEP_KEY}, takes)
    assert measured.warnings == ()
    assert measured.notes == (
        "Read as the sweep from 50 to 15000 Hz in 1.5 s.",
        "No calibration: levels are relative to full scale, and compare only while the recording gain stays as it is.",
    )


def test_curves_tilts_and_deviations(bench):
    """-2 dB an octave by construction; its rms over b octaves, levels matched, is 2 b / sqrt(12)."""
    assert value(bench, "tilt", "tilted.txt", band=[100, 10_000]) == pytest.approx(-2.0, abs=0.01)
    octaves = math.log2(100)
    deviation = value(bench, "deviation", "tilted.txt", band=[100, 10_000], reference="flat.txt")
    assert deviation == pytest.approx(2 * octaves / math.sqrt(12), abs=0.02)
    assert value(bench, "deviation", "flat.txt", band=[100, 10_000], reference="flat.txt") == pytest.approx(
        0.0, abs=1e-6
    )


def test_a_deviation_from_the_takes_of_another_variant(bench):
    context = Context(bench, {"bought radio": [bench / "take1.wav", bench / "take2.wav"]})
    keys = {"from": "deviation", "band": [100, 10_000], "sweep": SWEEP_KEY, "reference_variant": "bought radio"}
    assert compute(keys, bench / "take1.wav", context).values[0] < 0.05
    curve = Context(bench, {"bought radio": [bench / "flat.txt"]})
    assert compute({**keys, "input": "curve"}, bench / "flat.txt", curve).values == pytest.approx([0.0])
    with refused(DataError, "reference_variant 'stock' has no files; measure it first."):
        compute({**keys, "reference_variant": "stock"}, bench / "take1.wav", context)


def test_a_deviation_needs_one_reference(bench):
    message = "A deviation needs either reference (a file) or reference_variant (a variant with takes)."
    for keys in ({}, {"reference": "flat.txt", "reference_variant": "stock"}):
        with refused(UsageError, message):
            value(bench, "deviation", "flat.txt", band=[100, 1000], **keys)


def test_a_microphone_is_taken_off(bench):
    plain = value(bench, "band_level", "flat.txt", band=[100, 1000])
    assert value(bench, "band_level", "flat.txt", band=[100, 1000], microphone="mic.txt") == pytest.approx(plain - 1.5)


@pytest.mark.parametrize(("band", "is_told"), [([100, 1000], True), ([300, 3000], True), ([200, 2000], False)])
def test_a_microphone_that_does_not_cover_the_band_is_told(bench, tmp_path, band, is_told):
    (tmp_path / "mic.txt").write_text("200 1\n2000 1\n")
    measured = compute(
        {"from": "band_level", "band": band, "microphone": "mic.txt"}, bench / "flat.txt", Context(tmp_path)
    )
    said = "mic.txt corrects from 200 to 2000 Hz only; beyond that nothing was taken off."
    assert measured.warnings == (said,) * is_told


def test_a_calibrator_turns_levels_into_sound_levels(bench):
    """94 dB at an amplitude of 0.1; half of it is 6.02 dB less."""
    measured = compute({"from": "level", "calibrator": "calibrator.wav"}, bench / "tone.wav", Context(bench))
    assert measured.values[0] == pytest.approx(94 - 6.02, abs=0.02)
    assert not any("No calibration" in note for note in measured.notes)
    assert value(bench, "level", "tone.wav", full_scale_db=114.0) == pytest.approx(114 - 26.02, abs=0.02)
    assert value(bench, "loudest_level", "tone.wav", full_scale_db=114.0) == pytest.approx(114 - 26.02, abs=0.05)
    with refused(UsageError, "full_scale_db and calibrator are both set; keep one of them."):
        value(bench, "level", "tone.wav", full_scale_db=114.0, calibrator="calibrator.wav")
    with refused(DataError, "mine.wav is not there; give the path of a WAV, FLAC or AIFF recording."):
        value(bench, "level", "tone.wav", calibrator="mine.wav")


def test_a_level_near_the_background_is_told(bench, tmp_path):
    sounds.write_noise(tmp_path / "take.wav", 2.0, rms=3e-4, subtype="FLOAT")
    measured = compute({"from": "level", "background": "silence.wav"}, tmp_path / "take.wav", Context(bench))
    said = "take.wav stands only 9.6 dB above silence.wav; 15 dB or more keep the level within 0.14 dB."
    assert said in measured.warnings or said.replace("9.6", "9.5") in measured.warnings
    quiet = compute({"from": "level", "background": "silence.wav"}, bench / "tone.wav", Context(bench))
    assert quiet.warnings == ()


def test_a_recording_that_stops_with_the_sweep_is_told(tmp_path):
    path = sounds.write_recording(tmp_path / "take.wav", sweep=SHORT, tail_s=0.1)
    measured = compute({"from": "band_level", "band": [300, 1000], "sweep": SWEEP_KEY}, path)
    assert measured.warnings == (
        "take.wav runs on for only 0.1 s after the sweep; its decay is truncated at high frequencies. Let the recording run "
        "2 s longer.",
    )


def test_a_sweep_near_the_noise_is_told_and_one_below_is_refused(tmp_path):
    keys = {"from": "band_level", "band": [300, 1000], "sweep": SWEEP_KEY}
    path = sounds.write_recording(tmp_path / "take.wav", sweep=SHORT, noise_db=8, amplitude=0.03)
    assert any("dB out of the noise from 300 to 1000 Hz" in text for text in compute(keys, path).warnings)
    sounds.write_recording(path, sweep=SHORT, noise_db=30, amplitude=0.01, subtype="FLOAT")
    with pytest.raises(DataError, match=r"take\.wav does not (hold the sweep|stand out of the noise)"):
        compute(keys, path)


def test_bands_of_a_noise_recording_add_up_power(tmp_path):
    """White noise: an octave higher holds twice the power."""
    path = sounds.write_noise(tmp_path / "fan.wav", 10)
    keys = {"from": "band_ratio", "band": [2000, 4000], "to_band": [1000, 2000], "input": "recording"}
    assert compute(keys, path).values[0] == pytest.approx(3.01, abs=0.15)


def test_left_and_right_differ_by_their_level(tmp_path):
    x = np.concatenate([np.zeros(4000), 0.25 * SHORT.samples(RATE), np.zeros(2 * RATE)])
    soundfile.write(tmp_path / "pair.wav", np.column_stack([x, 0.5 * x]), RATE, subtype="FLOAT")
    keys = {"from": "channel_difference", "band": [100, 10_000], "sweep": SWEEP_KEY}
    assert compute(keys, tmp_path / "pair.wav").values[0] == pytest.approx(6.02, abs=0.01)
    assert compute({**keys, "what": "shape"}, tmp_path / "pair.wav").values[0] == pytest.approx(0.0, abs=0.01)


def test_decays_from_an_impulse_file(tmp_path):
    """Closed form of one exponential."""
    h = 0.5 * sounds.decay(0.4, -60)
    soundfile.write(tmp_path / "room.wav", h, RATE, subtype="FLOAT")
    truth = sounds.closed_form(0.4)
    keys = {"input": "impulse"}
    assert value(tmp_path, "decay_time", "room.wav", **keys) == pytest.approx(0.4, rel=0.02)
    assert value(tmp_path, "decay_time", "room.wav", range="EDT", time_unit="ms", **keys) == pytest.approx(
        400, rel=0.02
    )
    assert value(tmp_path, "clarity", "room.wav", limit_ms=80, **keys) == pytest.approx(truth["C80"], abs=0.1)
    assert value(tmp_path, "definition", "room.wav", **keys) == pytest.approx(truth["D50"], abs=0.01)
    assert value(tmp_path, "centre_time", "room.wav", **keys) == pytest.approx(truth["Ts"], rel=0.02)


def test_a_decay_is_read_in_the_band_that_is_named(tmp_path):
    """Below 500 Hz it takes 0.6 s, above 2 kHz 0.3 s."""
    parts = [sounds.decay(t60, carrier="noise", length=1.2, seed=seed) for seed, t60 in enumerate((0.6, 0.3))]
    low = signal.sosfilt(signal.butter(6, 500, "low", fs=RATE, output="sos"), parts[0])
    high = signal.sosfilt(signal.butter(6, 2000, "high", fs=RATE, output="sos"), parts[1])
    soundfile.write(tmp_path / "room.wav", 0.1 * (3 * low + high), RATE, subtype="FLOAT")
    for keys, t60 in (({"band": [2500, 8000]}, 0.3), ({"octave": 250}, 0.6), ({"octave": 4000}, 0.3)):
        assert value(tmp_path, "decay_time", "room.wav", input="impulse", **keys) == pytest.approx(t60, rel=0.15)


def test_only_what_concerns_the_figure_is_said(tmp_path):
    """A floor too high for T30 does not trouble EDT."""
    soundfile.write(tmp_path / "room.wav", 0.5 * sounds.decay(0.5, -32), RATE, subtype="FLOAT")
    early = compute({"from": "decay_time", "range": "EDT", "input": "impulse"}, tmp_path / "room.wav")
    assert early.warnings == ()
    with pytest.raises(DataError, match=r"^room\.wav, all frequencies: T30 cannot be read; the decay stands 3"):
        compute({"from": "decay_time", "range": "T30", "input": "impulse"}, tmp_path / "room.wav")


def test_resonances(tmp_path):
    grid = np.geomspace(20, 20_000, 4000)
    u = grid / 440
    level = -10 * np.log10((1 - u**2) ** 2 + (u / 12) ** 2)
    np.savetxt(tmp_path / "plate.txt", np.column_stack([grid, level]), fmt="%.6f")
    keys = {"band": [100, 2000], "smoothing": 0}
    assert value(tmp_path, "resonance_frequency", "plate.txt", **keys) == pytest.approx(440, rel=0.005)
    assert value(tmp_path, "resonance_q", "plate.txt", **keys) == pytest.approx(12, rel=0.03)
    assert value(tmp_path, "resonance_height", "plate.txt", **keys) > 8
    with refused(
        DataError, "plate.txt has no resonance from 1000 to 2000 Hz that stands 3 dB out; widen band or lower least_db."
    ):
        value(tmp_path, "resonance_frequency", "plate.txt", band=[1000, 2000])


def test_what_is_no_single_clear_resonance_is_told(tmp_path):
    """Two bumps of the same height, and one on a shelf that never falls by 3 dB behind it."""
    grid = np.geomspace(20, 20_000, 2000)
    bumps = sum(6 * np.exp(-((np.log2(grid / hz) / 0.1) ** 2)) for hz in (300, 900))
    np.savetxt(tmp_path / "two.txt", np.column_stack([grid, bumps]), fmt="%.6f")
    made = compute({"from": "resonance_frequency", "band": [100, 2000]}, tmp_path / "two.txt")
    (told,) = made.warnings
    assert told.startswith("two.txt has two resonances of about the same height from 100 to 2000 Hz, at ")
    shelf = np.where(grid > 300, np.maximum(bumps, 4), bumps)
    np.savetxt(tmp_path / "shelf.txt", np.column_stack([grid, shelf]), fmt="%.6f")
    with pytest.raises(DataError, match="does not fall 3 dB on both sides, or is too sharp to resolve; it has no Q"):
        value(tmp_path, "resonance_q", "shelf.txt", band=[100, 600], least_db=1)


@pytest.mark.parametrize("q", [8, 12, 15, 20])
def test_a_q_that_smoothing_lowers_says_by_how_much(tmp_path, q):
    """Closed form: a simple resonator of that Q. Nothing was said up to Q 20, where 13 % are missing."""
    u = np.geomspace(20, 20_000, 20_000) / 440
    level = -10 * np.log10((1 - u**2) ** 2 + (u / q) ** 2)
    np.savetxt(tmp_path / "plate.txt", np.column_stack([440 * u, level]), fmt="%.6f")
    made = compute({"from": "resonance_q", "band": [100, 2000]}, tmp_path / "plate.txt")
    missing = 100 * (1 - made.values[0] / q)
    assert len(made.warnings) == (missing > 4)
    for text in made.warnings:
        assert float(re.search(r"some (\S+) % too low", text)[1]) == pytest.approx(missing, abs=1)
    exact = compute({"from": "resonance_q", "band": [100, 2000], "smoothing": 0}, tmp_path / "plate.txt")
    assert (exact.values[0], exact.warnings) == (pytest.approx(q, rel=0.01), ())


def test_signals_of_other_trades(bench):
    assert value(bench, "rms", "rig.csv") == pytest.approx(math.sqrt(3), abs=1e-6)
    assert value(bench, "rms", "rig.csv", mean="off") == pytest.approx(math.sqrt(2), abs=1e-6)
    assert value(bench, "peak", "rig.csv", column="force") == pytest.approx(3, abs=0.02)
    assert value(bench, "dominant_frequency", "rig.csv") == pytest.approx(25, abs=0.1)
    with pytest.raises(DataError, match=r"rig\.csv does not settle"):
        value(bench, "settling_time", "rig.csv")


def test_a_step_settles_within_the_share_that_is_named(tmp_path):
    """``1 - exp(-t / tau)`` is within a share of its end after ``tau ln(1 / share)``."""
    t = np.arange(1000) / 1000
    np.savetxt(tmp_path / "step.csv", np.column_stack([t, 1 - np.exp(-t / 0.05)]), delimiter=",", fmt="%.9f")
    for percent in (2, 50):
        found = value(tmp_path, "settling_time", "step.csv", within_percent=percent)
        assert found == pytest.approx(0.05 * math.log(100 / percent), abs=0.001)


@pytest.mark.parametrize(
    "recipe",
    [{"from": "level"}, {"from": "loudest_level"}, {"from": "band_level", "band": [500, 2000], "input": "recording"}],
)
def test_a_level_without_calibration_is_said_to_be_none_of_sound(bench, recipe):
    told = (
        "No calibration: levels are relative to full scale, and compare only while the recording gain stays as it is."
    )
    assert told in compute(recipe, bench / "tone.wav").notes
    assert told not in compute({**recipe, "full_scale_db": 114.0}, bench / "tone.wav").notes


def test_distortion_is_told_in_percent(tmp_path):
    """``x + 2 x^3`` at amplitude A: the third harmonic is A^2 / 2 over 1 + 3 A^2 / 2, and there is no other."""
    sounds.write_recording(
        tmp_path / "take.wav", sweep=SHORT, through=lambda x: x + 2 * x**3, noise_db=-80, subtype="FLOAT"
    )
    percent = 100 * 0.25**2 / 2 / (1 + 1.5 * 0.25**2)
    keys = {"band": [200, 2000], "sweep": SWEEP_KEY}
    for order in (3, "total"):
        assert value(tmp_path, "distortion", "take.wav", order=order, **keys) == pytest.approx(percent, rel=0.05)
    with refused(DataError, "take.wav: harmonic 3 is known up to 5000 Hz of the played tone only; lower the band."):
        value(tmp_path, "distortion", "take.wav", order=3, sweep=SWEEP_KEY, band=[200, 7000])


def test_distortion_of_a_straight_chain_is_said_to_be_noise(bench):
    keys = {"from": "distortion", "band": [200, 2000], "sweep": SWEEP_KEY, "order": 3}
    measured = compute(keys, bench / "take1.wav")
    assert measured.unit == "%"
    assert any("noise alone would give" in text for text in measured.warnings)


RECIPE_ERRORS = [
    ({"from": "band_levle"}, f"from is 'band_levle'; a recipe is one of {', '.join(list(RECIPES)[:-1])} or settling_time. "
     "Did you mean 'band_level'?"),
    ({"from": ["tilt"]}, f"from is '['tilt']'; a recipe is one of {', '.join(list(RECIPES)[:-1])} or settling_time. "
     "Did you mean 'tilt'?"),
    ({}, f"There is no recipe; set from to {', '.join(list(RECIPES)[:-1])} or settling_time."),
    ({"from": "band_level"}, "Recipe 'band_level' has no band: the band in Hz, such as [40, 150]."),
    ({"from": "peak", "colum": 2}, "Recipe 'peak' has an unknown key 'colum'; it may have column and rate. Did you mean "
     "'column'?"),
    ({"from": "tilt", "band": [1234567, 40]}, "Recipe 'tilt': band is 1234567 to 40 Hz; it must rise from above 0."),
    ({"from": "rms", "rate": 2e9}, "Recipe 'rms': rate is 2000000000; it must be from 0.000000001 to 1000000000 Hz."),
    ({"from": "tilt", "band": "40-150"}, "Recipe 'tilt': band is '40-150'; it must be two frequencies in Hz, such as [40, "
     "150]."),
    ({"from": "tilt", "band": [40, True]}, "Recipe 'tilt': band is 'True'; it must be a finite number."),
    ({"from": "level", "weighting": "B"}, "Recipe 'level': weighting is 'B'; it must be A, C or Z."),
    ({"from": "decay_time", "octave": 700}, "Recipe 'decay_time': octave is '700'; it must be 31.5, 63, 125, 250, 500, 1000, "
     "2000, 4000, 8000 or 16000."),
    ({"from": "decay_time", "octave": 500, "band": [1, 2]}, "Recipe 'decay_time' has band and octave; keep one of them."),
    ({"from": "decay_time", "sweep": [20, 20_000]}, "Recipe 'decay_time': sweep is '[20, 20000]'; it must be start and stop in "
     "Hz and seconds, such as [20, 20000, 10]."),
    ({"from": "decay_time", "channel": 0}, "Recipe 'decay_time': channel is '0'; it must be a whole number from 1 to 64."),
    ({"from": "distortion", "band": [100, 200], "order": "all"}, "Recipe 'distortion': order is 'all'; it must be total, 2, 3, "
     "4, 5, 6, 7, 8, 9 or 10."),
    ({"from": "tilt", "band": [40, 150], "gate_ms": 0.1}, "Recipe 'tilt': gate_ms is 0.1; it must be from 1 to 60000 ms."),
    ({"from": "tilt", "band": [40, 150], "microphone": 3}, "Recipe 'tilt': microphone is '3'; it must be text in quotes."),
    ({"from": "channel_difference", "band": [40, 150], "channels": [1, 1]}, "Recipe 'channel_difference': channels is '[1, "
     "1]'; it must be two different channels, such as [1, 2]."),
]  # fmt: skip


@pytest.mark.parametrize(("recipe", "message"), RECIPE_ERRORS)
def test_a_wrong_recipe_is_refused_before_anything_is_measured(recipe, message):
    with refused(UsageError, message):
        check_recipe(recipe)


def test_what_is_one_of_several_may_be_text_in_letters_of_either_case():
    settings = check_recipe({"from": "decay_time", "octave": "500", "range": "t30"})[1]
    assert (settings["octave"], settings["range"]) == (500, "T30")
    assert check_recipe({"from": "distortion", "band": [100, 200], "order": "Total"})[1]["order"] == "total"


def test_what_does_not_fit_the_file_is_refused(bench):
    with refused(UsageError, "gate_ms does not fit flat.txt: it is a curve file, and gate_ms is for recordings."):
        value(bench, "tilt", "flat.txt", band=[100, 1000], gate_ms=5)
    with refused(UsageError, "input is 'curve', but tone.wav is a recording; set input to 'sweep' or 'impulse'."):
        value(bench, "tilt", "tone.wav", band=[100, 1000], input="curve")
    with refused(DataError, "flat.txt is not a recording; input is 'sweep', which needs a WAV, FLAC or AIFF file."):
        value(bench, "tilt", "flat.txt", band=[100, 1000], input="sweep")
    with refused(DataError, "nothing.wav is not there; give the path of a recording or a curve file."):
        value(bench, "tilt", "nothing.wav", band=[100, 1000])
    with refused(DataError, "band 10 to 1000 Hz is not covered: take1.wav runs from 50 to 15000 Hz."):
        value(bench, "tilt", "take1.wav", band=[10, 1000], sweep=SWEEP_KEY)
    with refused(UsageError, "There are no files to measure; give one for each take."):
        compute({"from": "rms"}, [])


def test_one_bad_take_leaves_nothing_half_measured(bench, tmp_path):
    bad = tmp_path / "bad.wav"
    bad.write_bytes(b"")
    with refused(DataError, "bad.wav is empty; it must be a WAV, FLAC or AIFF recording."):
        compute({"from": "level"}, [bench / "tone.wav", bad])


def test_the_setup_file_holds_a_recipe_beside_the_outcome():
    """A list at relative_to belongs to the recipe, text to the outcome; both survive a round trip."""
    table = {"name": "bass", "unit": "dB", "from": "band_level", "band": [40, 150], "relative_to": [300, 1000]}
    setup = Setup.from_tables({"outcome": [table, {**table, "name": "low", "relative_to": "bought radio"}]})
    first, second = setup.outcomes
    assert first.recipe == {"from": "band_level", "band": [40, 150], "relative_to": [300, 1000]}
    assert (first.relative_to, second.relative_to) == (None, "bought radio")
    assert "relative_to" not in second.recipe
    assert Setup.from_tables(setup.to_tables()) == setup
    assert check_recipe(first.recipe)[1]["relative_to"] == (300.0, 1000.0)


def test_every_recipe_says_what_it_measures():
    for recipe in RECIPES.values():
        assert recipe.help.endswith(".") and "\n" not in recipe.help
        assert all(key.help and not key.help.endswith(".") for key in recipe.keys)
        assert recipe.version >= 1


@pytest.fixture(scope="module")
def sweep_bytes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mutated")
    path = sounds.write_recording(folder / "take.wav", rate=8_000, sweep=Sweep(100, 3000, 0.5), delay=400, tail_s=0.3)
    return path.read_bytes()


ANY = [
    {"from": "band_level", "band": [200, 800], "sweep": [100, 3000, 0.5]},
    {"from": "band_level", "band": [200, 800], "input": "impulse"},
    {"from": "decay_time", "sweep": [100, 3000, 0.5]},
    {"from": "decay_time", "octave": 1000, "input": "impulse"},
    {"from": "clarity", "input": "impulse"},
    {"from": "distortion", "band": [200, 800], "order": 2, "sweep": [100, 3000, 0.5]},
    {"from": "resonance_q", "band": [200, 800], "input": "impulse"},
    {"from": "level"},
    {"from": "loudest_level"},
]


@given(data=st.data())
@settings(examples(30), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_mutated_recording_crashes_a_recipe(sweep_bytes, tmp_path, data):
    """Samples overwritten, repeated or cut, at random: a finite value or one sentence."""
    content = bytearray(sweep_bytes)
    for _ in range(data.draw(st.integers(1, 5))):
        place = data.draw(st.integers(44, len(content) - 1))
        length = data.draw(st.integers(1, 6000))
        piece = data.draw(st.sampled_from([b"\0", b"\x7f", b"\x80\x00\x01", b"\x00\x40\x00"]))
        content[place : place + length] = (piece * length)[: len(content[place : place + length])]
    path = tmp_path / "take.wav"
    path.write_bytes(bytes(content))
    try:
        measured = compute(data.draw(st.sampled_from(ANY)), path)
    except FettleError as err:
        assert str(err).endswith(".") and "\n" not in str(err)
    else:
        assert math.isfinite(measured.values[0])
