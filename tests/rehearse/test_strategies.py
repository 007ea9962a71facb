import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from doe.model.effort import Effort
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.rehearse.benches import Bench, bench
from doe.rehearse.gaussian import GaussianProcess, fitted_process
from doe.rehearse.rehearsal import RIVALS
from doe.rehearse.run import CHANCE_BANDS, GOOD, STRATEGIES, Play, claims, play, summarise
from doe.rehearse.screening import Screening, two_level_plan
from doe.rehearse.simplex import _within
from doe.rehearse.strategies import Step
from doe.rehearse.textbook import OneFactorAtATime, cheapest_move, observed_worth
from doe.rehearse.truth import Effect, Scatter, Truth
from doe.rehearse.world import Move, start


@pytest.mark.parametrize("n_factors", [3, 7, 9, 11, 12, 19, 48])
def test_the_screening_plan_is_balanced_and_orthogonal(n_factors):
    """Plackett & Burman (1946): every column has as many highs as lows, and any two columns are orthogonal."""
    plan = two_level_plan(n_factors)
    np.testing.assert_array_equal(plan.T @ plan, len(plan) * np.eye(n_factors))
    np.testing.assert_array_equal(plan.sum(axis=0), 0)


def plain_bench(factors, *limits):
    """All factors raise the outcome alike and by straight lines; the unit begins low."""
    outcome = Outcome("y", goal="raise", best=10, worst=0, matters=1.0)
    effects = tuple(Effect(factor, "line", 10 / len(factors)) for factor in factors)
    truth = Truth(outcome, 5.0, effects, (), Scatter(0.1, 0.1, 0.0, 0.3))
    setup = Setup("plain", "", tuple(factors), (outcome,), Effort(new_unit_minutes=60, reading_minutes=15), limits)
    return Bench("main", 1, setup, (truth,), {factor.name: factor.grid()[0] for factor in factors})


def numbers(count, high):
    return [Factor(f"f{place}", kind="count", low=0, high=high, minutes=5) for place in range(count)]


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] if "gaussian" in name else []) for name in RIVALS]
)
def test_other_ways_of_working_build_only_what_keeps_the_limits(name):
    """Nor are they ever nearer to the best than the best that the limits leave."""
    drawn = plain_bench(numbers(3, 10), Limit("f0 + f1 + f2 <= 12"))
    played = play(drawn, STRATEGIES[name](), hours=5)
    assert len(played.world.variants) > 3
    assert all(sum(settings.values()) <= 12 for settings in played.world.variants.values())
    assert max(entry["share"] for entry in played.trace) <= 1.0


@pytest.mark.slow
@pytest.mark.parametrize("per_minute", [False, True])
def test_the_gaussian_process_builds_what_it_expects_to_improve_most(per_minute):
    """Of all 25 designs, by the closed form of Jones, Schonlau & Welch (1998), for each minute or as it is."""
    quick, slow = numbers(2, 4)
    world = start(plain_bench([quick, replace(slow, minutes=90)]))
    for one, other in ((0, 0), (0, 3), (1, 1), (3, 0), (2, 1)):
        world.do([cheapest_move(world, {"f0": one, "f1": other})])
    step = GaussianProcess(per_minute).step(world, 10.0)
    values = observed_worth(world)
    coded = [[place["f0"] / 2 - 1, place["f1"] / 2 - 1] for place in world.variants.values()]
    model = fitted_process(np.array(coded), np.array(list(values.values())))
    expected = {}
    for one, other in itertools.product(range(5), repeat=2):
        mean, sd = (found.item() for found in model.predict([[one / 2 - 1, other / 2 - 1]], return_std=True))
        away = mean - model.predict(coded).max()
        expected[one, other] = away * stats.norm.cdf(away / sd) + sd * stats.norm.pdf(away / sd)
        if per_minute:
            expected[one, other] /= world.minutes_for(cheapest_move(world, {"f0": one, "f1": other}))
    assert tuple(step.moves[0].settings.values()) == max(expected, key=lambda place: expected[place])
    assert step.declared == list(world.variants)[int(model.predict(coded).argmax())]


@pytest.mark.parametrize(("home", "kept"), [(0.0, 0.25), (0.9, 0.0)])
def test_a_step_of_the_simplex_is_halved_until_the_limits_are_kept(home, kept):
    """From all tens, 30 together: half-way home 15, again 7.5. Where home breaks the limit too, the start remains."""
    world = start(plain_bench(numbers(3, 10), Limit("f0 + f1 + f2 <= 12")))
    assert _within(world, np.ones(3), np.full(3, home)) == pytest.approx(kept)


@pytest.mark.parametrize(("count", "high", "hours"), [(2, 1, 8), (6, 20, 5), (13, 1, 12)])
def test_a_screening_plan_goes_on_whatever_the_size_of_the_setup(count, high, hours):
    """Four designs in all, which are soon built; five million; more factors than twelve runs can hold."""
    played = play(plain_bench(numbers(count, high)), Screening(), hours)
    assert played.world.minutes > 60 * (hours - 2)
    assert played.trace[-1]["share"] > GOOD


