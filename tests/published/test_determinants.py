"""Determinants that take too long to be found again for the report."""

import time

import pytest

from tests.published.verification_plans import HARD_ORDERS, determinant, determinant_rows


@pytest.mark.slow
@pytest.mark.published
def test_the_largest_determinants_of_order_17_to_20_are_reached_within_45_seconds():
    """99 % of OEIS A003433 at a fixed seed, in processor time on one core; orders 2 to 16 are checked with the other figures.

    All of 2 to 20 may take a minute, and these are three quarters of the work.
    """
    determinant.cache_clear()
    start = time.process_time()
    checked = determinant_rows(HARD_ORDERS)
    seconds = time.process_time() - start
    for one in checked:
        assert 0.99 * one["published"] <= one["ours"] <= one["published"], one
    assert seconds < 45
