"""What would bring a lasting setting nearer, against settings worked out by hand."""

import pytest

from doe.advise.lasting import solve
from doe.advise.must_give import _widened, what_must_give
from doe.advise.standin import choose_stand_in
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit

FACTORS = (
    Factor("depth", kind="count", low=5, high=9, way="rebuild"),
    Factor("width", kind="count", low=5, high=9, way="rebuild"),
    Factor("body", kind="categorical", levels=["slim", "wide"], way="rebuild"),
    Factor("wool", low=0, high=40, step=5, minutes=8),
)
START = {"depth": 8, "width": 5, "body": "slim", "wool": 40.0}


def must_give(rule, *limits):
    stand_in, kept = choose_stand_in(FACTORS, [Derived("air", rule, unit="cm3")]), [Limit(limit) for limit in limits]
    solved = solve(stand_in, FACTORS, START, limits=kept)
    return what_must_give(stand_in, FACTORS, START, solved, limits=kept)


@pytest.mark.parametrize("sign", ["", "-"])
def test_limits_and_ranges_are_named_the_nearest_first_and_only_where_they_stand_in_the_way(sign):
    """90 are kept, and without wool 8 and 5 make 130. A width of 1 makes 90; without the limit, a depth of 5 makes 100.

    A depth below 8 is of no use while the limit holds. The same with too little instead of too much.
    """
    rule = f'{sign}(depth * 10 + width * 10 - wool + (body == "wide"))'
    assert must_give(rule, "depth >= 8", "width <= 99") == (
        "width beyond 5 to 9: depth 8, width 1 and body slim would be 0 cm3 off",
        "without the limit depth >= 8: depth 5, width 5 and body slim would be 10 cm3 off",
    )


def test_limits_that_have_to_go_together_are_named_together():
    """With 13 for both no width is of use, and a depth of 5 breaks either limit."""
    rule = 'depth * 10 + width * 10 - wool + (body == "wide")'
    assert must_give(rule, "depth >= 8", "width <= 99", "depth + width >= 13") == (
        "without the limits depth >= 8 and depth + width >= 13: depth 5, width 5 and body slim would be 10 cm3 off",
    )


def test_a_limit_that_cannot_be_worked_out_without_the_stand_in_is_named():
    """At wool 0 it divides by nothing; without it a depth of 5 and a width of 5 come to 100 of 90, which a range makes good."""
    rule = 'depth * 10 + width * 10 - wool + (body == "wide")'
    assert must_give(rule, "20 / wool <= 4") == (
        "without the limit 20 / wool <= 4: depth 5, width 5 and body slim would be 10 cm3 off",
    )


@pytest.mark.parametrize(
    ("low", "high", "step", "ends"),
    [
        (10, 14, 1, (6, 18)),  # once more as wide to either side
        (3, 9, 3, (3, 15)),  # zero is not reached
        (0.3, 0.9, 0.1, (0.1, 1.5)),
        (0, 60, 5, (0, 120)),
        (-5, 5, None, (-15, 15)),
        (-60, 0, 5, (-120, 0)),  # from below neither
        (-9, -3, 3, (-15, -3)),
        (10, 14, None, (6, 18)),
    ],
)
def test_a_range_is_widened_by_its_width_but_not_across_zero(low, high, step, ends):
    wider = _widened(Factor("gap", low=low, high=high, step=step))
    assert (wider.low, wider.high) == pytest.approx(ends)
    assert _widened(FACTORS[2]) is None
