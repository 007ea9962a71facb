"""Recordings through the page: measured and kept as by the command, and refused with nothing stored."""

import io
import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest
import soundfile

from doe.model.outcome import Outcome
from doe.project import Project
from doe.signals.recipes import RECIPES
from doe.store import ProjectFile
from tests.cli.test_measure import curve_text

RECIPE = {"from": "band_level", "band": [40.0, 150.0], "relative_to": [300.0, 1000.0]}


def curve(bass, seed=0):
    """A response curve as it is sent."""
    return curve_text(bass, seed).encode()


@pytest.fixture
def measuring(project):
    """The rig with a recipe for bass."""
    bass = next(item for item in project.setup.outcomes if item.name == "bass")
    project.file.change_setup("outcome", replace(bass, recipe=RECIPE), name="bass")
    return project


def sent(visitor, *takes, **typed):
    """Send takes, each a name with its content."""
    page = visitor.get("/variants/1/recordings")
    return visitor.send(page, "/recordings", files=[("takes", take) for take in takes], **typed)


def test_each_take_becomes_a_reading_and_one_button_takes_all_back(visitor, measuring):
    before = measuring.file.fingerprint()
    page = sent(visitor, ("a1.txt", curve(-4.0, 1)), ("a1.txt", curve(-3.5, 2)), session="Tuesday", rater="mic")
    assert page.status == 200
    stored = measuring.readings()[-2:]
    assert [round(value, 2) for value in stored["value"]] == [-4.0, -3.5]
    assert set(stored["rater"]) == {"mic"}
    assert len(measuring.file.attachments()) == 2
    shown = re.findall(r"bass</bdi> (?:<bdi>)?(-[34][\d.]*)", page.html) or re.findall(r"-[34]\.\d+", page.text)
    assert shown
    assert max(map(len, shown)) < 10  # no more digits than anybody reads; the correction has them all
    visitor.send(page, "/undo")
    assert measuring.file.fingerprint() == before


def test_what_a_file_gives_is_listed_as_a_person_would(visitor, measuring):
    for name in ("low_bass", "high_bass"):
        measuring.file.change_setup("outcome", Outcome(name, unit="dB", recipe=RECIPE))
    page = visitor.get("/variants/1/recordings")
    assert "Each file gives a reading of bass, low bass and high bass, and is kept with the project." in page.text


@pytest.mark.parametrize(
    ("takes", "sentence"),
    [
        ([], "No recording was chosen"),
        ([("a.txt", b"")], "a.txt"),
        ([("a.wav", b"MZ" + bytes(4000))], "a.wav"),
        ([("../../a.txt", b"no curve")], "a.txt"),
        ([("a.txt", curve(-4.0)), ("b.txt", curve(-4.0))], "a.txt and b.txt hold the same bytes"),
        ([("good.txt", curve(-4.0)), ("bad.txt", b"<script>alert(1)</script>")], "bad.txt"),
    ],
)
def test_what_cannot_be_measured_comes_back_with_a_sentence(visitor, measuring, takes, sentence):
    before = measuring.file.fingerprint()
    page = sent(visitor, *takes, note="on the stand")
    assert page.status == 422
    assert "in-takes-error" in page.ids
    assert sentence in page.text
    assert ("Choose the recordings again: files are not kept" in page.text) == bool(takes)
    assert "fettle-" not in page.text, "where a file lay for a moment is nobody's business"
    assert "<script>alert" not in page.html
    assert dict(page.form("/recordings")["fields"])["note"] == "on the stand"
    assert measuring.file.fingerprint() == before


def test_a_take_counts_once(visitor, measuring):
    assert sent(visitor, ("a.txt", curve(-4.0))).status == 200
    again = sent(visitor, ("other name.txt", curve(-4.0)))
    assert again.status == 422
    assert len(measuring.file.attachments()) == 1


