"""What is told of moves that are written down, each with what it brings, in a log of ten variants on one unit."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from doe.advise import present
from doe.advise.choose import Choice
from doe.advise.moves import Judged, build_moves, join, reading_moves
from doe.advise.question import ask
from doe.advise.situation import look
from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.records import Unit
from tests.advise.test_recommend import BASE, TEN, readings_of, wool_and_vents

FACTORS = (
    Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", low=0, high=60, step=5, unit="%", minutes=8),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"], minutes=25),
)
OUTCOMES = (
    Outcome("bass", goal="hit", target=0, worst=6, matters=1.0),
    Outcome("echo", kind="rated", scale=(1, 7), goal="lower", best=1, worst=6, matters=0.5),
)
EFFORT = Effort(new_unit_minutes=150, session_minutes=15, reading_minutes=6)
UNITS = [Unit("A", TEN[9], "10"), Unit("B", {**BASE, "wool": 60.0, "vents": 5})]
"""A carries the best of the ten; B stands at what nobody has read."""

MOVES = {
    "on A": {**TEN[9], "wool": 60.0},
    "on B": {**BASE, "wool": 60.0, "vents": 6},
    "as it stands": {**BASE, "wool": 60.0, "vents": 5},
    "the first": TEN[0],
    "higher": {**BASE, "rings": 10},
}
NAMES = (*MOVES, "the best", "again")
"""The last two: the best built once more, which takes a new unit as vents only go up, and read again."""

VALUES = dict(zip(NAMES, (0.30, 0.20, 0.05, 0.40, 0.35, 0.10, 0.0), strict=True))


@pytest.fixture(scope="module")
def told():
    """Return the question, the situation, and the choice among the moves."""
    frame = readings_of(TEN, wool_and_vents, OUTCOMES, np.random.default_rng(4))
    question = ask(FACTORS, OUTCOMES, effort=EFFORT)
    now = look(question, frame, UNITS, np.random.default_rng(1))
    codes = np.array([now.reach.space.code(settings) for settings in MOVES.values()])
    built = build_moves(now.belief, now.reach, codes, EFFORT, now.carried, now.best)
    moves = join([built, reading_moves(now.belief, now.reach, EFFORT, now.carried, len(FACTORS))])
    value = np.array(list(VALUES.values()))
    minutes = moves.minutes(EFFORT)
    judged = Judged(value, np.zeros(len(value)), (1.0, 1.0))
    return question, now, Choice(moves, judged, minutes, 0, value / minutes, now.reach)


def chosen(told, name):
    return replace(told[2], place=NAMES.index(name))


@pytest.mark.parametrize(
    ("name", "unit", "kind", "changes", "variant", "others"),
    [
        ("on A", "A", None, {"wool": (30.0, 60.0)}, None, {"loses_best"}),
        ("on B", "B", None, {"vents": (5, 6)}, None, {"one_way"}),
        ("as it stands", "B", None, {}, None, set()),
        ("the first", "new", None, {}, "1", set()),
        ("higher", "new", None, {}, None, set()),
        ("the best", "new", "confirm", {}, "10", set()),
        ("again", "A", "repeat", {}, "10", {"is_best"}),
    ],
)
def test_a_move_is_told_by_what_it_changes_and_what_it_takes_away(told, name, unit, kind, changes, variant, others):
    question, now, _ = told
    facts = present._facts(question, now, chosen(told, name), [])
    assert (facts.unit, facts.changes, facts.variant, facts.best) == (unit, changes, variant, "10")
    assert kind is None or facts.kind == kind
    assert {word for word in ("loses_best", "one_way", "is_best", "follows") if getattr(facts, word)} == others
    assert facts.settings == (MOVES[name] if name in MOVES else TEN[9])


def test_minutes_and_what_an_hour_brings_are_those_of_the_move(told):
    """Wool takes 8 minutes, a session 15 and one round of readings 6: 0.3 of worth in 29 minutes."""
    row = present._row(*told[:2], chosen(told, "on A"), [])
    assert row["minutes"] == 29
    assert row["worth_per_hour"] == pytest.approx(0.30 * 60 / 29)


@pytest.mark.parametrize(
    ("first", "said"),
    [
        ("the first", "Cheaper: wool from 30 to 60 % on unit A, 29 min; it gives up 25 % of what"),
        ("on A", ""),  # a round of readings, 21 minutes, is more than six tenths of it
        ("again", ""),
    ],
)
def test_cheaper_is_the_best_a_minute_of_those_that_take_six_tenths_at_most(told, first, said):
    """0.3 of worth instead of 0.4."""
    found = present._runner_up(*told[:2], [chosen(told, first)])
    assert found.startswith(said)
    assert bool(found) is bool(said)


def test_candidates_are_told_the_best_a_minute_first_and_the_chosen_among_them(told, monkeypatch):
    monkeypatch.setattr(present, "MOST_CANDIDATES", 3)
    found = present._candidates(*told[:2], [chosen(told, "the best")])
    assert found["label"].tolist() == [
        "wool from 30 to 60 %",
        "vents from 5 to 6",
        "vents 4, rings 9, wool 30 %, driver paper",
    ]
    assert found["chosen"].tolist() == [False, False, True]
    assert found["gain"].tolist() == [0.30, 0.20, 0.10]
    short = [present._label(*told[:2], chosen(told, name)) for name in ("as it stands", "again")]
    assert short == ["read it as it stands", "read variant 10 again"]


@pytest.mark.parametrize(
    ("build", "carried", "minutes"),
    [(40.0, {}, 40 + 15 + 6), (np.inf, {0: 1}, 15 + 6), (2.0, {0: 1}, 15 + 6), (np.inf, {}, None)],
)
def test_the_cheapest_move_builds_or_reads_again_with_one_round_of_readings(build, carried, minutes):
    """A session of 15 minutes and a round of 6, and what the cheapest build takes where nothing can be read again."""
    now = SimpleNamespace(cheapest_minutes=build, carried=carried)
    assert present._cheapest(SimpleNamespace(effort=EFFORT), now) == minutes
