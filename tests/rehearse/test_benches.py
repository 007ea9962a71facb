import numpy as np
import pytest

from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.rehearse.benches import FACTORS, HARD_ENOUGH, bench, first_unit
from doe.rehearse.nature import FAMILIES, WHERE_SOMETHING_MATTERS


@pytest.mark.parametrize("family", FAMILIES)
def test_the_same_seed_gives_the_same_bench(family):
    bench.cache_clear()
    first = bench(family, 3)
    bench.cache_clear()
    second = bench(family, 3)
    assert (first.truths, first.start, first.history) == (second.truths, second.start, second.history)
    assert bench(family, 4).truths != first.truths


@pytest.mark.parametrize("family", WHERE_SOMETHING_MATTERS)
def test_there_is_something_to_find_and_it_is_not_found_at_the_start_or_everywhere(family):
    for seed in range(4):
        drawn = bench(family, seed)
        assert drawn.best_worth >= 0.6
        assert drawn.worth_of(drawn.start) < 0.6 * drawn.best_worth
        assert np.mean(drawn.grid_worths >= 0.9 * drawn.best_worth) <= HARD_ENOUGH


@pytest.mark.parametrize("family", WHERE_SOMETHING_MATTERS)
def test_in_each_bench_something_is_no_polynomial_unless_no_number_is_active(family):
    for seed in range(4):
        drawn = bench(family, seed)
        shapes = {effect.shape for truth in drawn.truths for effect in truth.effects}
        numbers = [effect for truth in drawn.truths for effect in truth.effects[:1] if effect.shape != "levels"]
        assert not numbers or shapes & {"saturating", "step", "peak"}


@pytest.mark.slow
def test_the_families_are_what_they_say():
    for seed in range(4):
        assert not any(truth.pairs for truth in bench("main", seed).truths)
        assert any(truth.pairs for truth in bench("interaction", seed).truths)
        assert any(effect.shape == "peak" for truth in bench("curved", seed).truths for effect in truth.effects)
        assert all(truth.outcome.kind == "rated" for truth in bench("noisy", seed).truths)
        nothing = bench("nothing", seed)
        assert np.ptp(nothing.grid_worths) == 0
        assert not any(truth.real_terms for truth in nothing.truths)


def test_two_factors_always_moved_together_and_one_of_them_does_nothing():
    for seed in range(4):
        drawn = bench("together", seed)
        active, passive = drawn.passive_twin
        pairs = {(settings[active], settings[passive]) for settings in drawn.history}
        assert len(drawn.history) >= 6
        assert len(pairs) == 2
        assert len({pair[0] for pair in pairs}) == len({pair[1] for pair in pairs}) == 2
        assert any(active in truth.active for truth in drawn.truths)
        assert not any(passive in truth.active for truth in drawn.truths)
        assert drawn.history[-1] == drawn.start


def test_a_first_unit_makes_the_sum_that_limits_want():
    """Of ranges that differ: of even steps of each, thirteen, one combination in 2,197 adds up."""
    spans = {"a": (0, 0.61), "b": (0.23, 0.7), "c": (0.11, 0.564)}
    shares = [Factor(name, low=low, high=high) for name, (low, high) in spans.items()]
    units = [first_unit(shares, [Limit("a + b + c == 1")], (), np.random.default_rng(seed)) for seed in range(5)]
    assert [sum(unit.values()) for unit in units] == pytest.approx([1] * 5, abs=1e-12)
    assert len({unit["b"] for unit in units}) > 1


def test_a_first_unit_leaves_one_way_factors_room_and_keeps_the_limits():
    """Vents may only be added, the tube only cut: the first is drawn from the lower half, the other from the upper."""
    rng = np.random.default_rng(1)
    units = [first_unit(FACTORS, [Limit("vents + wool <= 22")], (), rng) for _ in range(40)]
    assert {unit["vents"] for unit in units} == {0, 1, 2}
    assert {unit["tube"] for unit in units} == {40, 45, 50, 55, 60}
    assert {unit["wool"] for unit in units} == {0, 5, 10, 15, 20}
    assert all(unit["vents"] + unit["wool"] <= 22 for unit in units)
