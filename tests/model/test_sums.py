from __future__ import annotations

import pytest

from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.sums import sums

RESIN = Factor("resin", low=40, high=70)
CHALK = Factor("chalk", low=10, high=50, step=5)
FIBRE = Factor("fibre", low=0, high=8)
GAUGE = Factor("gauge", low=1, high=3)
MAT = Factor("mat", "categorical", levels=["glass", "jute"])
FACTORS = (RESIN, CHALK, FIBRE, GAUGE, MAT)


@pytest.mark.parametrize(
    ("rule", "weights", "total"),
    [
        ("resin + chalk + fibre == 100", {"resin": 1, "chalk": 1, "fibre": 1}, 100),
        ("resin == 5 + chalk * 2", {"resin": 1, "chalk": -2}, 5),
        ("weight == 90", {"resin": 2, "chalk": 1.5}, 90),
        ("(resin - chalk) / 2 == 0 * gauge", {"resin": 0.5, "chalk": -0.5}, 0),
    ],
)
def test_an_equation_straight_in_numbers_is_a_sum(rule: str, weights: dict[str, float], total: float) -> None:
    """Whatever else is derived, of factors that are in no sum."""
    derived = [Derived("stiffness", "gauge ** 3"), Derived("weight", "2 * resin + chalk * 1.5")]
    (found,) = sums(FACTORS, [Limit("gauge >= 1.2"), Limit(rule)], derived)
    share = found.weights[0] / weights["resin"]  # either side of an equation may be the positive one
    assert {part.name: weight for part, weight in zip(found.parts, found.weights, strict=True)} == pytest.approx(
        {name: share * weight for name, weight in weights.items()}
    )
    assert found.total == pytest.approx(share * total)
    assert found.rest is RESIN  # without steps, and the widest


@pytest.mark.parametrize(
    "rule",
    [
        "resin + chalk <= 100",
        "resin * chalk == 900",
        "resin ** 2 + chalk == 4000",
        "resin == 55",
        "mat == 'glass'",
        "40 <= resin == chalk",
        "resin / (gauge - 1) == chalk",
        "resin + chalk == 80 or fibre > 2",
    ],
)
def test_no_other_rule_is_a_sum(rule: str) -> None:
    assert sums(FACTORS, [Limit(rule)], ()) == ()


def test_each_sum_leaves_the_rest_to_a_factor_that_no_sum_before_it_uses() -> None:
    rules = [Limit("resin + chalk == 90"), Limit("resin + fibre == 60"), Limit("chalk == 5 * fibre")]
    assert [found.rest.name for found in sums(FACTORS, rules, ())] == ["resin", "fibre"]


def test_what_settings_leave() -> None:
    (found,) = sums(FACTORS, [Limit("resin + 2 * chalk + fibre == 100")], ())
    assert found.left({"chalk": 20, "fibre": 6}) == pytest.approx(54)
    assert found.left({"resin": 54, "fibre": 6}, CHALK) == pytest.approx(20)
