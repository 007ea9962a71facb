import math
from collections import Counter
from itertools import combinations, pairwise

import numpy as np
import pytest

from doe.advise.listening import (
    balanced_orders,
    balanced_pairs,
    orders_apart,
    repeatability,
    three_digit_codes,
    williams_square,
)


@pytest.mark.parametrize("n", range(1, 13))
def test_williams_square_is_balanced_for_place_and_for_what_comes_before(n):
    """Williams (1949): each sample equally often in each place, and after each other one equally often."""
    rows = williams_square(n)
    assert len(rows) == (n if n % 2 == 0 or n == 1 else 2 * n)
    places = Counter((sample, place) for row in rows for place, sample in enumerate(row))
    assert set(places.values()) == {len(rows) // n}
    assert len(places) == n * n
    followers = Counter(pair for row in rows for pair in pairwise(row))
    assert len(followers) == n * (n - 1)
    assert set(followers.values()) <= {1 if n % 2 == 0 else 2}


def test_a_full_set_of_raters_keeps_the_balance_whatever_the_seed():
    for seed in range(5):
        orders = balanced_orders(6, 12, np.random.default_rng(seed))
        followers = Counter(pair for row in orders for pair in pairwise(row))
        assert set(followers.values()) == {2}
        assert all(sorted(row) == list(range(6)) for row in orders)


def test_same_seed_same_orders_and_other_seed_others():
    first, again, other = (balanced_orders(7, 9, np.random.default_rng(seed)) for seed in (3, 3, 4))
    assert first == again
    assert first != other


def test_every_pair_comes_once_and_sides_change_from_rater_to_rater():
    sheets = balanced_pairs(5, 4, np.random.default_rng(2))
    wanted = sorted(combinations(range(5), 2))
    assert all(sorted(tuple(sorted(pair)) for pair in sheet) == wanted for sheet in sheets)
    for first, second in (sheets[:2], sheets[2:]):
        assert {(b, a) for a, b in first} == set(second)


def test_codes_are_different_and_have_three_digits():
    codes = three_digit_codes(800, np.random.default_rng(1))
    assert len(set(codes)) == 800
    assert all(len(code) == 3 and 100 <= int(code) <= 999 and len(set(code)) > 1 for code in codes)
    with pytest.raises(ValueError, match="at most 800"):
        three_digit_codes(801, np.random.default_rng(1))


def test_repeatability_of_pairs_is_the_root_of_half_the_mean_squared_difference():
    """Closed form for pairs: sqrt(sum d^2 / 2n); variants judged once play no part."""
    grades = [("Ann", "echo", "1", 3.0), ("Ann", "echo", "1", 5.0), ("Ann", "echo", "2", 4.0), ("Ann", "echo", "2", 4.0),
              ("Ann", "echo", "3", 1.0), ("Bo", "echo", "1", 2.0)]  # fmt: skip
    (found,) = repeatability(grades)
    assert (found.rater, found.n_pairs) == ("Ann", 2)
    assert found.sd == pytest.approx(math.sqrt((2**2 + 0) / (2 * 2)))


def test_repeatability_recovers_a_known_scatter():
    """Simulation whose truth is written down: sd 0.8, 4,000 repeats; standard error 0.8 / sqrt(8000) = 0.009."""
    rng = np.random.default_rng(5)
    grades = [("Ann", "echo", str(variant), float(grade)) for variant in range(4000)
              for grade in rng.normal(variant % 7, 0.8, 2)]  # fmt: skip
    assert repeatability(grades)[0].sd == pytest.approx(0.8, abs=0.04)


def test_hidden_repeats_do_not_follow_each_other_where_that_can_be():
    """Two raters of five samples, one of them repeated: never side by side, and no sample twice at one place."""
    variants = ("a", "b", "c", "d", "a")
    plain = 0
    for seed in range(40):
        orders = orders_apart(variants, 2, np.random.default_rng(seed))
        assert all(sorted(order) == list(range(5)) for order in orders)
        assert not any({first, second} == {0, 4} for order in orders for first, second in pairwise(order))
        assert not any(first == second for first, second in zip(*orders, strict=True))
        drawn = balanced_orders(5, 2, np.random.default_rng(seed))
        plain += any({first, second} == {0, 4} for order in drawn for first, second in pairwise(order))
    assert plain > 10  # a single draw puts them side by side often


def test_orders_with_repeats_are_still_balanced_over_a_whole_square():
    orders = orders_apart(("a", "b", "c", "a"), 4, np.random.default_rng(1))
    assert all(sorted(column) == [0, 1, 2, 3] for column in zip(*orders, strict=True))
