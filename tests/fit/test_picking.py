import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from doe.fit.picking import systematic_picks


@given(
    st.lists(st.floats(0, 1e6), min_size=1, max_size=30).filter(lambda some: sum(some) > 1e-3),
    st.integers(1, 500),
    st.integers(0, 2**32),
)
def test_each_place_comes_as_often_as_its_share_says(weights, count, seed):
    """Systematic sampling: the expected count of each, rounded up or down, whatever the unit of the weights."""
    weights = np.array(weights)
    picks = systematic_picks(weights, count, np.random.default_rng(seed))
    counts, expected = np.bincount(picks, minlength=len(weights)), count * weights / weights.sum()
    assert len(picks) == count
    assert (np.abs(counts - expected) < 1 + 1e-6).all()
    again = systematic_picks(1024 * weights, count, np.random.default_rng(seed))
    assert (again == picks).all()


def test_the_order_is_random():
    picks = systematic_picks(np.ones(100), 100, np.random.default_rng(1))
    assert sorted(picks) == list(range(100))
    assert np.corrcoef(picks, np.arange(100))[0, 1] < 0.4
