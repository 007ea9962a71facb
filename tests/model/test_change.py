from __future__ import annotations

import pytest

from doe.model.change import check_limits, find_variant, resolve_change
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.records import Unit, Variant
from doe.model.setup import Setup
from tests.refusing import refused

RADIO = Setup(
    factors=[Factor("rings", "count", low=7, high=12, way="rebuild"), Factor("wool", low=0, high=60, minutes=8)]
)
BUILT = {"rings": 9, "wool": 20.0}
UNITS = [Unit("A", BUILT, "1"), Unit("B", {"rings": 10, "wool": 0.0}, "2")]
VARIANTS = [
    Variant("1", BUILT, unit="A"),
    Variant("2", UNITS[1].settings, unit="B"),
    Variant("3", {"rings": 9, "wool": 40.0}, unit="A", status="planned"),
]


def test_a_broken_limit_is_told_though_another_quantity_has_no_number_there() -> None:
    setup = Setup(
        factors=[Factor("rings", "count", low=7, high=12), Factor("wool", low=0, high=60)],
        limits=[Limit("air >= 300")],
        derived=[Derived("air", "rings * 42"), Derived("per_wool", "1 / wool")],
    )
    with refused(DataError, "These settings break the limit 'air >= 300': air = 294."):
        check_limits({"rings": 7, "wool": 0.0}, setup)


def test_what_is_built_anew_takes_every_setting_or_a_start() -> None:
    """Nothing is taken over silently from what was built last."""
    told = (
        "rings has no value; it must be a whole number from 7 to 12. What is built anew takes a setting of every factor"
    )
    with refused(DataError, f"{told}, or a variant to start from, whose settings it keeps.") as caught:
        resolve_change(RADIO, UNITS, VARIANTS, {"wool": 30}, new_unit="C")
    assert caught.value.command == "write each as FACTOR=SETTING, or name the variant with --from"
    with refused(DataError, f"{told}.") as caught:
        resolve_change(RADIO, [], [Variant("shop")], {"wool": 30}, new_unit="C")
    assert caught.value.command == "write each as FACTOR=SETTING"
    made = resolve_change(RADIO, UNITS, VARIANTS, {"wool": 30}, new_unit="C", start="1")
    assert (made.unit, made.is_new_unit, made.parent, made.minutes) == ("C", True, "1", None)
    assert made.settings == {"rings": 9, "wool": 30.0}


@pytest.mark.parametrize(
    ("named", "unit", "is_new", "parent", "minutes"),
    [({}, "A", False, "1", 8.0), ({"unit": "a"}, "A", False, "1", 8.0), ({"new_unit": "C"}, "C", True, None, None)],
)
def test_a_planned_variant_is_built_where_it_is_said_to_be(
    named: dict[str, str], unit: str, is_new: bool, parent: str | None, minutes: float | None
) -> None:
    """Where nothing is said, on the unit that it was planned for."""
    made = resolve_change(RADIO, UNITS, VARIANTS, {}, planned="3", **named)  # type: ignore[arg-type]
    assert (made.unit, made.is_new_unit, made.parent, made.minutes) == (unit, is_new, parent, minutes)
    assert made.settings == VARIANTS[2].settings


def test_a_planned_variant_cannot_be_built_where_a_factor_cannot_go() -> None:
    with refused(DataError, "rings cannot go from 10 to 9 on unit B: it needs a new unit."):
        resolve_change(RADIO, UNITS, VARIANTS, {}, planned="3", unit="B")


def test_of_names_that_differ_in_capitals_only_one_is_spelled_out() -> None:
    """An older project may hold them."""
    alike = [Variant("ab"), Variant("AB")]
    assert find_variant("AB", alike).name == "AB"
    with refused(DataError, "There are variants ab and AB; spell 'Ab' with the capitals of the one meant."):
        find_variant("Ab", alike)
