"""`fettle next` where something is missing or contradicts itself: a sentence, and what to do about it."""

import pytest

SETUP = """
title = "Radio"
[effort]
new_unit_minutes = 60
session_minutes = 15
reading_minutes = 6
[[factor]]
name = "vents"
kind = "count"
low = 0
high = 4
way = "down"
minutes = 5
[[factor]]
name = "wool"
low = 0
high = 60
step = 10
minutes = 8
[[outcome]]
name = "bass"
unit = "dB"
goal = "hit"
target = 0
worst = 6
[[outcome]]
name = "echo"
kind = "rated"
scale = [1, 7]
goal = "lower"
best = 1
worst = 7
"""
FIRST = ["log", "vents=1", "wool=20", "--new-unit", "body A"]


@pytest.fixture
def started(tmp_path, fettle):
    """A project with definitions and nothing else, and a way to add to it."""
    (tmp_path / "setup.toml").write_text(SETUP, encoding="utf-8")
    assert fettle("init", "radio", "--setup", "setup.toml").code == 0

    def add(*commands):
        for words in commands:
            assert fettle(*words).code == 0, words

    return add


@pytest.fixture
def told(fettle):
    """Ask for the next change, and return what is told of it, or why there is none."""

    def ask(*words, code=0):
        done = fettle("next", *words)
        assert done.code == code, done
        return done.out if code == 0 else done.err

    return ask


@pytest.mark.usefixtures("started")
def test_without_a_unit_everything_is_built_new_and_that_is_said(told):
    out = told()
    assert "1. learn: Build a new unit with vents " in out
    assert "There is no unit on record, so everything is built new; record the units that exist." in out
    err = told("--unit", "body A", code=2)
    assert err.startswith("There is no unit 'body A'; none is on record yet.\n")


def test_without_readings_first_builds_are_called_exploration(started, told):
    started(FIRST)
    out = told("--count", "2")
    assert out.startswith("To explore with first: ")
    assert out.count("There are no readings to go by yet, so this is exploration: ") == 2
    assert "these are first builds to explore with, not expected improvements" in out
    assert "improve:" not in out


def test_a_unit_from_which_nothing_is_allowed_is_told_with_what_to_do(started, told):
    """Vents only go down from 1, and the limit wants 3."""
    started(FIRST, ["limit", "add", "vents >= 3"])
    out = told("--unit", "body A")
    assert out.startswith("Nothing is within reach.\n")
    assert (
        "Stop: no variant that keeps the limits is within reach of unit body A; allow other units, or loosen a limit; "
        "no variant has been read yet.\n"
    ) in out
    assert "Build a new unit" in told()


@pytest.fixture
def limited(started, monkeypatch):
    """Store limits as older versions did, which never asked whether anything keeps them."""

    def add(*rules):
        with monkeypatch.context() as older:
            older.setattr("doe.model.possible._is_empty", lambda *asked: False)
            started(*(["limit", "add", rule] for rule in rules))

    return add


def test_limits_that_contradict_each_other_are_named(limited, told):
    """The pair, not the one that has nothing to do with it."""
    limited("vents >= 1", "wool >= 40", "wool + vents <= 20")
    assert told(code=1) == (
        "No settings keep both limits 'wool >= 40' and 'wool + vents <= 20'; loosen or remove one of them.\n"
    )


def test_a_limit_that_nothing_keeps_is_named(limited, told):
    limited("wool > 60")
    assert told(code=1) == ("No settings keep the limit 'wool > 60' within the factors' ranges; loosen it.\n")


def test_with_ratings_of_one_variant_the_advice_knows_its_place(started, told):
    rated = [["read", "1", f"echo={grade}", "--rater", rater] for grade, rater in ((5, "Ann"), (4, "Bo"))]
    started(FIRST, *rated)
    out = told()
    assert (
        "Only one variant has been read, so nothing is known yet about any factor; a second one begins to tell." in out
    )
    assert "bass has no reading of a variant yet, so this advice goes by echo alone." in out


def test_an_outcome_without_a_goal_takes_no_part_and_is_named(started, told):
    none = ["--goal", "none", "--worst", "none"]
    started(FIRST, ["read", "1", "bass=3"], ["outcome", "change", "bass", *none, "--target", "none"])
    assert (
        "bass has no goal, so it takes no part in this advice; a goal of raise, lower, hit or within sets one."
        in told()
    )
    started(["outcome", "change", "echo", *none, "--best", "none"])
    assert told(code=2).startswith(
        "No outcome has a goal (bass, echo), so no variant can be called better than another; "
        "set a goal of raise, lower, hit or within on one of them.\n"
    )


def test_hours_too_few_for_any_move_are_told_with_the_cheapest(started, told):
    """A session of 15 min and a round of readings of 6: 21 min, against 18; a vent takes 5 more."""
    started(FIRST, ["read", "1", "bass=3"])
    out = told("--hours", "0.3")
    assert out.startswith("No move fits the hours left.\n\nStop: 18 min left, and the cheapest move takes 21 min; ")
    assert "keep variant 1" in out
    assert "first builds" not in out
    assert told("--hours", "0", code=2).startswith("hours is 0; it must be a number above 0.\n")


def test_a_project_without_factors_or_outcomes_says_what_to_define(fettle, told):
    fettle("init", "--title", "Fan")
    assert told(code=2).startswith(
        "There are no factors yet; define what can be changed first; 'fettle factor add' does that.\n"
    )
    fettle("factor", "add", "gap", "--low", "1", "--high", "4")
    assert told(code=2).startswith("No outcome has a goal (none defined), so no variant can be called better")
