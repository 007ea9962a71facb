from __future__ import annotations

import itertools
import operator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits, check_rules, derive, names_behind
from tests.refusing import refused

RINGS = Factor("rings", "count", low=7, high=12)
WOOL = Factor("wool", low=0, high=60)
DRIVER = Factor("driver", "categorical", levels=["paper", "poly"])
FACTORS = (RINGS, WOOL, DRIVER)
AIR = Derived("air", "rings * 42 - wool * 2.1", unit="cm3")
TWICE = Derived("twice", "air * 2")
SIGNS = {"<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge, "==": operator.eq, "!=": operator.ne}


def test_quantities_build_on_one_another() -> None:
    settings = {"rings": 10, "wool": 20.0, "driver": "poly"}
    assert derive(settings, [AIR, TWICE]) == {**settings, "air": 378.0, "twice": 756.0}
    assert "air" not in settings


def test_a_limit_rests_on_what_its_quantities_rest_on() -> None:
    assert names_behind(["twice"], [AIR, TWICE, Derived("far", "gap * 2")]) == {"twice", "air", "rings", "wool"}


@given(st.lists(st.tuples(st.integers(7, 12), st.floats(0, 60)), min_size=1, max_size=20))
def test_many_variants_are_derived_and_limited_as_one(rows: list[tuple[int, float]]) -> None:
    """Arrays give for each variant what the variant alone gives."""
    limits = [Limit("air >= 300"), Limit("not (twice > 900 and wool < 30)")]
    columns = {"rings": np.array([row[0] for row in rows]), "wool": np.array([row[1] for row in rows])}
    values = derive(columns, [AIR, TWICE])
    for place, (rings, wool) in enumerate(rows):
        alone = {"rings": rings, "wool": wool}
        assert values["air"][place] == derive(alone, [AIR])["air"]
        broken = [limit for limit in limits if not limit.expression.evaluate(values)[place]]
        assert broken == broken_limits(alone, limits, [AIR, TWICE])


@pytest.mark.parametrize("sign", ["<", "<=", ">", ">=", "==", "!="])
def test_tenths_add_up_as_they_do_by_hand(sign: str) -> None:
    """Whole numbers as the yardstick: of three shares in steps of 0.1, 0.1 + 0.2 - 0.3 is nothing."""
    shares = [Factor(name, low=0, high=1, step=0.1) for name in "abc"]
    limits = [Limit(f"a + b {sign} c"), Limit(f"a + b + c {sign} 1"), Limit(f"-c {sign} -a - b")]
    whole = list(itertools.product(range(11), (0, 1, 2, 7), (0, 2, 3, 9)))
    settings = [
        {factor.name: factor.read(tenths / 10) for factor, tenths in zip(shares, row, strict=True)} for row in whole
    ]
    columns = {name: np.array([row[name] for row in settings]) for name in "abc"}
    by_hand = [[SIGNS[sign](a + b, c), SIGNS[sign](a + b + c, 10), SIGNS[sign](a + b, c)] for a, b, c in whole]
    assert [[not broken_limits(row, [limit]) for limit in limits] for row in settings] == by_hand
    assert np.transpose([limit.expression.evaluate(columns) for limit in limits]).tolist() == by_hand


def test_a_limit_that_cannot_be_computed_is_broken() -> None:
    limits = [Limit("1 / wool < 1"), Limit("not 1 / wool > 1"), Limit("1 / wool != 1"), Limit("wool >= 0")]
    assert broken_limits({"wool": 0.0}, limits) == limits[:3]
    assert broken_limits({"wool": 5.0}, limits) == []
    kept = [limit.expression.evaluate({"wool": np.array([0.0, 5.0])}).tolist() for limit in limits]
    assert kept == [[False, True], [False, True], [False, True], [True, True]]


def test_a_quantity_that_cannot_be_computed_breaks_only_the_limits_that_use_it() -> None:
    inverse = Derived("inverse", "1 / wool")
    limits = [Limit("inverse < 1"), Limit("air > 300"), Limit("not inverse > 1")]
    settings = {"wool": 0.0, "rings": 10}
    assert broken_limits(settings, limits, [inverse, AIR]) == [limits[0], limits[2]]
    values = derive({name: np.array([value]) for name, value in settings.items()}, [inverse, AIR])
    assert [bool(limit.expression.evaluate(values)[0]) for limit in limits] == [False, True, False]
    with refused(DataError, "'1 / wool' cannot be computed for wool = 0.0: it divides by zero."):
        derive(settings, [inverse, AIR])


def test_a_limit_compares_and_a_quantity_does_not() -> None:
    with refused(UsageError, "Limit 'wool + 3' compares nothing; write it with <, <=, >, >=, == or !=."):
        Limit("wool + 3")
    with refused(UsageError, "Derived quantity 'air' is a comparison; it must be arithmetic."):
        Derived("air", "wool > 3")
    with refused(UsageError, "A rule is empty; write one such as 'rings * 42 - wool * 2.1 >= 180'."):
        Limit(" ")
    assert Limit("not wool > 3 or rings == 7").expression.names == {"wool", "rings"}


def test_rules_that_fit_pass() -> None:
    rules = ["driver == 'poly' or wool < 30", "air >= 180", "'paper' != driver", "5 * (driver == 'poly') + wool <= 60"]
    check_rules(FACTORS, [Limit(rule) for rule in rules], [AIR, TWICE])


@pytest.mark.parametrize(
    ("rule", "message"),
    [
        ("wol > 3", "Limit 'wol > 3' uses 'wol', which is no factor. Did you mean 'wool'?"),
        ("driver > 3", "Limit 'driver > 3' compares driver with 3; a level is compared with a level's name in quotes."),
        (
            "wool == 'poly'",
            "Limit 'wool == 'poly'' compares 'poly' with wool; a level is compared with a level's name in quotes.",
        ),
        ("driver > 'poly'", "Limit 'driver > 'poly'' puts levels in an order; they are only compared with == and !=."),
        (
            "driver == 'pol'",
            "Limit 'driver == 'pol'': driver has no level 'pol'; it must be paper or poly. Did you mean 'poly'?",
        ),
        (
            "'Poly' == driver",
            "Limit ''Poly' == driver': driver has no level 'Poly'; it must be paper or poly. Did you mean 'poly'?",
        ),
        ("driver * 2 > 3", "Limit 'driver * 2 > 3' calculates with driver, which is a level and no number."),
        ("max(driver, 2) > 3", "Limit 'max(driver, 2) > 3' calculates with driver, which is a level and no number."),
        ("-driver > 3", "Limit '-driver > 3' calculates with driver, which is a level and no number."),
        (
            "wool > 3 and 'a' * 3 == 'aaa'",
            "Limit 'wool > 3 and 'a' * 3 == 'aaa'' compares 'aaa' with 'a' * 3; "
            "a level is compared with a level's name in quotes.",
        ),
    ],
)
def test_a_rule_against_the_kind_of_its_factors_is_refused_at_once(rule: str, message: str) -> None:
    """A rule that could never be computed, or never hold, is refused when it is written, not at the bench."""
    with refused(UsageError, message):
        check_rules(FACTORS, [Limit(rule)], [])


@pytest.mark.parametrize(
    ("factors", "derived", "message"),
    [
        ((WOOL, WOOL), (), "Factor 'wool' is defined twice."),
        ((WOOL, Factor("Wool", low=0, high=1)), (), "Factor 'Wool' is defined twice."),
        (
            (WOOL,),
            (Derived("WOOL", "wool * 2"),),
            "Derived quantity 'WOOL' has the name of something defined before it.",
        ),
        ((WOOL,), (TWICE,), "Derived quantity 'twice': 'air * 2' uses 'air', which is no factor; there is only wool."),
        (
            FACTORS,
            (TWICE, AIR),
            "Derived quantity 'twice': 'air * 2' uses 'air', which is no factor; there are rings, wool and driver.",
        ),
        (FACTORS, (Derived("d", "driver"),), "Derived quantity 'd': 'driver' is a level; it must be a number."),
        (FACTORS, (Derived("d", "'poly'"),), "Derived quantity 'd': ''poly'' is a level; it must be a number."),
        (
            FACTORS,
            (Derived("d", "driver + 1"),),
            "Derived quantity 'd': 'driver + 1' calculates with driver, which is a level and no number.",
        ),
    ],
)
def test_names_are_defined_once_and_before_they_are_used(
    factors: tuple[Factor, ...], derived: tuple[Derived, ...], message: str
) -> None:
    with refused(UsageError, message):
        check_rules(factors, (), derived)
