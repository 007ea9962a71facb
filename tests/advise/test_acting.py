"""Outcomes share what acts: pairs of draws against the joint posterior worked out by listing every possibility."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.advise.acting import ALIVE, DEAD, USUAL, related
from doe.advise.prior import FullDraws
from doe.coding import Coding
from doe.model.factor import Factor

FACTORS = tuple(Factor(name, kind="continuous", low=0, high=1) for name in ("wool", "tube", "vents"))
CODING = Coding(FACTORS)
MAINS = CODING.terms("main")
N_DRAWS = 20_000


def believed(included, terms=MAINS):
    """Draws that hold the terms given, shape (n_draws, n_terms); the mean of each is its number."""
    numbers, ones = np.arange(len(included), dtype=float), np.ones(len(included))
    coefficients = np.column_stack([numbers, included.astype(float)])
    return FullDraws(
        terms, coefficients, included, ones, ones, numbers[:, None], ("1",), (1,) * len(terms), coefficients
    )


def chance(acts):
    """Chance of one factor's pattern over the outcomes, straight from its definition."""
    alive = (USUAL - DEAD) / (ALIVE - DEAD)
    parts = [(alive, ALIVE), (1 - alive, DEAD)]
    return sum(share * np.prod([p if act else 1 - p for act in acts]) for share, p in parts)


def by_listing(frequencies):
    """Joint posterior of what acts on each outcome: separate posteriors of the 8 sets, times joint prior over separate ones."""
    sets = list(product((False, True), repeat=3))
    separate = [USUAL ** sum(acts) * (1 - USUAL) ** (3 - sum(acts)) for acts in sets]
    weights = {}
    for places in product(range(8), repeat=len(frequencies)):
        joint = np.prod([chance([sets[place][factor] for place in places]) for factor in range(3)])
        ratio = joint / np.prod([separate[place] for place in places])
        weights[places] = ratio * np.prod([frequencies[k][place] for k, place in enumerate(places)])
    total = sum(weights.values())
    return {places: weight / total for places, weight in weights.items()}


def test_by_itself_an_outcome_is_left_as_it_was():
    for n_outcomes in (1, 2, 3):
        every = [chance(acts) for acts in product((False, True), repeat=n_outcomes)]
        assert sum(every) == pytest.approx(1)
    assert chance([True]) == pytest.approx(USUAL)
    draws = believed(np.random.default_rng(1).random((50, 3)) < USUAL)
    assert related([draws], CODING, np.random.default_rng(2)) == (draws,)


@pytest.mark.parametrize("n_outcomes", [2, 3])
def test_pairs_follow_the_joint_posterior(n_outcomes):
    """Every combination of sets within five standard errors of its share; some are far from what chance pairs would give."""
    rng = np.random.default_rng(3)
    frequencies = rng.dirichlet(np.ones(8), size=n_outcomes)
    sets = np.array(list(product((False, True), repeat=3)))
    given_sets = [rng.permutation(np.repeat(np.arange(8), counts)) for counts in _counts(frequencies)]
    exact = by_listing([np.bincount(those, minlength=8) / N_DRAWS for those in given_sets])
    found = related([believed(sets[those]) for those in given_sets], CODING, rng)
    places = [item.included @ [4, 2, 1] for item in found]
    numbers = np.ravel_multi_index(places, (8,) * n_outcomes)
    shares = np.bincount(numbers, minlength=8**n_outcomes) / N_DRAWS
    wanted = np.array(list(exact.values()))
    assert np.all(np.abs(shares - wanted) < 5 * np.sqrt(wanted / N_DRAWS) + 2 / N_DRAWS)
    assert wanted.max() > 1.5 * np.prod(
        [frequencies[k][place[0]] for k, place in enumerate(_places(wanted, n_outcomes))]
    )


def _counts(frequencies):
    counts = np.floor(frequencies * N_DRAWS).astype(int)
    counts[:, 0] += N_DRAWS - counts.sum(axis=1)
    return counts


def _places(wanted, n_outcomes):
    return [np.atleast_1d(place) for place in np.unravel_index(int(wanted.argmax()), (8,) * n_outcomes)]


def test_what_is_plain_in_one_outcome_is_believed_of_another():
    """Wool acts on bass for sure, tube does not; echo has been read too little to tell either."""
    rng = np.random.default_rng(4)
    bass = np.column_stack([np.ones(N_DRAWS, dtype=bool), np.zeros(N_DRAWS, dtype=bool), rng.random(N_DRAWS) < USUAL])
    echo = rng.random((N_DRAWS, 3)) < USUAL
    found = related([believed(bass), believed(echo)], CODING, rng)[1].included.mean(axis=0)
    assert found[0] == pytest.approx(chance([True, True]) / USUAL, abs=0.015)
    assert found[1] == pytest.approx(chance([False, True]) / (1 - USUAL), abs=0.015)
    assert found[2] == pytest.approx(USUAL, abs=0.015)


def test_a_factor_acts_by_a_pair_too():
    rng = np.random.default_rng(5)
    terms = tuple(term for term in CODING.terms("two-factor") if term.name in ("wool", "wool:tube"))
    pair = np.column_stack([np.ones(N_DRAWS, dtype=bool), np.ones(N_DRAWS, dtype=bool)])
    echo = rng.random((N_DRAWS, 3)) < USUAL
    found = related([believed(pair, terms), believed(echo)], CODING, rng)[1].included.mean(axis=0)
    assert found[:2].min() > 0.6 > 0.3 > found[2]


@given(st.integers(0, 2**31), st.integers(2, 4), st.integers(1, 40))
def test_draws_are_paired_anew_and_never_changed(seed, n_outcomes, n_draws):
    rng = np.random.default_rng(seed)
    given_draws = [believed(rng.random((n_draws, 3)) < rng.random(3)) for _ in range(n_outcomes)]
    for before, after in zip(given_draws, related(given_draws, CODING, rng), strict=True):
        numbers = after.coefficients[:, 0].astype(int)
        assert len(numbers) == n_draws
        np.testing.assert_array_equal(after.included, before.included[numbers])
        np.testing.assert_array_equal(after.variant_means[:, 0], numbers)
