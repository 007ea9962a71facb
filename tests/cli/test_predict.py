"""`fettle predict`, on the log of the invented radio."""

import json

import pytest

from doe.guides.demos import demo_folder
from doe.project import Project


def test_it_says_what_the_analyses_predict_and_what_it_takes(radio, fettle):
    """Rings need a new unit and vents only go up, so units of 9 rings and at most 4 vents can get there, and a new one."""
    told = json.loads(fettle("predict", "wool=20", "rings=9", "--start", "21", "--json").out)
    before = next(item.settings for item in radio.snapshot().variants if item.name == "21")
    assert told["settings"] == {**before, "wool": 20.0, "rings": 9}
    for row in told["outcomes"]:
        effects = radio.analyse(row["outcome"])
        (there,) = effects.predict(told["settings"]).to_dict("records")
        (now,) = effects.predict(before).to_dict("records")
        assert row == {"outcome": row["outcome"], **there, "now": now}
    units = radio.snapshot().units
    can = [unit.name for unit in units if unit.settings["rings"] == 9 and unit.settings["vents"] <= 4]
    assert {way["unit"] for way in told["ways"]} == {*can, "new"}
    assert [way["minutes"] for way in told["ways"]] == sorted(way["minutes"] for way in told["ways"])


def test_it_is_told_in_words_with_limits_that_break(radio, fettle):
    done = fettle("predict", "wool=60", "--start", "21")
    assert done.out.startswith("Variant 21 with wool 60 %.\n")
    assert "\nA new unit: " in done.out
    assert done.out.endswith(
        "Note: These settings break the limit 'inner_air >= 180' (the driver's magnet needs the room): inner_air = 168.\n"
    )
    assert done.out == radio.predict({"wool": 60}, start="21").summary()
    assert fettle("predict", "--start", "21").out.startswith("Variant 21 as it is.\n")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["fog=1"], "'fog' is no factor of this project"),
        (["wool=200", "--start", "21"], "wool is 200; it must be a number from 0 to 60"),
        (["wool=20", "--start", "99"], "There is no variant '99'"),
    ],
)
def test_what_cannot_be_predicted_is_said(radio, fettle, words, said):
    done = fettle("predict", *words)
    assert (done.code > 0, done.out) == (True, "")
    assert said in done.err


def test_an_outcome_that_cannot_be_analysed_is_left_out(fettle, rig):
    """Of the rig one variant was read in each outcome; the effort is told all the same."""
    done = fettle("predict", "wool=20", "--start", "2")
    assert done.code == 0
    assert "A new unit: " in done.out
    assert "is left out: " in done.out


def test_without_a_best_variant_it_asks_for_a_start(fettle, tmp_path):
    Project.create(tmp_path / "bare.duckdb", demo_folder("radio") / "setup.toml")
    said = "No variant is known to be the best yet; --start VARIANT names one to start from.\n"
    assert fettle("predict", "wool=20").err == said
