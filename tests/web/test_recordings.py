"""Recordings through the page: measured and kept as by the command, and refused with nothing stored."""

from dataclasses import replace

import pytest

from doe.cli.main import main
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
    visitor.send(page, "/undo")
    assert measuring.file.fingerprint() == before


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


@pytest.mark.parametrize(
    ("change", "command"),
    [
        ({}, "fettle outcome change bass --from band_level --with band=40,150"),
        ({"name": "hum"}, "fettle outcome change hum --from band_level --with band=40,150"),
        ({"unit": "mm", "name": "gap"}, "fettle outcome add bass --unit dB --from band_level --with band=40,150"),
        ({"unit": "mm"}, "fettle outcome add bass_level --unit dB --from band_level --with band=40,150"),
    ],
)
def test_the_command_that_is_told_works_in_this_project(visitor, project, change, command, monkeypatch):
    """An outcome that exists gets the recipe if it is in dB; else a new one is made under a name that is free."""
    bass = next(item for item in project.setup.outcomes if item.name == "bass")
    project.file.change_setup("outcome", replace(bass, **change), name="bass")
    assert f"with '{command}'." in visitor.get("/variants/1/recordings").text
    monkeypatch.chdir(project.path.parent)
    assert main(command.split()[1:]) == 0
    assert "Measure and keep them" in visitor.get("/variants/1/recordings").text


def test_nobody_is_asked_to_play_loud(visitor, measuring):
    assert "Start playback quiet" in visitor.get("/variants/1/recordings").text


def test_a_variant_that_is_not_there_has_no_page(visitor, measuring):
    page = visitor.get("/variants/99/recordings")
    assert page.status == 404
    assert "There is no variant '99'; there are 1, 2 and 3." in page.text
    assert "What was withdrawn stands in the history." in page.text
