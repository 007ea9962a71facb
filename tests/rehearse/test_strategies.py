import numpy as np
import pytest

from doe.rehearse.benches import bench
from doe.rehearse.run import GOOD, STRATEGIES, Play, play, summarise
from doe.rehearse.screening import two_level_plan
from doe.rehearse.world import start


@pytest.mark.parametrize("n_factors", [3, 7, 9, 11])
def test_the_screening_plan_is_balanced_and_orthogonal(n_factors):
    """Plackett & Burman (1946): every column has as many highs as lows, and any two columns are orthogonal."""
    plan = two_level_plan(n_factors)
    np.testing.assert_array_equal(plan.T @ plan, len(plan) * np.eye(n_factors))
    np.testing.assert_array_equal(plan.sum(axis=0), 0)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(STRATEGIES))
def test_every_strategy_keeps_the_hours_and_declares_what_it_built(name):
    played = play(bench("main", 5), STRATEGIES[name](), hours=7)
    assert played.world.minutes <= 7 * 60
    minutes = [entry["minutes"] for entry in played.trace]
    assert minutes == sorted(minutes)
    assert len(played.world.variants) >= 2
    assert all(entry["declared"] in played.world.variants for entry in played.trace if entry["declared"] is not None)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["advised", "one factor at a time", "gaussian process"])
def test_the_same_bench_is_played_the_same_way_twice(name):
    first, second = (play(bench("noisy", 6), STRATEGIES[name](), hours=4) for _ in range(2))
    assert first.trace == second.trace


def test_a_summary_takes_the_first_right_declaration_and_the_first_stop():
    drawn = bench("main", 5)
    names = ("minutes", "share", "chance_left", "held")
    entries = [
        (0, 0, None, None),
        (30, 0.5, 0.6, True),
        (90, 0.92, 0.3, False),
        (120, 0.8, 0.05, True),
        (200, 0.95, 0.02, True),
    ]
    trace = tuple({"declared": "1", **dict(zip(names, entry, strict=True))} for entry in entries)
    row = summarise(Play(trace, start(drawn), 24.0))
    assert (row["minutes"], row["reached"], row["finally_right"]) == (90, True, True)
    assert row["regret"] == pytest.approx(0.05 * drawn.best_worth)
    assert (row["stop_minutes"], row["stop_right"]) == (120, 0.0)
    assert (row["stated"], row["held"]) == (4, 3)


def test_what_is_never_right_counts_as_the_whole_time():
    trace = ({"minutes": 20, "declared": "1", "share": GOOD - 0.01, "chance_left": None, "held": True},)
    row = summarise(Play(trace, start(bench("main", 5)), 10.0))
    assert (row["minutes"], row["reached"]) == (600, False)
    assert np.isnan(row["stop_minutes"])
