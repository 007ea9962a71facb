"""What came from what, and which two are compared, by hand."""

import pytest

from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.web.variants import _lineage, _settings, _telling_pair

SETUP = Setup(factors=[Factor("wool_mass", low=0, high=60, unit="g"), Factor("gap", low=0, high=9)])


def built(name, wool, parent=None, unit="A", **more):
    return Variant(name, {"wool_mass": wool, "gap": 1.0}, unit=unit, parent=parent, **more)


VARIANTS = [
    built("1", 0.0),
    built("2", 30.0, "1"),
    built("3", 30.0, "1", "B"),
    built("4", 30.0, "2"),
    built("5", 20.0, "gone"),
    Variant("shop radio"),
]


def test_each_variant_stands_under_the_one_that_it_was_changed_from():
    """A parent that is not on record makes none; of a page of the list only its own rows are told, as deep as they are."""
    variants = [*VARIANTS, built("6", 20.0, unit=None), built("7", 30.0, "3", None)]
    marks = dict.fromkeys([item.name for item in variants], "")
    told = [(item.name, item.depth, item.what) for item in _lineage(variants, SETUP, marks, set(marks))]
    assert told == [
        ("1", 0, "first build, unit A"),
        ("2", 1, "wool mass 0 → 30 g"),
        ("4", 2, "the same settings again"),
        ("3", 1, "wool mass 0 → 30 g, on unit B"),
        ("7", 2, "the same settings again"),
        ("5", 0, "a further build, unit A"),
        ("shop radio", 0, "a reference object"),
        ("6", 0, "first build"),
    ]
    planned = built("1", 0.0, status="planned")
    assert _lineage([planned], SETUP, marks, {"1"})[0].what == "a planned build, unit A"
    assert [(item.name, item.depth) for item in _lineage(VARIANTS, SETUP, marks, {"4", "5"})] == [("4", 2), ("5", 0)]


def test_a_derived_quantity_is_shown_or_a_dash_where_it_has_no_number():
    setup = Setup(factors=SETUP.factors, derived=[Derived("share", "gap / wool_mass")])
    assert _settings(built("1", 0.0), None, setup)[2:] == (("share", "-", ""),)
    assert _settings(built("1", 20.0), None, setup)[2:] == (("share", "0.05", ""),)


@pytest.mark.parametrize(
    ("variants", "best", "pair"),
    [
        (VARIANTS, "2", ("2", "5")),  # the best, with the last that was built
        (VARIANTS, "", ("4", "5")),  # its parent is gone, so the one before
        (VARIANTS[:3], "3", ("1", "3")),  # the last is the best, so what it came from
        ([*VARIANTS[:2], built("3", 9.0, status="planned")], "", ("1", "2")),
        ([VARIANTS[0], VARIANTS[5]], "1", ("", "")),
    ],
)
def test_the_two_that_are_compared_first_are_the_last_and_what_it_is_held_against(variants, best, pair):
    assert _telling_pair(variants, best) == pair
