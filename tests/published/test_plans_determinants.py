import time

import pytest

from tests.published.verification_plans import HARD_ORDERS, determinant, determinant_rows

pytestmark = pytest.mark.published


@pytest.mark.slow
@pytest.mark.parametrize("order", range(2, 15))
def test_maximal_determinants_are_reached_exactly(order):
    """OEIS A003433: the largest |det| of an order x order matrix of +-1, reached by main effects in as many runs."""
    (checked,) = determinant_rows(range(order, order + 1))
    assert checked["difference"] == 0, checked


@pytest.mark.slow
def test_all_maximal_determinants_to_twenty_within_a_minute():
    """OEIS A003433 (19: Brent, Orrick, Osborn & Zimmermann): exact to 16, 99 % at 17 to 20; fixed seed, under 60 s of
    processor time on one core.
    """
    determinant.cache_clear()
    start = time.process_time()
    checked = determinant_rows()
    assert time.process_time() - start < 60
    for order, one in zip(range(2, 21), checked, strict=True):
        if order not in HARD_ORDERS:
            assert one["difference"] == 0, one
        assert one["ours"] >= 0.99 * one["published"], one
        assert one["ours"] <= one["published"], one
