import itertools
import math

import numpy as np
import pytest

from doe.model.errors import UsageError
from doe.model.factor import Factor
from doe.plans import plan
from doe.plans.aberration import _clear_pairs, krawtchouk, minimum_aberration, parities, signs_of, word_lengths
from doe.plans.two_level import alias_strings, block_runs, fraction, fraction_sizes, full, generators
from tests.plans.made import coded, numbers, switches
from tests.refusing import refused


def words_by_hand(columns):
    """Count the sets of factors whose columns multiply to one, straight from the definition."""
    counts = [0] * len(columns)
    for size in range(1, len(columns) + 1):
        for chosen in itertools.combinations(columns, size):
            product = 0
            for column in chosen:
                product ^= column
            counts[size - 1] += product == 0
    return tuple(counts)


@pytest.mark.parametrize(("n_factors", "n_runs"), [(5, 8), (7, 8), (9, 16), (8, 32), (10, 64), (9, 128)])
def test_word_lengths_are_those_counted_one_by_one(n_factors, n_runs):
    columns = minimum_aberration(n_factors, n_runs)
    assert tuple(word_lengths(np.array(columns), n_runs)) == words_by_hand(columns)


def test_krawtchouk_polynomials_are_orthogonal():
    """Closed form: sum_w C(n, w) K_i(w) K_j(w) = 2^n C(n, i) delta_ij (MacWilliams & Sloane 1977, ch. 5)."""
    n = 7
    weights = np.array([len(list(itertools.combinations(range(n), w))) for w in range(n + 1)])
    K = krawtchouk(n)
    assert np.array_equal(K.T @ (weights[:, None] * K), np.diag(2**n * weights))


def exhaustive_best(n_factors, n_runs):
    """Try every fraction that holds the basic factors, and return the fewest words."""
    n_basic = n_runs.bit_length() - 1
    basic = [1 << place for place in range(n_basic)]
    others = [column for column in range(1, n_runs) if column not in basic]
    best = None
    added = itertools.combinations(others, n_factors - n_basic)
    while chunk := list(itertools.islice(added, 20_000)):
        columns = np.hstack([np.tile(basic, (len(chunk), 1)), np.array(chunk)])
        words = word_lengths(columns, n_runs)
        first = words[np.lexsort(words.T[::-1])[0]]
        best = first if best is None or tuple(first) < tuple(best) else best
    return tuple(best)


@pytest.mark.parametrize(
    ("n_factors", "n_runs"),
    [
        *((count, 8) for count in range(4, 8)),
        *((count, 16) for count in range(5, 16)),
        *((count, 32) for count in range(6, 11)),
        *((count, 64) for count in (7, 8, 9)),
        *((count, 128) for count in (8, 9)),
    ],
)
def test_no_other_fraction_has_less_aberration(n_factors, n_runs):
    """Proof by trying all: no choice of columns has fewer shortest words."""
    ours = tuple(word_lengths(np.array(minimum_aberration(n_factors, n_runs)), n_runs))
    assert ours == exhaustive_best(n_factors, n_runs)


@pytest.mark.slow
@pytest.mark.parametrize(("n_factors", "n_runs"), [(11, 32), (12, 32), (10, 64), (10, 128)])
def test_no_other_larger_fraction_has_less_aberration(n_factors, n_runs):
    ours = tuple(word_lengths(np.array(minimum_aberration(n_factors, n_runs)), n_runs))
    assert ours == exhaustive_best(n_factors, n_runs)


@pytest.mark.slow
@pytest.mark.parametrize("n_runs", [8, 16, 32, 64, 128])
def test_every_fraction_is_an_orthogonal_array_of_its_strength(n_runs):
    """Law: a fraction of resolution R holds every combination of R - 1 factors equally often; columns are orthogonal."""
    for n_factors in range(n_runs.bit_length(), min(15, n_runs - 1) + 1):
        columns = minimum_aberration(n_factors, n_runs)
        X = signs_of(columns, n_runs)
        assert np.array_equal(X.T @ X, n_runs * np.eye(n_factors))
        resolution = int(np.flatnonzero(word_lengths(np.array(columns), n_runs))[0]) + 1
        strength = min(resolution - 1, 3)
        for chosen in itertools.islice(itertools.combinations(range(n_factors), strength), 60):
            _, counts = np.unique(X[:, chosen], axis=0, return_counts=True)
            assert len(counts) == 2**strength
            assert len(set(counts)) == 1


