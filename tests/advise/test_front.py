from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from doe.advise import front, recommend
from doe.advise.front import front_frame, undominated
from doe.advise.question import ask
from doe.advise.situation import look
from doe.advise.standing import ROOM, ROOM_FOR_DESIGNS
from doe.advise.trade_off import kept_sentence
from doe.advise.worth import worth_that_matters
from doe.model.outcome import Outcome
from tests.advise.test_recommend import BASE, readings_of


def pulled_apart(settings):
    """More wool raises bass to its target and worsens echo."""
    return -4 + settings["wool"] / 15, 2 + settings["wool"] / 20


def test_the_front_of_a_small_table_is_the_one_drawn_by_hand():
    scores = np.array([[1.0, 0.2], [0.5, 0.5], [0.4, 0.4], [0.2, 1.0], [0.5, 0.1]])
    assert undominated(scores).tolist() == [True, True, False, True, False]


def test_equal_variants_share_the_front():
    assert undominated(np.array([[0.5, 0.5], [0.5, 0.5]])).all()


@given(arrays(float, (7, 3), elements=st.sampled_from([0.0, 0.25, 0.5, 0.75, 1.0])))
def test_whatever_is_off_the_front_is_beaten_by_something_on_it(scores):
    on = undominated(scores)
    assert on.any()
    for row in scores[~on]:
        assert any((other >= row).all() and (other > row).any() for other in scores[on])


def test_many_worlds_are_judged_as_one_by_one():
    worlds = np.random.default_rng(1).random((5, 8, 2))
    np.testing.assert_array_equal(undominated(worlds), [undominated(world) for world in worlds])


def test_two_outcomes_that_pull_apart_make_a_front_with_uncertainty(factors, outcomes, effort):
    """More wool raises bass to its target and worsens echo: no single wool is best in both, so the front has several."""
    variants = [{**BASE, "wool": float(wool)} for wool in (0, 10, 20, 30, 40, 50, 60, 5, 25, 45)]
    rng = np.random.default_rng(3)
    frame = readings_of(variants, pulled_apart, outcomes, rng)
    found = recommend(frame, factors, outcomes, effort=effort).front
    assert len(found) >= 3
    assert found["mean worth"].is_monotonic_decreasing
    assert found["chance on front"].between(0, 1).all()
    assert (found["bass low"] <= found["bass"]).all()
    assert (found["bass"] <= found["bass high"]).all()
    ordered = found.sort_values("bass")
    assert ordered["wool"].iloc[0] < ordered["wool"].iloc[-1]


def idle_beside_wool(factors, outcomes, effort):
    """Beliefs after a log in which wool alone acts, and what could be built."""
    variants = [{**BASE, "wool": float(wool), "vents": place % 3} for place, wool in enumerate(range(0, 61, 5))]
    frame = readings_of(variants, pulled_apart, outcomes, np.random.default_rng(3), rounds=2)
    question = ask(factors, outcomes, effort=effort)
    situation = look(question, frame, None, np.random.default_rng(1))
    return situation.belief, situation.promising


def test_what_hardly_differs_is_told_as_one(factors, outcomes, effort, monkeypatch):
    """No two that could be built are within half of what matters in outcomes and worth, and none is lost from the count."""
    belief, codes = idle_beside_wool(factors, outcomes, effort)
    told = front_frame(belief, codes)
    monkeypatch.setattr(front, "SHARE_ALIKE", 0.0)
    whole = front_frame(belief, codes)
    assert len(told) < len(whole)
    assert len(told) + told["more alike"].sum() == len(whole)
    assert set(told["variant"]) == set(whole["variant"])  # built ones are all told, each by itself
    possible = told[told["variant"] == ""]
    best = belief.variant_worth().mean(axis=0).argmax()
    at_best = [float(values[:, best].mean()) for values in belief.variant_values]
    steps = {one.name: 0.5 * one.matters for one in outcomes} | {
        "mean worth": 0.5 * worth_that_matters(outcomes, at_best)
    }
    near = [np.abs(possible[name].to_numpy()[:, None] - told[name].to_numpy()) < step for name, step in steps.items()]
    assert np.all(near, axis=0).sum() == len(possible)  # each is near itself alone