def test_what_stands_against_a_value_is_said_where_it_is_stored(visitor, project):
    """Warnings and notes stand nowhere in the project, so the page has to tell them as the command does."""
    loud = Outcome("loudness", unit="dB", recipe={"from": "level"})
    project.file.change_setup("outcome", loud)
    take = io.BytesIO()
    rng = np.random.default_rng(0)
    soundfile.write(take, 0.1 * rng.standard_normal((4800, 2)), 48_000, format="WAV", subtype="PCM_24")
    page = sent(visitor, ("take.wav", take.getvalue()))
    two = "take.wav has 2 channels; channel 1 was used, since none is set."
    raw = "No calibration: levels are relative to full scale, and compare only while the recording gain stays as it is."
    assert f'<strong class="problem">{two}</strong>' in page.html
    assert f"Stored: Measured loudness of variant 1 from 1 take. {raw}" in page.text
    assert two not in visitor.get("/variants/1").text
    project.file.change_setup("outcome", replace(loud, recipe={"from": "level", "weighting": "C"}), name="loudness")
    again = visitor.send(visitor.get("/recipes"), "/recipes/again")
    assert two in again.text and raw in again.text


def test_a_form_sent_twice_is_measured_once(visitor, measuring):
    page = visitor.get("/variants/1/recordings")
    for _ in range(2):
        assert visitor.send(page, "/recordings", files=[("takes", ("a.txt", curve(-4.0)))]).status == 200
    assert len(measuring.file.attachments()) == 1


def test_without_a_recipe_the_page_says_how_to_give_one(visitor):
    page = visitor.get("/variants/1/recordings")
    assert "No outcome of this project is computed from files yet" in page.text
    assert "Measure and keep them" not in page.text
    for address in ("/variants/1/readings", "/help/measuring"):
        assert f'href="{address}"' in page.html
        assert visitor.get(address).status == 200


KEYS = "band = 40, 150\nrelative_to=[300, 1000]"


def given_recipe(visitor, name="bass", keys=KEYS, files=None, **typed):
    """Give an outcome a recipe, as its form takes it."""
    page = visitor.get(f"/setup/outcome?name={name}")
    return visitor.send(page, "/outcome", files=files, **{"from": "band_level", "keys": keys, **typed})


def test_a_recipe_is_given_where_it_is_missed(visitor, project):
    """From the page that has nothing to measure, through the form of an outcome, back to one that measures."""
    page = visitor.get("/variants/1/recordings")
    assert '<a href="/setup/outcome?name=bass">Compute bass from recordings</a>' in page.html
    page = given_recipe(visitor)
    assert page.status == 200
    assert "computed from recordings by band_level" in page.text
    bass = next(item for item in project.setup.outcomes if item.name == "bass")
    assert bass.recipe == RECIPE
    assert sent(visitor, ("a1.txt", curve(-4.0, 1))).status == 200
    again = visitor.send(visitor.get("/setup/outcome?name=bass"), "/outcome")
    assert "Nothing was changed, so nothing is stored." in again.text


def test_a_recipe_is_taken_away_by_its_form(visitor, measuring):
    page = visitor.send(visitor.get("/setup/outcome?name=bass"), "/outcome", **{"from": "", "keys": ""})
    assert page.status == 200
    assert next(item for item in measuring.setup.outcomes if item.name == "bass").recipe == {}


@pytest.mark.parametrize(
    ("name", "typed", "field", "sentence"),
    [
        ("bass", {"keys": ""}, "keys", "Recipe 'band_level' has no band: the band in Hz, such as [40, 150]."),
        (
            "bass",
            {"keys": "band 40 150"},
            "keys",
            "'band 40 150' is no key with its value; write it like band = 40, 150.",
        ),
        ("bass", {"keys": "band = 40, 150\nband = 50, 90"}, "keys", "band stands twice; keep one of the lines."),
        (
            "bass",
            {"keys": "band = 150, 40"},
            "keys",
            "Recipe 'band_level': band is 150 to 40 Hz; it must rise from above 0.",
        ),
        ("bass", {"keys": "bend = 40, 150"}, "keys", "Recipe 'band_level' has an unknown key 'bend'"),
        ("bass", {"from": ""}, "keys", "There are keys but no recipe; choose one above, or empty this."),
        ("bass", {"from": "bandlevel"}, "from", "from is 'bandlevel'; a recipe is one of band_level, "),
        ("echo", {}, "from", "Outcome echo is rated; only measured outcomes are computed from files."),
    ],
)
def test_a_recipe_that_cannot_be_used_is_told_at_its_field(visitor, project, name, typed, field, sentence):
    before = project.file.fingerprint()
    page = given_recipe(visitor, name, **typed)
    assert page.status == 422
    told = dict(re.findall(r'id="in-(from|keys)-error">([^<]*)<', page.html))
    assert list(told) == [field]
    assert unescape(told[field]).startswith(sentence)
    assert project.file.fingerprint() == before


