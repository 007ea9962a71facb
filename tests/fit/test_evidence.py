"""Readings in cells, small enough to be counted by hand."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from doe.fit.evidence import gather, pairs
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.refusing import refused

FACTORS = (Factor("gap", low=0, high=10), Factor("wool", low=0, high=60))


def frame(rows, *columns):
    return pd.DataFrame(rows, columns=["variant", "value", "gap", "wool", *columns])


def test_a_variant_with_some_settings_only_is_refused():
    rows = [("1", 1.0, 1, 0), ("shop", 2.0, None, None), ("2", 3.0, 5, None)]
    with refused(DataError, "Variant 2 has no wool; give it, or leave all factors of a reference empty."):
        gather(frame(rows), FACTORS, Outcome("y"))


def test_readings_are_counted_beyond_those_that_give_variants_and_raters():
    """Two builds and a reference, each graded twice by both: twelve, less three variants and a difference of raters."""
    settings = {"2": (5, 30), "1": (1, 0), "shop": (None, None)}
    rows = [
        (variant, 3.0 + repeat, *own, rater, None if variant == "shop" else "U")
        for repeat in (0, 1) for variant, own in settings.items() for rater in ("Ann", "Bo")
    ]  # fmt: skip
    found = gather(frame(rows, "rater", "unit"), FACTORS, Outcome("y"))
    assert (found.variants, found.n_built, found.n_readings, found.n_replicates) == (("2", "1", "shop"), 2, 12, 8)
    assert gather(frame(rows[::6], "rater", "unit"), FACTORS, Outcome("y")).n_replicates == 1
    assert gather(frame(rows[:4:2], "rater", "unit"), FACTORS, Outcome("y")).n_replicates == 0
    assert [bool(unit >= 0) for unit in found.units_of_cells] == [
        found.variants[place] != "shop" for place in found.variant
    ]


def decimals(*values):
    return frame([(str(place), value, place, 0) for place, value in enumerate(values)])


def test_decimal_numbers_keep_the_digits_that_a_float_has_not():
    """As in NIST's SmLs sets: a trillion and tenths, whose differences are exact."""
    found = gather(
        decimals(*map(Decimal, ("1000000000000.4", "1000000000000.3", "1000000000000.5"))), FACTORS, Outcome("y")
    )
    assert found.means.tolist() == [0.0, -0.1, 0.1]
    assert found.location == 1000000000000.4


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("55", "A reading of echo is 55; it must be a grade from 1 to 7."),
        ("Infinity", "A reading of echo is inf; it must be a finite number."),
    ],
)
def test_decimal_numbers_are_looked_at_like_any_others(value, message):
    """A grade off its scale went into the means, infinity ended in a ValueError, floats beside decimals in a TypeError."""
    echo = Outcome("echo", kind="rated", scale=(1, 7))
    with refused(DataError, message):
        gather(decimals(Decimal(1), Decimal(value)), FACTORS, echo)
    mixed, plain = (gather(decimals(*values, 5.5), FACTORS, echo) for values in ([Decimal(1), Decimal(2)], [1.0, 2.0]))
    np.testing.assert_array_equal(mixed.means, plain.means)


def test_pairs_of_codes_are_those_that_occur_and_none_is_a_code_too():
    a, b = np.array([1, 0, 1, 0, 1]), np.array([-1, 2, -1, 0, 2])
    assert pairs(a, b).tolist() == [[0, 0], [0, 2], [1, -1], [1, 2]]
    assert pairs(a[:0], b[:0]).shape == (0, 2)