def test_aliases_are_the_pairs_whose_columns_are_equal():
    """Law: two names stand in one string exactly where their columns are the same on every run."""
    factors = numbers(7)
    columns = minimum_aberration(7, 16)
    X = dict(zip((f.name for f in factors), signs_of(columns, 16).T, strict=True))
    for first, second in itertools.combinations("ABCDEFG", 2):
        X[f"{first}:{second}"] = X[first] * X[second]
    groups = [set(text.split(" + ")) for text in alias_strings(factors, columns)]
    for one, two in itertools.combinations(X, 2):
        together = any({one, two} <= group for group in groups)
        assert together == np.array_equal(X[one], X[two])


@pytest.mark.parametrize(
    ("n_factors", "n_runs", "clear"), [(5, 16, 10), (4, 8, 0), (6, 32, None), (7, 32, None), (9, 32, None)]
)
def test_clear_interactions_are_those_that_share_a_column_with_nothing(n_factors, n_runs, clear):
    """In a half of 2^5 all ten interactions are clear of each other, in a half of 2^4 none; else as the aliases say."""
    columns = minimum_aberration(n_factors, n_runs)
    shared = [name for text in alias_strings(numbers(n_factors), columns) for name in text.split(" + ") if ":" in name]
    found = _clear_pairs(np.array(columns))
    assert found == math.comb(n_factors, 2) - len(shared)
    assert clear is None or found == clear


def test_fewer_factors_than_a_plan_could_hold_take_its_first_columns():
    assert minimum_aberration(3, 16) == (1, 2, 4)