def test_a_changed_recipe_computes_again_from_what_is_kept(visitor, measuring):
    sent(visitor, ("a1.txt", curve(-4.0, 1)))
    page = visitor.send(visitor.get("/recipes"), "/again")
    assert page.status == 422
    assert "Every reading is computed as its outcome says by now, so nothing is stored." in page.text
    page = given_recipe(visitor, keys="band = 300, 1000")  # 4 dB above the bass of this curve
    assert "bass by band_level, 1 reading so far" in page.text
    page = visitor.send(page, "/again")
    assert page.status == 200
    assert "Recomputed" in page.text
    now = measuring.readings()["value"].iloc[-1]
    assert now == pytest.approx(0.0, abs=0.3)
    visitor.send(page, "/undo")
    assert round(measuring.readings()["value"].iloc[-1], 2) == -4.0


MICROPHONE = b"20 0\n200 0\n201 3\n20000 3\n"  # 3 dB too loud above 200 Hz
WITH_MICROPHONE = f"{KEYS}\nmicrophone = mic.txt"


def kept_files(project):
    return [(row["filename"], row["note"]) for row in project.file.attachments() if row["variant"] is None]


def test_a_file_that_a_key_names_is_given_with_the_recipe_and_used(visitor, measuring):
    """By hand: the bass stands 4 dB below the band above, of which 3 dB are the microphone's, so 1 dB are left."""
    assert sent(visitor, ("a1.txt", curve(-4.0, 1))).status == 200
    before = measuring.file.fingerprint()
    page = given_recipe(visitor, keys=WITH_MICROPHONE, files=[("recipe_files", ("mics/mic.txt", MICROPHONE))])
    assert page.status == 200
    assert "kept mic.txt for its recipe" in page.text
    assert kept_files(measuring) == [("mic.txt", "for a recipe")]
    assert "bass by band_level, 1 reading so far" in page.text  # and the way to compute it again
    assert visitor.send(page, "/again").status == 200
    assert measuring.readings()["value"].iloc[-1] == pytest.approx(-1.0, abs=0.3)
    assert sent(visitor, ("a2.txt", curve(-5.0, 2))).status == 200
    assert measuring.readings()["value"].iloc[-1] == pytest.approx(-2.0, abs=0.3)
    for entry in list(reversed(measuring.file.history()))[:3]:
        measuring.file.take_back(entry.id)
    assert measuring.file.fingerprint() == before
    assert kept_files(measuring) == []


def test_a_newer_file_of_the_same_name_counts_and_taking_it_back_brings_the_older_one(visitor, measuring):
    files = [("recipe_files", ("mic.txt", MICROPHONE))]
    given_recipe(visitor, keys=WITH_MICROPHONE, files=files)
    again = given_recipe(visitor, keys=WITH_MICROPHONE, files=files)
    assert (again.status, "Nothing was changed, so nothing is stored." in again.text) == (422, True)
    flat = MICROPHONE.replace(b" 3\n", b" 0\n")
    page = given_recipe(visitor, keys=WITH_MICROPHONE, files=[("recipe_files", ("mic.txt", flat))])
    assert page.status == 200
    sent(visitor, ("a1.txt", curve(-4.0, 1)))
    assert measuring.readings()["value"].iloc[-1] == pytest.approx(-4.0, abs=0.3)
    measuring.file.take_back(measuring.file.history()[-1].id)
    visitor.send(page, "/undo")
    sent(visitor, ("a1.txt", curve(-4.0, 1)))
    assert measuring.readings()["value"].iloc[-1] == pytest.approx(-1.0, abs=0.3)


