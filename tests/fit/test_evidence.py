"""Readings in cells, small enough to be counted by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd

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


def test_pairs_of_codes_are_those_that_occur_and_none_is_a_code_too():
    a, b = np.array([1, 0, 1, 0, 1]), np.array([-1, 2, -1, 0, 2])
    assert pairs(a, b).tolist() == [[0, 0], [0, 2], [1, -1], [1, 2]]
    assert pairs(a[:0], b[:0]).shape == (0, 2)
