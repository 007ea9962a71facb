from dataclasses import replace

import numpy as np
import pytest

from doe.advise.worth import worth
from doe.model.effort import Effort
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.rehearse.benches import Bench, bench
from doe.rehearse.truth import Scatter, Truth
from doe.rehearse.world import Move, start


@pytest.fixture
def world():
    return start(bench("main", 2))


def changed(world, **settings):
    return {**world.units[0].settings, **settings}


def test_the_clock_counts_change_session_and_readings(world):
    factors = {factor.name: factor for factor in world.bench.setup.factors}
    free = next(name for name, factor in factors.items() if factor.way == "either")
    other = next(value for value in factors[free].grid(13) if value != world.units[0].settings[free])
    world.do([Move("unit 1", changed(world, **{free: other}), 2)])
    assert world.minutes == factors[free].minutes + 15 + 2 * 6


def test_one_session_serves_several_moves(world):
    same = dict(world.units[0].settings)
    world.do([Move("unit 1", same, 1), Move("unit 1", same, 1)])
    assert world.minutes == 15 + 6 + 6
    assert {row["session"] for row in world.rows} == {"session 1"}


def test_a_one_way_factor_does_not_go_back(world):
    factors = {factor.name: factor for factor in world.bench.setup.factors}
    other = next(value for value in factors["rings"].grid(13) if value != world.units[0].settings["rings"])
    with pytest.raises(DataError, match="needs a new unit"):
        world.minutes_for(Move("unit 1", changed(world, rings=other), 1))


def test_reading_a_unit_as_it_stands_makes_no_new_variant(world):
    same = dict(world.units[0].settings)
    first = world.do([Move("unit 1", same, 1)])
    assert world.do([Move("unit 1", same, 1)]) == first
    assert list(world.variants) == ["1"]


def test_every_strategy_meets_the_same_builds_and_sessions():
    """The n-th build and the n-th session scatter alike, whatever was done before."""
    one, other = start(bench("main", 2)), start(bench("main", 2))
    same = dict(one.units[0].settings)
    one.do([Move("unit 1", same, 1)])
    other.do([Move("unit 1", same, 1)])
    assert one.rows == other.rows


def test_a_history_is_read_before_the_clock_starts():
    world = start(bench("together", 1))
    assert world.minutes == 0
    assert len(world.variants) == len(world.bench.history) == len({row["session"] for row in world.rows})


def test_the_worth_of_a_variant_is_what_endless_readings_come_to():
    """1,000 sessions, outliers left out, average to the true value within five standard errors of their scatter."""
    drawn = bench("main", 2)
    (truth,) = drawn.truths
    world = start(replace(drawn, truths=(replace(truth, scatter=replace(truth.scatter, outlier_chance=0.0)),)))
    (name,) = world.do([Move("unit 1", dict(world.units[0].settings), 1)])
    for _ in range(1_000):
        world.read(name, 1)
    mean = world.observed()[name][truth.outcome.name]
    error = np.hypot(truth.scatter.reading, truth.scatter.session) / np.sqrt(1_000)
    low, high = sorted(worth([truth.outcome], [np.array([mean - 5 * error, mean + 5 * error])]))
    assert 0 < low < world.worth_of(name) < high < 1


@pytest.fixture
def heard():
    """A level that drifts by 6 over a session, and grades of two listeners who differ; nothing else scatters."""
    level = Outcome("level", goal="raise", best=100, worst=0)
    grade = Outcome("grade", kind="rated", scale=(0, 1000), goal="raise", best=1000, worst=0)
    truths = (
        Truth(level, 50.0, (), (), Scatter(0, 0, 0, 0, drift=6.0)),
        Truth(grade, 500.0, (), (), Scatter(0, 0, 90.0, 0)),
    )
    setup = Setup("heard", "", (Factor("wool", low=0, high=60),), (level, grade), Effort(reading_minutes=6))
    return start(Bench("main", 4, setup, truths, {"wool": 0.0}, raters=("Ann", "Ben")))


def test_grades_are_given_by_all_listeners_and_levels_read_by_a_meter(heard):
    """The drift of a session goes over all of its moves, by hand from -3 to 3."""
    read = heard.do([Move("unit 1", {"wool": 0.0}, 2), Move(None, {"wool": 60.0}, 1)])
    rows = [(row["variant"], row["unit"], row["order"], row["rater"], row["value"]) for row in heard.rows]
    assert [row for row in rows if row[3] == "meter"] == [
        ("1", "unit 1", 1, "meter", 47.0), ("1", "unit 1", 2, "meter", 50.0), ("2", "unit 2", 3, "meter", 53.0)
    ]  # fmt: skip
    assert read == ["1", "2"]
    assert [(row["order"], row["rater"]) for row in heard.rows if row["outcome"] == "grade"] == [
        (order, rater) for order in (1, 2, 3) for rater in ("Ann", "Ben")
    ]


def test_what_a_panel_calls_its_grade_counts(heard):
    """Worth by hand: the geometric mean of 50 of 100 and of the panel's mean grade of 1000, each read to a whole number."""
    heard.do([Move("unit 1", {"wool": 0.0}, 1)])
    grades = {row["rater"]: row["value"] for row in heard.rows if row["outcome"] == "grade"}
    assert grades["Ann"] != grades["Ben"]
    panel = np.mean(list(grades.values()))
    assert abs(panel - 500) > 5
    assert heard.worth_of("1") == pytest.approx(np.sqrt(0.5 * panel / 1000), abs=0.001)
