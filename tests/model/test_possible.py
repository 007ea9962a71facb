"""Contradictions are found where there are any, and nothing is called impossible that some settings keep."""

from __future__ import annotations

import contextlib
import itertools
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits, derive
from doe.model.possible import check_storable, impossible
from doe.model.setup import Setup
from tests.refusing import refused

RINGS = Factor("rings", "count", low=7, high=12)
WOOL = Factor("wool", low=0, high=60)
GAP = Factor("gap", low=-1, high=1, step=0.25)
DRIVER = Factor("driver", "categorical", levels=["paper", "poly"])


def _setup(*limits: str, **derived: str) -> Setup:
    return Setup(
        factors=[RINGS, WOOL, GAP, DRIVER],
        limits=[Limit(rule) for rule in limits],
        derived=[Derived(name, text) for name, text in derived.items()],
    )


ALONE = "No settings keep the limit '{}' within the factors' ranges; loosen it or widen a range."
BOTH = "No settings keep both limits '{}' and '{}'; loosen or remove one of them."


@pytest.mark.parametrize(
    ("setup", "sentence"),
    [
        (_setup("rings > 12"), ALONE.format("rings > 12")),
        (_setup("rings == 8.5"), ALONE.format("rings == 8.5")),
        (_setup("rings + wool > 72"), ALONE.format("rings + wool > 72")),
        (_setup("sqrt(wool + 1) < 0"), ALONE.format("sqrt(wool + 1) < 0")),
        (_setup("gap ** 2 > 1"), ALONE.format("gap ** 2 > 1")),
        (_setup("1 / (gap * 0) != 3"), ALONE.format("1 / (gap * 0) != 3")),
        (_setup("wool > 40", "rings > 8", "wool < 20"), BOTH.format("wool > 40", "wool < 20")),
        (_setup("driver == 'poly'", "driver == 'paper'"), BOTH.format("driver == 'poly'", "driver == 'paper'")),
        (_setup("air >= 400", "wool > 50", air="rings * 42 - wool * 2.1"), BOTH.format("air >= 400", "wool > 50")),
        (
            _setup("wool + rings > 40", "wool + gap < 29", "rings < 10"),
            "No settings keep all the limits together: 'wool + rings > 40', 'wool + gap < 29', 'rings < 10'; "
            "loosen or remove one of them.",
        ),
        (
            _setup(per="rings / 0"),
            "Derived quantity 'per': 'rings / 0' gives no number at any setting; look for a division by zero, or a root or "
            "logarithm of a negative number.",
        ),
        (
            _setup(root="sqrt(gap - 2)", twice="root * 2"),
            "Derived quantity 'root': 'sqrt(gap - 2)' gives no number at any setting; look for a division by zero, or a root "
            "or logarithm of a negative number.",
        ),
    ],
)  # fmt: skip
def test_what_nothing_keeps_is_named(setup: Setup, sentence: str) -> None:
    with refused(UsageError, sentence):
        check_storable(setup)


@pytest.mark.parametrize(
    "setup",
    [
        _setup("rings >= 12", "wool <= 0", "gap == -0.75", "driver != 'poly'"),
        _setup("rings + wool >= 72"),
        _setup("wool == 12.34567"),  # a setting that halving never meets: nothing is claimed
        _setup("gap * 0.1 + gap * 0.2 == gap * 0.3", "gap * 0.3 >= gap * 0.2 + gap * 0.1", "gap > 0.9"),  # but for rounding
        _setup("wool - wool > 0"),  # impossible, but not to be proved by boxes
        _setup("1 / gap > 0", per="1 / gap"),
        _setup("abs(gap) < 0.1", "wool > 59.99", "rings % 5 == 2"),
        Setup(),
    ],
)  # fmt: skip
def test_nothing_is_claimed_without_a_proof(setup: Setup) -> None:
    assert impossible(setup) == ""


SLOT = Factor("slot", low=-1, high=1, step=0.5)
LIFT = Factor("lift", "count", low=-2, high=3)
REACHING = [
    "slot + lift", "slot - lift", "slot * lift", "+slot - -lift", "lift / (slot + 3)", "lift / slot",
    "slot / (lift - 4)", "lift % 3", "lift % (slot - 4)", "7 % (lift - 4)", "slot ** 2", "lift ** 3",
    "slot ** -1", "lift ** -2", "lift ** 0.5", "lift ** 0", "(lift - 4) ** -1", "abs(lift)", "abs(lift - 4)",
    "min(slot, lift)", "max(slot, lift, 0.2)", "sqrt(lift)", "log(lift + 3)", "log10(slot)", "exp(lift)",
    "9 / (1 + exp(300 * lift))", "exp(-lift) + 1 / slot", "floor(slot * 3)", "ceil(slot * 3)", "-lift",
    "sqrt(-1 / lift)",
]  # fmt: skip


@pytest.mark.parametrize("term", REACHING)
def test_what_a_quantity_reaches_is_possible_and_what_is_beyond_is_not(term: str) -> None:
    """Of 30 settings, each of them tried: the least and the greatest value can be had, more or less cannot."""
    setup = Setup(factors=[SLOT, LIFT], derived=[Derived("it", term)])
    found = []
    for slot, lift in itertools.product(SLOT.grid(), LIFT.grid()):
        with contextlib.suppress(DataError):
            found.append(derive({"slot": slot, "lift": lift}, setup.derived)["it"])
    least, most = min(found), max(found)
    for rule in (f"it >= {most!r}", f"it == {least!r}", f"not it > {least!r}", f"{least!r} <= it <= {most!r}"):
        assert impossible(replace(setup, limits=[Limit(rule)])) == ""
    assert (impossible(replace(setup, limits=[Limit(f"it != {least!r}")])) == "") == (least < most)
    for rule in (f"it > {most!r}", f"it < {least!r}", f"not {least!r} <= it <= {most!r}"):
        assert impossible(replace(setup, limits=[Limit(rule)])) == ALONE.format(rule)


_TERMS = ["rings", "gap", "gap * rings", "rings ** 2 - 90", "1 / gap", "sqrt(gap)", "abs(gap) * 9", "min(rings, 9)",
          "rings % 4", "log(gap)", "exp(gap)", "-gap ** 3", "rings / (gap - 1)", "floor(gap * 3)", "gap ** -2"]  # fmt: skip
_RULES = st.one_of(
    st.builds(
        lambda first, sign, second, number: f"{first} {sign} {second} + {number}",
        st.sampled_from(_TERMS), st.sampled_from(["<", "<=", ">", ">=", "==", "!="]), st.sampled_from(_TERMS),
        st.integers(-40, 40),
    ),
    st.builds(lambda first, number: f"not ({first} < {number} or gap > 0.5)", st.sampled_from(_TERMS), st.integers(-9, 40)),
)  # fmt: skip


@given(st.lists(_RULES, min_size=1, max_size=3))
def test_a_proof_agrees_with_trying_everything(rules: list[str]) -> None:
    """54 settings in all, each of them tried: limits are called impossible just where none keeps them."""
    limits = [Limit(rule) for rule in rules]
    setup = Setup(factors=[RINGS, GAP], limits=limits)
    every = itertools.product(RINGS.grid(), GAP.grid())
    is_kept = any(not broken_limits({"rings": rings, "gap": gap}, limits) for rings, gap in every)
    assert (impossible(setup) == "") == is_kept