def test_the_first_told_of_those_alike_is_built_or_changes_least():
    """By hand: 5.0 and 5.1 are built, each by itself; 5.2 is like the first. Of 9.0 and 9.2 the second changes one factor.

    What is as good by one outcome and far off by another is not alike. All are worth the same.
    """
    measured = np.array([[5.0, 1.0], [5.1, 1.0], [5.2, 1.0], [9.0, 1.0], [9.2, 1.0], [9.1, 7.0]])
    codes = np.array([[0, 0], [3, 3], [0, 1], [1, 1], [0, 2], [1, 2]])
    outcomes = tuple(Outcome(name, goal="raise", worst=0, best=10, matters=1) for name in ("flow", "lift"))
    belief = SimpleNamespace(outcomes=outcomes, variants=("1", "2"), variant_codes=codes[:2])
    groups = front._told_as_one(belief, np.arange(6), measured, np.full(6, 0.3), codes)
    assert groups == [[0, 2], [1], [4, 3], [5]]


def test_intervals_have_the_room_that_was_measured(factors, outcomes, effort, monkeypatch):
    """What was built reaches `ROOM` times as far as the worlds do, mere designs `ROOM_FOR_DESIGNS` times."""
    belief, codes = idle_beside_wool(factors, outcomes, effort)
    told = front_frame(belief, codes)
    monkeypatch.setattr(front, "with_room", lambda values, times=1.0: list(values))
    bare = front_frame(belief, codes)
    built = (told["variant"] != "").to_numpy()
    assert 0 < built.sum() < len(built)
    for name in ("bass", "echo"):
        np.testing.assert_array_equal(told[name], bare[name])
        for end in ("low", "high"):
            times = (told[f"{name} {end}"] - told[name]) / (bare[f"{name} {end}"] - bare[name])
            np.testing.assert_allclose(times, np.where(built, ROOM, ROOM_FOR_DESIGNS), rtol=1e-5)


def test_those_alike_differ_in_the_factors_that_are_named(factors, outcomes, effort, monkeypatch):
    """A front of one group: what is named is what the whole front differs in."""
    belief, codes = idle_beside_wool(factors, outcomes, effort)
    monkeypatch.setattr(front, "SHARE_ALIKE", 0.0)
    whole = front_frame(belief, codes)
    assert (whole["differs in"] == "").all()
    monkeypatch.setattr(front, "SHARE_ALIKE", 1e6)
    told = front_frame(belief, codes)
    several = told[told["more alike"] > 0].iloc[0]
    settings = whole[(whole["variant"] == "") | (whole["variant"] == several["variant"])]
    differing = [factor.name for factor in factors if settings[factor.name].nunique() > 1]
    assert several["differs in"].split(", ") == differing
    assert several["chance on front"] >= settings["chance on front"].max()  # of any of them


def test_what_is_told_as_one_is_worth_the_same(factors, outcomes, effort, monkeypatch):
    """The most worth of the front is told to within half of what matters."""
    belief, codes = idle_beside_wool(factors, outcomes, effort)
    told = front_frame(belief, codes)
    monkeypatch.setattr(front, "SHARE_ALIKE", 0.0)
    whole = front_frame(belief, codes)
    best = belief.variant_worth().mean(axis=0).argmax()
    at_best = [float(values[:, best].mean()) for values in belief.variant_values]
    assert whole["mean worth"].max() - told["mean worth"].max() < 0.5 * worth_that_matters(outcomes, at_best)


