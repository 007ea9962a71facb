"""What is drawn of takes is what the recipes read from them."""

import shutil

import numpy as np
import pytest
import soundfile

from doe.charts import figure
from doe.measuring import measure
from doe.measuring.pictures import picture
from doe.model.errors import DataError, UsageError
from doe.model.outcome import Outcome
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.signals.sweep import Sweep
from doe.store import ProjectFile
from doe.store.attachments import TAKE
from tests.refusing import refused
from tests.signals import sounds

GRID = np.geomspace(20, 20_000, 400)
BAND = {"from": "band_level", "band": [100, 5000], "smoothing": 0}
LIKE = {"from": "deviation", "band": [100, 5000], "reference_variant": "2", "smoothing": 0}
FALL = {"from": "decay_time", "input": "impulse", "octave": 500}


def project(folder, *variants, **recipes):
    """A project of outcomes with these recipes, beside one that has none."""
    outcomes = [Outcome("mass"), *(Outcome(name, recipe=recipe) for name, recipe in recipes.items())]
    made = ProjectFile.create(folder / "p.duckdb", Setup(outcomes=outcomes))
    for name in variants:
        made.add_variant(Variant(name))
    return made


def curve(folder, name, level):
    path = folder / name
    path.write_text("\n".join(f"{f:.8g} {level:.8g}" for f in GRID), encoding="utf-8")
    return path


def test_kept_takes_of_a_variant_are_averaged_as_power(desk):
    """Flat curves at 0 and -6 dB: their mean is 10 log((1 + 10^-0.6) / 2) everywhere."""
    file = project(desk, "1", bass=BAND)
    measure(file, "1", [curve(desk, "a.txt", 0.0), curve(desk, "b.txt", -6.0)])
    made = picture(file, [curve(desk, "c.txt", 3.0)], ["1"])
    assert [response.name for response in made.result] == ["c", "variant 1"]
    assert made.result[0].level == pytest.approx(3.0, abs=1e-6)
    assert made.result[1].level == pytest.approx(10 * np.log10((1 + 10**-0.6) / 2), abs=1e-6)
    assert figure(made.result, **made.options).layout.meta["title"] == "Frequency response of c and variant 1"


def test_a_reference_is_drawn_with_the_difference_from_it(desk):
    """A rough slope of 3 dB an octave against a flat reference, smoothed no more than its recipe says: not at all.

    The difference told is the one that is read, and the reference is not drawn twice.
    """
    file = project(desk, "1", "2", like=LIKE)
    measure(file, "2", [curve(desk, "s.txt", -2.0)])
    path = desk / "a.txt"
    rough = 3.0 * np.log2(GRID / 1000) + 2.0 * (-1.0) ** np.arange(len(GRID))
    path.write_text("\n".join(f"{f:.8g} {v:.8g}" for f, v in zip(GRID, rough, strict=True)), encoding="utf-8")
    measure(file, "1", [path])
    made = picture(file, variants=["1", "2"])
    assert [response.name for response in made.result] == ["variant 1"]
    assert made.options["reference"].name == "variant 2"
    (found,) = file.computations()
    assert made.options["differences"]["variant 1"].rms_db == pytest.approx(found["value"], abs=1e-9)
    assert "levels matched: variant 1 by" in figure(made.result, **made.options).layout.meta["title"]


def test_curves_of_one_name_are_told_apart(desk):
    """Two files of one name, called as the reference is: one differs from it by nothing, one by 3 dB an octave.

    Of the reference one take counts: it is kept once, and neither a photo nor a file that is gone is another.
    """
    file = project(desk, "shop", like=LIKE | {"reference_variant": "SHOP"})
    same = curve(desk, "shop.txt", -2.0)
    measure(file, "shop", [same])
    with refused(DataError, "shop.txt is kept of variant shop already; each take counts once."):
        measure(file, "shop", same)
    file.attach("shop", "photo.jpg", b"no take")
    file.attach("shop", "gone.txt", b"20 30\n20000 30\n", TAKE)
    file.attachments()[-1]["path"].unlink()
    slope = desk / "other" / "shop.txt"
    slope.parent.mkdir()
    slope.write_text("\n".join(f"{f:.8g} {3 * np.log2(f / 1000):.8g}" for f in GRID), encoding="utf-8")
    made = picture(file, [same, slope], ["shop", "Shop"])
    assert [response.name for response in made.result] == ["shop, take 1", "shop, take 2"]
    flat, sloped = (found.rms_db for found in made.options["differences"].values())
    assert flat == pytest.approx(0, abs=1e-6)
    assert sloped == pytest.approx(3 * np.log2(50) / np.sqrt(12), rel=1e-3)  # of a straight line over a band


