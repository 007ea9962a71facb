"""What is said to speak against a suggestion is what hardly comes where the suggestion is right."""

import re

import numpy as np
import pandas as pd
import pytest

from doe.advise import recommend
from doe.advise.choose import choose
from doe.advise.predicted import Predicted, worth_expected, would_change
from doe.advise.question import ask
from doe.advise.situation import look
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.rehearse.benches import bench
from doe.rehearse.nature import FAMILIES
from doe.rehearse.strategies import Advised
from doe.rehearse.world import start

FACTORS = (Factor("slots", low=0, high=10, step=1, minutes=10), Factor("wool", low=0, high=4, step=1, minutes=10))
BASS = Outcome("bass", goal="raise", best=8, worst=-8, matters=1.0)
EFFORT = Effort(reading_minutes=5, session_minutes=10)
BUILD, READING = 0.3, 0.6
TOLD = re.compile(r"bass read below (\S+)( on average)?, beyond the 95 % expected, would speak against it")


def log(rng, builds, size):
    """Builds at random settings, each read twice; slots move the bass by so much from end to end."""
    rows = []
    for build in range(builds):
        settings = {factor.name: float(rng.choice(factor.grid())) for factor in FACTORS}
        value = size * settings["slots"] / 10 + BUILD * rng.standard_normal()
        rows += [
            {"variant": str(build), "outcome": "bass", "value": value + READING * rng.standard_normal(), **settings}
            for _ in range(2)
        ]
    return pd.DataFrame(rows)


def test_what_speaks_against_a_change_lies_at_the_end_of_what_its_readings_are_expected_to_be():
    advice = recommend(log(np.random.default_rng(3), 8, 4.0), FACTORS, [BASS], effort=EFFORT, widen={"bass": 1.5})
    told = advice.predictions.iloc[0]
    said = TOLD.search(advice.table["reason"].iloc[0])
    assert float(said[1]) == pytest.approx(told["low"], rel=0.005)  # three digits are told
    assert bool(said[2]) == (told["readings"] > 1)


def test_an_outcome_that_hardly_sways_the_worth_is_not_named_in_place_of_one_whose_scale_ends():
    """Smoke is at the best of its scale already; hum, which hardly counts, has no end."""
    smoke = Outcome("smoke", kind="rated", scale=(1, 7), goal="lower", matters=0.5, weight=50.0)
    hum = Outcome("hum", goal="lower", best=0, worst=200, matters=1.0, weight=0.02)
    rng = np.random.default_rng(5)
    rows = []
    for gap, grade in enumerate((7, 7, 7, 7)):
        rows.append({"variant": str(gap), "outcome": "smoke", "value": grade, "gap": gap})
        rows.append({"variant": str(gap), "outcome": "hum", "value": 5 + rng.standard_normal(), "gap": gap})
    advice = recommend(pd.DataFrame(rows), [Factor("gap", kind="count", low=0, high=9, minutes=5)], [smoke, hum])
    assert "would speak against it" not in advice.summary()


def test_what_is_wanted_relative_to_a_reference_is_spoken_against_by_a_difference_from_it():
    """Graded 1 to 7 and a grade better than the old fan: -1 is no grade, but a difference that can come."""
    whine = Outcome(
        "whine", kind="rated", scale=(1, 7), goal="lower", best=-3, worst=3, matters=0.5, relative_to="old fan"
    )
    rng = np.random.default_rng(4)
    graded = [(str(slots), {"slots": float(slots), "wool": 2.0}, 4.5 - 0.3 * slots) for slots in range(0, 9, 2)]
    rows = [
        {
            "variant": name,
            "outcome": "whine",
            "value": float(np.clip(grade + 0.3 * rng.standard_normal(), 1, 7)),
            **settings,
        }
        for name, settings, grade in [*graded, ("old fan", {}, 4.0)]
        for _ in range(3)
    ]
    advice = recommend(pd.DataFrame(rows), FACTORS, [whine], effort=EFFORT)
    told = advice.predictions.iloc[0]
    said = re.search(r"whine read above (\S+) relative to old fan, beyond", advice.table["reason"].iloc[0])
    assert told["high"] < 0
    assert float(said[1]) == pytest.approx(told["high"], rel=0.05)


@pytest.mark.parametrize(
    ("low", "told"),
    [(0.4, "+0.4 dB relative to shop"), (0.0, "0 dB relative to shop"), (-0.4, "-0.4 dB relative to shop")],
)
def test_the_edge_of_a_difference_is_told_with_its_sign(low, told):
    hum = Outcome("hum", unit="dB", goal="raise", best=3, worst=-3, relative_to="shop")
    one = Predicted(hum, 1.0, low, 2.0, 1.0, 1, 0.1, sway=0.9)
    assert would_change([one]) == f"hum read below {told}, beyond the 95 % expected, would speak against it"


def judged(frame):
    """Look and choose as `recommend` does."""
    question = ask(FACTORS, [BASS], effort=EFFORT)
    rng = np.random.default_rng(1)
    situation = look(question, frame, None, rng)
    return situation, choose(question, situation, rng).choices[0]


def test_what_is_hoped_for_counts_in_choosing_and_not_in_what_is_told(monkeypatch):
    """A log of poor variants, told under the hope that goals are within reach, and under none: of one build, the same."""
    frame = log(np.random.default_rng(3), 3, 2.0).assign(value=lambda rows: rows["value"] - 2)
    _, choice = judged(frame)
    told, hoped = [], choice.moves.worth[:, choice.place].mean()
    for least in (0.9, 0.0):
        monkeypatch.setattr("doe.advise.hope.HOPED_FOR", least)
        situation, _ = judged(frame)
        told.append(worth_expected(situation, choice))
    assert told[0] == pytest.approx(told[1])
    assert told[0][0] < hoped - 0.05


@pytest.mark.slow
def test_early_builds_come_out_as_good_as_told():
    """The first three builds of 48 benches: with the hope in it, what was told of those meant to improve was 0.14 too high."""
    away = []
    for seed in range(600, 608):
        for family in FAMILIES:
            world, strategy = start(bench(family, seed)), Advised()
            while len(world.variants) < 4 and world.minutes < 1000:
                moves = strategy.step(world, 20.0).moves
                told = strategy.last.table.iloc[0]
                is_new = told["kind"] != "repeat" and world.rows
                variant = world.do(moves)[0]
                if is_new:
                    away.append(told["worth_expected"] - world.worth_of(variant))
    assert len(away) >= 60
    assert abs(np.mean(away)) <= 0.05  # standard error 0.03; 0.09 before, all builds together


@pytest.mark.slow
def test_readings_seldom_speak_against_a_change_that_does_what_was_predicted():
    """Of 80 logs, 6 to 12 builds: a quarter of readings and more did while the edge was that of the mean alone."""
    beyond = []
    for seed in range(80):
        rng = np.random.default_rng([seed, 71])
        advice = recommend(log(rng, 6 + seed % 7, 4.0), FACTORS, [BASS], effort=EFFORT)
        row, told = advice.table.iloc[0], advice.predictions.iloc[0]
        said = TOLD.search(row["reason"])
        if row["kind"] != "repeat" and said:
            value = 4.0 * row["slots"] / 10 + BUILD * rng.standard_normal()
            value += READING / np.sqrt(told["readings"]) * rng.standard_normal()
            beyond.append(value < float(said[1]))
    assert len(beyond) >= 50
    assert np.mean(beyond) <= 0.08
