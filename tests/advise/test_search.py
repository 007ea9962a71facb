import numpy as np
import pytest

from doe.advise.search import climb, numbered, pool, single_changes, unique
from doe.advise.space import make_space
from doe.coding import Coding
from doe.model.factor import Factor
from doe.model.limit import Limit

FACTORS = tuple(Factor(f"f{k}", low=0, high=9, step=1) for k in range(6))
"""10^6 variants."""


def rugged(space, seed):
    """A score as advice meets it: few mains, products and squares, clipped to 0..1, divided by the effort of a change."""
    rng = np.random.default_rng(seed)
    n = len(space.factors)
    main, square, cross = rng.normal(size=n), -np.abs(rng.normal(size=n)), np.triu(rng.normal(size=(n, n)), 1)
    cross *= rng.random((n, n)) < 0.3
    minutes = rng.uniform(5, 40, size=n)

    def score(codes):
        u = codes / (np.array(space.shape) - 1) * 2 - 1
        value = u @ main + (u**2) @ square + np.einsum("ni,ij,nj->n", u, cross, u)
        effort = 21 + (codes != 0) @ minutes
        return np.clip(0.5 + value / 4, 0, 1) / effort**0.7

    return score


@pytest.mark.parametrize("seed", range(6))
def test_search_of_a_million_comes_within_one_percent_of_the_best(seed):
    """Against the best of all 10^6 variants, by brute force."""
    space = make_space(Coding(FACTORS))
    score = rugged(space, seed)
    best = max(score(block).max() for block in np.array_split(space.everything(), 10))
    found = climb(space, score, pool(space, np.zeros((1, 6), dtype=np.intp), np.random.default_rng(seed)))
    assert len(found) < 20_000
    assert score(found).max() >= 0.99 * best


def test_search_keeps_limits():
    space = make_space(Coding(FACTORS), limits=[Limit("f0 + f1 <= 6")])
    score = rugged(space, 1)
    start = pool(space, np.zeros((1, 6), dtype=np.intp), np.random.default_rng(1))
    found = climb(space, score, start)
    assert (found[:, 0] + found[:, 1]).max() <= 6


def test_single_changes_are_each_one_factor_away():
    space = make_space(Coding(FACTORS[:3]))
    centre = np.array([0, 4, 9])
    changes = single_changes(space, centre)
    assert len(changes) == 27
    assert ((changes != centre).sum(axis=1) == 1).all()
    assert len(unique(space, np.vstack([changes, changes]))) == 27


def test_every_variant_of_a_grid_has_its_own_number():
    space = make_space(Coding(FACTORS[:4]))
    assert len(np.unique(numbered(space, space.everything()))) == space.size
