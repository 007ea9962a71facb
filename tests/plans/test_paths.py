import functools

import numpy as np
import pytest

from doe.plans.paths import cheapest_paths
from doe.plans.tours import NEW, Steepness, greedy_paths, improve_paths, path_cost


def random_costs(rng, n, n_units, most_new=None):
    between = rng.integers(1, 30, (n, n)).astype(float)
    between[rng.random((n, n)) < 0.35] = np.inf
    np.fill_diagonal(between, np.inf)
    first = rng.integers(0, 30, (n_units, n)).astype(float)
    first[rng.random((n_units, n)) < 0.4] = np.inf
    return Steepness(between, first, rng.integers(10, 80, n).astype(float), most_new)


def brute_force(costs):
    """Try every way of visiting all, one variant at a time."""
    n, everyone = costs.n, (1 << costs.n) - 1

    @functools.cache
    def rest(visited, last, used, made):
        if visited == everyone:
            return 0.0
        best = np.inf
        for place in range(n):
            if visited >> place & 1:
                continue
            more = visited | 1 << place
            if last >= 0:
                best = min(best, costs.between[last, place] + rest(more, place, used, made))
            if costs.most_new is None or made < costs.most_new:
                best = min(best, costs.new[place] + rest(more, place, used, made + (costs.most_new is not None)))
            for unit in range(len(costs.first)):
                if not used >> unit & 1:
                    best = min(best, costs.first[unit, place] + rest(more, place, used | 1 << unit, made))
        return best

    return rest(0, -1, 0, 0)


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_paths_cost_what_brute_force_finds(part):
    """50 random instances of up to 7 variants and 3 units each, some with a bound on new units."""
    rng = np.random.default_rng([7, part])
    for _ in range(50):
        costs = random_costs(rng, int(rng.integers(1, 8)), int(rng.integers(0, 4)), rng.choice([None, 1, 2]))
        truth = brute_force(costs)
        solved = cheapest_paths(costs, seconds=10, seed=1)
        if solved is None:
            assert np.isinf(truth)
            continue
        assert solved.cost == pytest.approx(truth)
        assert solved.bound == pytest.approx(truth, abs=1e-5)
        assert sorted(place for _, path in solved.paths for place in path) == list(range(costs.n))


def test_thirty_variants_on_six_units_are_proved():
    """Random two-sided distances, the hard case for the bound: cost and bound meet."""
    rng = np.random.default_rng(3)
    points, units = rng.random((30, 2)) * 100, rng.random((6, 2)) * 100
    between = np.abs(points[:, None] - points[None]).sum(axis=2)
    np.fill_diagonal(between, np.inf)
    first = np.abs(units[:, None] - points[None]).sum(axis=2)
    solved = cheapest_paths(Steepness(between, first, np.full(30, 150.0)), seconds=60, seed=1)
    assert solved.cost - solved.bound < 1e-4


def test_without_proof_the_route_is_whole_and_the_bound_holds():
    rng = np.random.default_rng(4)
    costs = random_costs(rng, 40, 4)
    exact = cheapest_paths(costs, seconds=30, seed=1)
    quick = cheapest_paths(costs, seconds=30, seed=1, is_exact=False)
    assert quick.bound <= exact.cost + 1e-6 <= quick.cost + 2e-6
    assert quick.cost <= 1.25 * exact.cost
    assert sorted(place for _, path in quick.paths for place in path) == list(range(40))


@pytest.mark.slow
def test_a_hundred_variants_are_ordered_with_a_bound():
    costs = random_costs(np.random.default_rng(5), 100, 3)
    solved = cheapest_paths(costs, seconds=30, seed=1)
    assert 0 < solved.bound <= solved.cost
    assert solved.cost == pytest.approx(path_cost(costs, solved.paths))


def test_ctrl_c_keeps_the_best_route_so_far():
    costs = random_costs(np.random.default_rng(6), 25, 3)

    def stop(share, words):
        raise KeyboardInterrupt

    solved = cheapest_paths(costs, seconds=10, seed=1, tell=stop)
    assert solved.was_stopped
    assert solved.bound <= solved.cost
    assert sorted(place for _, path in solved.paths for place in path) == list(range(25))


def test_a_local_search_never_costs_more_and_stays_possible():
    for seed in range(5):
        rng = np.random.default_rng(seed)
        costs = random_costs(rng, 12, 2)
        begun = greedy_paths(costs)
        done = improve_paths(costs, begun, rng)
        assert path_cost(costs, done) <= path_cost(costs, begun) + 1e-9
        starts = [start for start, _ in done if start != NEW]
        assert len(starts) == len(set(starts))
        assert np.isfinite(path_cost(costs, done))


def test_a_wandering_search_stays_within_its_budget():
    rng = np.random.default_rng(8)
    costs = random_costs(rng, 12, 2)
    least = cheapest_paths(costs, seconds=10, seed=1)
    wandered = improve_paths(costs, least.paths, rng, least.cost * 1.3, 2000)
    assert least.cost <= path_cost(costs, wandered) + 1e-9 <= least.cost * 1.3 + 2e-9
    assert wandered != least.paths