def test_an_export_and_a_backup_carry_the_files_of_recipes(visitor, measuring, tmp_path):
    given_recipe(visitor, keys=WITH_MICROPHONE, files=[("recipe_files", ("mic.txt", MICROPHONE))])
    take = tmp_path / "a1.txt"
    take.write_bytes(curve(-4.0, 1))
    (tmp_path / "elsewhere").mkdir()
    copy = measuring.file.backup(tmp_path / "elsewhere" / "copy.duckdb")
    out = measuring.file.export(tmp_path / "out")
    restored = ProjectFile.restore(tmp_path / "elsewhere" / "again.duckdb", out).path
    for path in (copy, restored):
        done = Project.open(path).measure("1", [take], dry_run=True)
        assert done.measured[0].measured.values[0] == pytest.approx(-1.0, abs=0.3)


@pytest.mark.parametrize(
    ("typed", "files", "sentence"),
    [
        ({"keys": KEYS}, [("mic.txt", MICROPHONE)], "'mic.txt' is named by no key; write it to the key that it is for: "
         "microphone = mic.txt or calibrator = mic.txt."),
        ({"keys": WITH_MICROPHONE}, [("mic.txt", b"")], "'mic.txt' is empty; choose the file that microphone is to be."),
        ({"keys": WITH_MICROPHONE}, [("mic.txt", b"<html>")], "mic.txt "),
        ({"keys": WITH_MICROPHONE}, [("mic.txt", b"RIFF\0\0\0\0WAVE")], "mic.txt "),
        ({"keys": WITH_MICROPHONE}, [("mic.txt", MICROPHONE), ("x/mic.txt", MICROPHONE)], "'mic.txt' is given twice"),
        ({"keys": WITH_MICROPHONE}, [("..", MICROPHONE)], "File name '..' must be that of a file"),
        ({"keys": f"{KEYS}\ncalibrator = tone.wav"}, [("tone.wav", MICROPHONE)],
         "'tone.wav' is no sound as WAV, FLAC or AIFF, which calibrator must be."),
        ({"from": "", "keys": ""}, [("mic.txt", MICROPHONE)], "'mic.txt' belongs to no recipe; choose one"),
        ({"from": "tap_pitch", "keys": ""}, [("mic.txt", MICROPHONE)], ""),
    ],
)  # fmt: skip
def test_a_file_that_no_recipe_could_use_is_refused_at_its_field(visitor, measuring, typed, files, sentence):
    before = measuring.file.fingerprint()
    page = given_recipe(visitor, files=[("recipe_files", one) for one in files], **typed)
    assert page.status == 422
    if sentence:
        (told,) = re.findall(r'id="in-recipe_files-error">([^<]*)<', page.html)
        assert unescape(told).startswith(sentence)
    assert "Choose the files again: they are not kept when something is refused." in page.text
    assert measuring.file.fingerprint() == before
    assert not list(measuring.file.files_folder.glob("*"))


def test_a_file_beside_the_project_counts_first_so_another_of_its_name_is_refused(visitor, measuring):
    (measuring.path.parent / "mic.txt").write_bytes(MICROPHONE.replace(b"3", b"4"))
    page = given_recipe(visitor, keys=WITH_MICROPHONE, files=[("recipe_files", ("mic.txt", MICROPHONE))])
    assert page.status == 422
    assert (
        "Another 'mic.txt' lies beside the project, and that one would count; give this file a name of its own."
        in page.text
    )


def test_another_unit_than_the_recipes_is_said_in_the_set_up(visitor, project):
    page = given_recipe(visitor, unit="mm")
    assert "Bass is in mm, but its recipe gives dB; put one of them right." in page.text


def test_every_recipe_is_listed_with_its_keys(visitor):
    page = visitor.get("/recipes")
    for recipe in RECIPES.values():
        assert f"<summary>{recipe.name.replace('_', ' ')}</summary>" in page.html
    assert "the band in Hz, such as [40, 150]; it is needed" in page.text
    assert "which part of the decay; T20 if left out" in page.text
    assert "level of a whole recording, weighted. Its values are in dB." in page.text
    assert "in dB. Its values" not in page.text  # where that is said already
    assert "/recipes" in visitor.get("/setup/outcome").html


def test_nobody_is_asked_to_play_loud(visitor, measuring):
    assert "Start playback quiet" in visitor.get("/variants/1/recordings").text


def test_a_variant_that_is_not_there_has_no_page(visitor, measuring):
    page = visitor.get("/variants/99/recordings")
    assert page.status == 404
    assert "There is no variant '99'; there are 1, 2 and 3." in page.text
    assert "What was withdrawn stands in the history." in page.text