def test_generators_hold_with_their_sign():
    factors, columns = numbers(6), minimum_aberration(6, 16)
    X = dict(zip((f.name for f in factors), signs_of(columns, 16).T, strict=True))
    for text in generators(factors, columns):
        left, right = text.split(" = ")
        assert np.array_equal(X[left], np.prod([X[name] for name in right.split(":")], axis=0))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("n_factors", "n_runs", "blocks"), [(4, 16, 2), (4, 16, 4), (6, 32, 4), (7, 64, 8), (15, 128, 8)]
)
def test_blocks_are_even_and_cost_no_main_effect(n_factors, n_runs, blocks):
    """Law: blocks hold the same number of runs, and in each every factor is at both sides equally often."""
    columns = (
        tuple(1 << p for p in range(n_factors)) if 1 << n_factors == n_runs else minimum_aberration(n_factors, n_runs)
    )
    block, lost = block_runs(columns, n_runs, blocks)
    X = signs_of(columns, n_runs)
    assert np.bincount(block).tolist() == [n_runs // blocks] * blocks
    for place in range(blocks):
        assert not X[block == place].sum(axis=0).any()
    for first, second in itertools.combinations(range(n_factors), 2):
        sums = [(X[block == place, first] * X[block == place, second]).sum() for place in range(blocks)]
        assert ((first, second) in lost) == any(sums)


def test_textbook_blocks_of_two_to_the_four():
    """Montgomery, Design and Analysis of Experiments, sec. 7.5: a 2^4 in two blocks loses ABCD only."""
    block, lost = block_runs((1, 2, 4, 8), 16, 2)
    assert lost == []
    X = signs_of((1, 2, 4, 8), 16)
    assert len(set(np.prod(X[block == 0], axis=1))) == 1


def test_what_blocks_hide_is_said_as_elsewhere():
    """Of four runs, two blocks hide the one interaction there is."""
    made = plan([Factor("tip_gap", low=0, high=1), Factor("hub", low=0, high=1)], kind="full", blocks=2)
    assert "The difference between blocks cannot be told from tip gap with hub." in made.notes


def test_a_full_factorial_holds_every_combination_once():
    factors = [*numbers(2), Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"])]
    draft = full(factors)
    assert draft.n_runs == 12
    assert len({tuple(row) for row in draft.values}) == 12
    assert full(factors, "quadratic").n_runs == 27


def test_centre_runs_stand_in_the_middle_and_switch_levels_in_turn():
    """NIST/SEMATECH e-Handbook 5.4.7.2: two-level factors have pseudo-centres."""
    factors = [*numbers(3), Factor("bands", kind="categorical", levels=["one", "two"])]
    made = plan(factors, 8, kind="fraction", centre=4)
    centre = made.table[made.table["kind"] == "centre"]
    assert len(centre) == 4
    assert (centre[["A", "B", "C"]] == 0).all(axis=None)
    assert sorted(centre["bands"]) == ["one", "one", "two", "two"]


def test_centre_runs_are_shared_out_over_the_blocks():
    made = plan(numbers(3), kind="full", blocks=2, centre=3)
    assert made.table[made.table["kind"] == "centre"]["block"].value_counts().to_dict() == {1: 2, 2: 1}
    with refused(
        UsageError, "No factor has a middle, so there are no centre runs; leave centre out, or use replicates=2."
    ):
        plan([*switches(2), Factor("lid", kind="count", low=0, high=1)], kind="full", centre=1)


def test_replicates_in_blocks_of_their_own():
    made = plan(numbers(3), kind="full", replicates=2, blocks=2)
    halves = [set(map(tuple, part[["A", "B", "C"]].to_numpy())) for _, part in made.table.groupby("block")]
    assert halves[0] == halves[1]
    assert len(halves[0]) == 8


@pytest.mark.parametrize(
    ("n_factors", "title"),
    [
        (3, "full factorial, 2 × 2 × 2 = 8 runs"),
        (4, "two-level fraction 2^(4-1), resolution IV"),
        (5, "two-level fraction 2^(5-1), resolution V"),
        (7, "two-level fraction 2^(7-3), resolution IV"),
        (9, "two-level fraction 2^(9-4), resolution IV"),
    ],
)
def test_without_a_number_a_fraction_is_the_smallest_that_keeps_main_effects_clear(n_factors, title):
    """Box, Hunter & Hunter (2005), 2nd ed., the table of fractions in ch. 6, *from memory*."""
    assert fraction(numbers(n_factors)).title == title


def test_what_is_left_out_of_a_fraction_is_refused_with_the_nearest():
    with refused(
        UsageError,
        "A two-level fraction of 7 factors cannot have 12 runs; the nearest has 16, and kind='d-optimal' takes any number.",
    ):
        plan(numbers(7), 12, kind="fraction")
    with refused(
        UsageError,
        "A two-level fraction takes up to 15 factors, and there are 16; use kind='plackett-burman' or kind='d-optimal'.",
    ):
        fraction(numbers(16))
    driver = Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"])
    with refused(
        UsageError, "driver has 3 levels, and a two-level fraction takes two of each factor; use kind='d-optimal'."
    ):
        plan([*numbers(4), driver], 8, kind="fraction")
    with refused(
        UsageError,
        "A two-level plan of 7 factors in 8 runs cannot have 2 blocks; use 16 runs, and kind='d-optimal' takes any number.",
    ):
        plan(numbers(7), 8, kind="fraction", blocks=2)


def test_fraction_sizes_hold_the_factors():
    assert fraction_sizes(5) == (8, 16)
    assert fraction_sizes(15) == (16, 32, 64, 128)
    assert all(fraction(numbers(5), size).n_runs == size for size in fraction_sizes(5))


def test_run_order_is_random_and_repeatable():
    one, two, three = (plan(numbers(5), 16, kind="fraction", seed=seed) for seed in (1, 1, 2))
    assert one.table.equals(two.table)
    assert not np.array_equal(coded(one), coded(three))
    assert set(map(tuple, coded(one))) == set(map(tuple, coded(three)))


def test_the_sign_table_is_that_of_parities():
    table = parities(8)
    assert np.array_equal(1 - 2 * table.astype(int) @ np.eye(8, dtype=int), (1 - 2 * table.astype(int)))
    assert np.array_equal((1 - 2 * table.astype(int)) @ (1 - 2 * table.astype(int)).T, 8 * np.eye(8, dtype=int))