def test_the_choice_moves_with_the_weights(factors, outcomes, effort):
    """The same pull: the more echo counts, the less wool the best variant has, and never more."""
    variants = [{**BASE, "wool": float(wool)} for wool in (0, 10, 20, 30, 40, 50, 60, 5, 25, 45)]
    rng = np.random.default_rng(3)
    frame = readings_of(variants, pulled_apart, outcomes, rng)
    advice = recommend(frame, factors, outcomes, effort=effort)
    echo = advice.weights[advice.weights["outcome"] == "echo"].sort_values("times as much")
    wool = [variants[int(name) - 1]["wool"] for name in echo["variant"]]
    for column in (wool, echo["wool"].tolist()):  # of those built, and of the designs within reach
        assert column == sorted(column, reverse=True)
        assert column[0] > column[-1]
    now = advice.weights[advice.weights["times as much"] == 1.0]
    assert set(now["variant"]) == {advice.best["variant"]}
    assert now["variant worth"].tolist() == pytest.approx([advice.best["worth"]] * len(outcomes))


def test_the_one_to_keep_at_other_weights_was_read_in_every_outcome_too(factors, outcomes, effort):
    """What was not read in one outcome is a guess: it is neither kept now nor told to stay the one to keep."""
    variants = [{**BASE, "wool": float(wool)} for wool in (0, 10, 20, 30, 40, 50, 60, 5, 25, 45)]
    frame = readings_of(variants, pulled_apart, outcomes, np.random.default_rng(3))
    first = recommend(frame, factors, outcomes, effort=effort).best["variant"]
    part = frame[(frame["variant"] != first) | (frame["outcome"] != "echo")]
    advice = recommend(part, factors, outcomes, effort=effort)
    assert advice.best["variant"] != first
    assert first not in set(advice.weights["variant"])
    now = advice.weights[advice.weights["times as much"] == 1.0]
    assert set(now["variant"]) == {advice.best["variant"]}


def test_factors_may_be_called_what_tables_speak_of(factors, outcomes, effort):
    """A weight, a worth or what is alike may be tuned: under other names the same advice, front and trade-offs.

    The first of them, a kite's weight, had made every advice and every page that shows one fail.
    """
    settings = [{**BASE, "wool": float(wool), "vents": place % 3} for place, wool in enumerate((0, 60, 30, 10, 45, 20))]
    frame = readings_of(settings, pulled_apart, outcomes, np.random.default_rng(3))
    other = dict(zip((one.name for one in factors), ("bass_low", "alike", "weight", "worth"), strict=True))
    renamed = [replace(one, name=other[one.name]) for one in factors]
    plain = recommend(frame, factors, outcomes, effort=effort)
    told = recommend(frame.rename(columns=other), renamed, outcomes, effort=effort)
    for table in ("table", "front", "weights"):
        mine, theirs = getattr(told, table), getattr(plain, table).rename(columns=other)
        kept = [name for name in theirs.columns if name not in ("reason", "settles", "differs in")]
        pd.testing.assert_frame_equal(mine[kept], theirs[kept])
    assert kept_sentence(told.weights) == kept_sentence(plain.weights) != ""


def test_one_outcome_has_no_trade_off(factors, outcomes, effort):
    variants = [{**BASE, "wool": float(wool)} for wool in (0, 20, 40)]
    frame = readings_of(variants, lambda s: (s["wool"] / 15,), outcomes[:1], np.random.default_rng(1))
    advice = recommend(frame, factors, outcomes[:1], effort=effort)
    assert len(advice.front) == len(advice.weights) == 0


@given(arrays(float, (9, 2), elements=st.sampled_from([0.0, 0.5, 0.5 + 2**-53, 1.0])))
def test_the_front_is_that_of_comparing_all_pairs(scores):
    """The definition, pair by pair; the halves differ by a last digit that a sum of two may lose."""
    beaten = [any((b >= a).all() and (b > a).any() for b in scores) for a in scores]
    assert undominated(scores).tolist() == [not one for one in beaten]