def test_a_short_sweep_is_drawn_as_far_as_it_went(desk):
    """It is read as the recipe says, also where that is for another figure; no octave lies within it."""
    path = sounds.write_recording(desk / "take.wav", rate=8000, sweep=Sweep(550, 900, 1.0), tail_s=0.5)
    file = project(desk, fall={"from": "decay_time", "sweep": [550, 900, 1.0]})
    (response,) = picture(file, [path]).result
    assert (response.frequency[0], response.frequency[-1]) == pytest.approx((550, 900), rel=0.01)
    (fall,) = picture(file, [path], what="decay").result
    assert fall.label == "all frequencies"


def test_without_a_recipe_a_curve_is_drawn_as_it_is(desk):
    made = picture(project(desk), [curve(desk, "a.txt", 1.5)])
    assert made.result[0].level == pytest.approx(1.5, abs=1e-6)


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """An impulse response that decays by 60 dB in 0.4 s."""
    path = tmp_path_factory.mktemp("sound") / "body.wav"
    samples = sounds.decay(0.4, -60, carrier="noise")
    soundfile.write(path, 0.2 * samples / np.abs(samples).max(), sounds.RATE, subtype="PCM_24")
    return path


@pytest.fixture
def body(desk, sound):
    """A project whose recipe reads impulse responses, and one of them."""
    return project(desk, fall=FALL), shutil.copy(sound, desk / "body.wav")


def test_one_take_is_drawn_by_octave(body):
    file, path = body
    made = picture(file, [path], what="decay")
    assert [decay.label for decay in made.result] == [
        f"{hz} Hz" for hz in (125, 250, 500, 1000, 2000, 4000, 8000)
    ]  # fmt: skip
    assert made.result[3].t20_s == pytest.approx(0.4, rel=0.1)
    assert figure(made.result).layout.meta["kind"] == "decay"


def test_several_takes_are_drawn_each_by_itself(body):
    """In the octave in which the recipe reads them: 60 dB take as long as is measured."""
    file, path = body
    file.add_variant(Variant("1"))
    measure(file, "1", [path])
    other = path.with_name("other.wav")
    samples, rate = soundfile.read(path)
    soundfile.write(other, 0.5 * samples, rate, subtype="PCM_24")
    measure(file, "1", [other])
    made = picture(file, [path], ["1"], what="decay")
    assert [decay.name for decay in made.result] == ["body", "variant 1, take 1", "variant 1, take 2"]
    assert {decay.label for decay in made.result} == {"500 Hz"}
    assert [decay.t20_s for decay in made.result[1:]] == [row["value"] for row in file.computations()]


def test_a_waterfall_shows_one_take(body):
    file, path = body
    made = picture(file, [path], what="waterfall")
    assert figure(made.result).layout.meta["kind"] == "waterfall"
    other = path.with_name("other.wav")
    other.write_bytes(path.read_bytes()[:-3])
    with refused(UsageError, "A waterfall shows one take; 2 were given."):
        picture(file, [path, other], what="waterfall")


def test_what_cannot_be_drawn_is_named(body, desk):
    file, _ = body
    file.add_variant(Variant("2"))
    with refused(DataError, "Variant 2 has no kept takes; measure it first."):
        picture(file, variants=["2"])
    with refused(DataError, "'fell' is no outcome of this project; there are mass and fall. Did you mean 'fall'?"):
        picture(file, outcomes=["fell"])
    with refused(UsageError, "There is nothing to draw; give files, or variants with kept takes."):
        picture(file)
    with refused(DataError, "a.txt is not a recording; it must be a WAV, FLAC or AIFF recording."):
        picture(file, [curve(desk, "a.txt", 0.0)], what="decay")