def test_a_screening_plan_reads_again_where_no_time_is_left_for_a_new_unit():
    """A new unit takes 75 minutes with its reading."""
    drawn = plain_bench(numbers(2, 1))
    world = start(replace(drawn, history=(drawn.start,)))
    moves = [Screening(_plan=[], _queue=[drawn.start]).step(world, hours).moves[0] for hours in (1.2, 1.25)]
    assert [move.unit for move in moves] == ["unit 1", None]


def test_one_factor_at_a_time_tries_every_level_before_it_goes_on():
    """By hand: the unit as it stands, three other levels of one factor, and only then the other factor."""
    drawn = plain_bench([Factor(name, kind="ordered", levels=list("abcd")) for name in ("one", "two")])
    tried = list(play(drawn, OneFactorAtATime(), hours=1.75).world.variants.values())
    first, second = (len({settings[name] for settings in tried[:4]}) for name in ("one", "two"))
    assert sorted((first, second)) == [1, 4]
    assert {settings["one"] for settings in tried} == {settings["two"] for settings in tried} == set("abcd")


def test_what_ends_with_the_hours_is_done():
    """A reading of 123 minutes in 2.05 hours, of which 60 times fall a little short of that."""
    drawn = plain_bench(numbers(2, 1))
    drawn = replace(drawn, setup=replace(drawn.setup, effort=Effort(reading_minutes=123)))
    assert play(drawn, OneFactorAtATime(), 2.05).world.minutes == 123


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


def test_a_summary_counts_chances_told_beside_what_came_of_them():
    trace = ({"minutes": 20, "declared": "1", "share": 0.5, "chance_left": None, "held": True},)
    chances = ((0.1, False), (0.2, True), (0.25, False), (0.6, True), (1.0, True))
    row = summarise(Play(trace, start(bench("main", 5)), 10.0, chances))
    assert [row[f"chances_{band}"] for band in CHANCE_BANDS] == [2, 1, 2]
    assert [row[f"told_{band}"] for band in CHANCE_BANDS] == pytest.approx([0.3, 0.25, 1.6])
    assert [row[f"came_{band}"] for band in CHANCE_BANDS] == [1, 0, 2]


class Told:
    """Builds the worst of many designs, then the best, then the worst again; its chances are what they are."""

    name = "told"

    def step(self, world, hours_left):
        rng = np.random.default_rng(1)
        factors = world.bench.setup.factors
        designs = [{factor.name: rng.choice(factor.grid()).item() for factor in factors} for _ in range(50)]
        worst, *_, best = sorted(designs, key=world.bench.worth_of)
        done = len(world.variants)
        moves = (Move(None, [worst, best, worst][done]),) if done < 3 else ()
        stated = [None, (0.0, 1.0), (2.0, 3.0), (-1.0, -0.5)][done]
        return Step(str(done) if done else None, moves, worth=stated, chance_better=[None, 0.3, 0.7, None][done])


def test_a_chance_told_is_judged_by_the_truth_of_what_is_built_next():
    played = play(bench("main", 3), Told())
    assert played.chances == ((0.3, True), (0.7, False))
    assert [entry["held"] for entry in played.trace] == [None, True, False, False]


def test_a_play_until_it_is_right_ends_with_the_first_right_declaration():
    """Of 50 designs the best is as good as the best there is; it is declared third."""
    drawn = plain_bench(numbers(2, 3))
    assert [len(play(drawn, Told(), until_right=until).trace) for until in (True, False)] == [3, 4]


def test_claims_are_counted_against_what_is_true_of_the_bench():
    """Two factors act and both are claimed; told that neither did, and one was a passive twin, both claims are wrong."""
    drawn = plain_bench(numbers(2, 4))
    world = start(drawn)
    for place in range(9):
        world.do([Move(None, {"f0": 2 * (place % 3), "f1": 2 * (place // 3)})])
    assert claims(world) == {"claimed": 2, "claimed_rightly": 2, "real": 2, "real_claimed": 2, "twin_claimed": 0}
    world.bench = replace(drawn, truths=(replace(drawn.truths[0], effects=()),), passive_twin=("f0", "f1"))
    assert claims(world) == {"claimed": 2, "claimed_rightly": 0, "real": 0, "real_claimed": 0, "twin_claimed": 1}


def test_what_is_never_right_counts_as_the_whole_time():
    trace = ({"minutes": 20, "declared": "1", "share": GOOD - 0.01, "chance_left": None, "held": True},)
    row = summarise(Play(trace, start(bench("main", 5)), 10.0))
    assert (row["minutes"], row["reached"]) == (600, False)
    assert np.isnan(row["stop_minutes"])
