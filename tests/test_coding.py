from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.coding import Coding, Term, polynomial_contrasts, sum_contrasts, term_columns
from doe.model.choices import Value
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived
from tests.refusing import refused
from tests.strategies import factor_sets, factors, level_factors, settings_for

VENTS = Factor("vents", "count", low=0, high=6)
WOOL = Factor("wool", low=0, high=60, step=5)
LID = Factor("lid", "count", low=0, high=1)
DRIVER = Factor("driver", "categorical", levels=["paper", "poly", "bamboo"])
SIZE = Factor("size", "ordered", levels=["S", "M", "L", "XL"])
CODING = Coding((VENTS, WOOL, LID, DRIVER, SIZE))
ROUNDING = 1e-12  # products and sums of a few dozen numbers of size 1


@given(st.data(), factors())
def test_numbers_are_coded_from_minus_one_to_one_and_back(data: st.DataObject, factor: Factor) -> None:
    """Low is -1, high is 1, the middle 0; the code times half the range plus the middle is the setting again."""
    if not factor.is_numeric:
        return
    low, high = factor.span
    axis = Coding((factor,)).axes[factor.name]
    np.testing.assert_allclose(axis.code([low, (low + high) / 2, high])[:, 0], [-1, 0, 1], atol=1e-9)
    values = data.draw(st.lists(st.floats(low, high), min_size=1, max_size=5))
    coded = axis.code(values)
    assert coded.shape == (len(values), 1)
    assert np.all(np.abs(coded) <= 1 + 1e-9)
    back = coded[:, 0] * (high - low) / 2 + (low + high) / 2
    np.testing.assert_allclose(back, values, atol=ROUNDING * max(abs(low), abs(high)))


@given(level_factors())
def test_levels_are_coded_and_back(factor: Factor) -> None:
    """Each level has its own row, so that the setting can be told from its code."""
    axis = Coding((factor,)).axes[factor.name]
    coded = axis.code(list(factor.levels))
    assert coded.shape == (len(factor.levels), len(factor.levels) - 1) == (len(factor.levels), axis.width)
    for place in range(len(factor.levels)):
        assert np.argmin(np.abs(coded - coded[place]).sum(axis=1)) == place


@pytest.mark.parametrize("make", [sum_contrasts, polynomial_contrasts])
@pytest.mark.parametrize("n_levels", range(2, 11))
def test_contrasts_sum_to_zero_and_tell_all_levels_apart(make: Any, n_levels: int) -> None:
    """Columns sum to 0 (a main effect is an average), reach size 1, and with the ones have full rank."""
    contrasts = make(n_levels)
    assert contrasts.shape == (n_levels, n_levels - 1)
    np.testing.assert_allclose(contrasts.sum(axis=0), 0, atol=1e-9)
    np.testing.assert_allclose(np.abs(contrasts).max(axis=0), 1)
    assert np.linalg.matrix_rank(np.column_stack([np.ones(n_levels), contrasts])) == n_levels


def test_sum_contrasts_give_each_level_its_distance_from_the_mean_of_the_levels() -> None:
    """With the ones, least squares on one value per level gives their mean and the first levels' distances from it."""
    means = np.array([3.0, 5.0, 10.0])
    matrix = np.column_stack([np.ones(3), sum_contrasts(3)])
    np.testing.assert_allclose(np.linalg.solve(matrix, means), [6.0, -3.0, -1.0])


@pytest.mark.parametrize("n_levels", range(2, 11))
def test_polynomial_contrasts_are_orthogonal_and_of_rising_degree(n_levels: int) -> None:
    """NumPy's own polynomial fit: column k is a polynomial of degree k exactly, orthogonal to all of lower degree."""
    contrasts = polynomial_contrasts(n_levels)
    gram = contrasts.T @ contrasts
    np.testing.assert_allclose(gram, np.diag(np.diag(gram)), atol=1e-9)
    places = np.linspace(-1, 1, n_levels)
    for degree in range(1, n_levels):
        column = contrasts[:, degree - 1]
        fit, (residuals, *_) = np.polynomial.Polynomial.fit(places, column, degree, full=True)
        assert np.sum(residuals) < 1e-18
        assert fit.coef[-1] > 0
        lower = np.polynomial.Polynomial.fit(places, column, degree - 1)
        np.testing.assert_allclose(lower(places), 0, atol=1e-9)


@pytest.mark.parametrize(
    ("n_levels", "columns"),
    [
        (3, [[-1, 0, 1], [1, -2, 1]]),
        (4, [[-3, -1, 1, 3], [1, -1, -1, 1], [-1, 3, -3, 1]]),
        (5, [[-2, -1, 0, 1, 2], [2, -1, -2, -1, 2], [-1, 2, 0, -2, 1], [1, -4, 6, -4, 1]]),
    ],
)
def test_polynomial_contrasts_are_the_tabled_ones(n_levels: int, columns: list[list[float]]) -> None:
    """The whole-number tables of orthogonal polynomials that textbooks print (from memory), scaled to largest size 1."""
    tabled = np.array(columns, dtype=float).T
    np.testing.assert_allclose(polynomial_contrasts(n_levels), tabled / np.abs(tabled).max(axis=0), atol=ROUNDING)


def test_levels_in_an_order_are_coded_by_polynomials_and_others_by_their_distance_from_the_mean() -> None:
    np.testing.assert_array_equal(CODING.axes["size"].code(["S", "M", "L", "XL"]), polynomial_contrasts(4))
    np.testing.assert_array_equal(CODING.axes["driver"].code(["paper", "poly", "bamboo"]), sum_contrasts(3))


@given(st.data(), factor_sets(least=2))
def test_main_effects_average_out_over_a_full_grid(data: st.DataObject, known: tuple[Factor, ...]) -> None:
    """Over all combinations of evenly spread settings every column sums to 0, and different factors' are orthogonal."""
    grids = [
        factor.grid(3)[:: max(1, len(factor.grid(3)) - 1)] if factor.is_numeric else factor.grid() for factor in known
    ]
    rows = list(itertools.product(*grids))
    settings = {factor.name: [row[place] for row in rows] for place, factor in enumerate(known)}
    coding = Coding(known)
    matrix = coding.matrix(settings, coding.terms("main"))
    np.testing.assert_allclose(matrix.values.mean(axis=0), 0, atol=1e-9)
    gram = matrix.values.T @ matrix.values / len(rows)
    for first, second in itertools.combinations(matrix.slices.values(), 2):
        np.testing.assert_allclose(gram[first, second], 0, atol=1e-9)


@given(st.data(), factor_sets(), st.sampled_from(["main", "two-factor", "quadratic"]))
def test_the_matrix_knows_its_columns(data: st.DataObject, known: tuple[Factor, ...], model: str) -> None:
    """Slices lie side by side in the order of the terms and hold products of the factors' own columns."""
    rows: list[dict[str, Value]] = data.draw(st.lists(settings_for(known), max_size=4))
    settings = {factor.name: np.array([row[factor.name] for row in rows], dtype=object) for factor in known}
    coding = Coding(known)
    terms = coding.terms(model)
    matrix = coding.matrix(settings, terms)
    coded = coding.columns(settings)
    ends = [(matrix.slices[term.name].start, matrix.slices[term.name].stop) for term in terms]
    assert [0, *(stop for _, stop in ends)] == [*(start for start, _ in ends), matrix.values.shape[1]]
    assert len(matrix.values) == len(rows)
    for term in terms:
        block = matrix.values[:, matrix.slices[term.name]]
        assert block.shape[1] == math.prod(coding.axes[name].width for name in term.factors)
        for place, row in enumerate(block):
            parts = [coded[name][place] for name in (term.factors * 2 if term.is_square else term.factors)]
            expected = parts[0]
            for part in parts[1:]:
                expected = np.outer(expected, part).ravel()
            np.testing.assert_allclose(row, expected)


@given(st.data(), factor_sets())
def test_rows_are_coded_one_by_one(data: st.DataObject, known: tuple[Factor, ...]) -> None:
    """The order of the rows does not matter, and a frame does as well as a mapping."""
    rows: list[dict[str, Value]] = data.draw(st.lists(settings_for(known), min_size=2, max_size=5))
    coding, frame = Coding(known), pd.DataFrame(rows)
    terms = coding.terms("two-factor")
    whole = coding.matrix(frame, terms).values
    np.testing.assert_array_equal(coding.matrix(frame.iloc[::-1], terms).values, whole[::-1])
    np.testing.assert_array_equal(coding.matrix({name: frame[name].tolist() for name in frame}, terms).values, whole)


@given(factor_sets(), st.sampled_from(["main", "two-factor", "quadratic"]))
def test_terms_are_read_as_they_are_spelled(known: tuple[Factor, ...], model: str) -> None:
    """term(t.name) == t for all terms of all models, whichever way round an interaction is written."""
    coding = Coding(known)
    terms = coding.terms(model)
    assert len(set(terms)) == len(terms)
    for term in terms:
        assert coding.term(term.name) == term
        assert coding.term(f" {term.name} ") == term
        if not term.is_square:
            assert coding.term(" : ".join(reversed(term.factors))) == term
        assert set(term.parents) <= set(terms)
        assert term.is_main != bool(term.parents)


def test_models_have_the_terms_they_promise() -> None:
    names = [term.name for term in CODING.terms("quadratic")]
    assert names[:5] == ["vents", "wool", "lid", "driver", "size"]
    assert names[5:15] == [":".join(pair) for pair in itertools.combinations(names[:5], 2)]
    assert names[15:] == ["vents^2", "wool^2"]
    assert CODING.terms("two-factor") == CODING.terms("quadratic")[:15]
    assert CODING.terms("main") == CODING.terms("quadratic")[:5]
    assert [term.name for term in CODING.terms("two-factor", ["lid", "vents"])] == ["lid", "vents", "lid:vents"]
    assert [term.name for term in CODING.terms(["wool:vents", "vents:wool", "wool^2"])] == ["vents:wool", "wool^2"]


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("wol", "Term 'wol' uses 'wol', which is no factor. Did you mean 'wool'?"),
        ("wool:vent", "Term 'wool:vent' uses 'vent', which is no factor. Did you mean 'vents'?"),
        ("wool^3", "Term 'wool^3' uses 'wool^3', which is no factor. Did you mean 'wool'?"),
        ("", "Term '' uses '', which is no factor; there are vents, wool, lid, driver and size."),
        ("wool:wool", "Term 'wool:wool' names a factor twice; write 'wool^2' for curvature."),
        ("lid^2", "Term 'lid^2': only numbers that take more than two values can be curved, not lid."),
        ("driver^2", "Term 'driver^2': only numbers that take more than two values can be curved, not driver."),
        ("size^2", "Term 'size^2': only numbers that take more than two values can be curved, not size."),
    ],
)
def test_a_term_that_cannot_be_is_refused_in_words(name: str, message: str) -> None:
    with refused(UsageError, message):
        CODING.term(name)
    with refused(UsageError, message):
        CODING.terms(["vents", name])


def test_a_model_that_cannot_be_is_refused_in_words() -> None:
    message = (
        "terms is 'quadratik'; it must be main, two-factor, quadratic or a list of terms. Did you mean 'quadratic'?"
    )
    with refused(UsageError, message):
        CODING.terms("quadratik")
    with refused(UsageError, "The model uses 'wol', which is no factor. Did you mean 'wool'?"):
        CODING.terms("main", ["wol"])


def settings(**columns: list[Any]) -> dict[str, list[Any]]:
    """Two rows of settings for CODING, with some columns replaced."""
    return {"vents": [0, 6], "wool": [0, 60], "lid": [0, 1], "driver": ["paper", "poly"], "size": ["S", "L"], **columns}


@pytest.mark.parametrize(
    ("column", "values", "message"),
    [
        ("driver", ["paper", "papr"], "driver is 'papr'; it must be paper, poly or bamboo. Did you mean 'paper'?"),
        ("driver", ["paper", None], "driver is ''; it must be paper, poly or bamboo."),
        ("driver", ["paper", pd.NA], "driver is ''; it must be paper, poly or bamboo."),
        ("wool", [0, "much"], "wool is 'much'; it must be a number."),
        ("wool", [0, pd.NA], "wool is ''; it must be a number."),
        ("wool", [0, math.nan], "wool has no value in 1 of 2 rows."),
        ("wool", [0, None], "wool has no value in 1 of 2 rows."),
    ],
)
def test_a_setting_that_cannot_be_coded_is_refused_in_words(column: str, values: list[Any], message: str) -> None:
    with refused(DataError, message):
        CODING.matrix(settings(**{column: values}), CODING.terms("main"))


def test_levels_that_are_numbers_are_coded_from_numbers() -> None:
    coding = Coding((Factor("blades", "ordered", levels=[3, 5, 7]),))
    terms = coding.terms("main")
    texts = coding.matrix({"blades": ["3", "7"]}, terms).values
    for column in ([3, 7], [3.0, 7.0], np.array([3, 7]), np.array([3.0, 7.0])):
        np.testing.assert_array_equal(coding.matrix({"blades": column}, terms).values, texts)


AIR = Derived("air", "100 + 10 * wool - vents")
TWICE = Derived("twice", "air * 2")
INVERSE = Derived("inverse", "1 / vents")
LEVEL = Derived("level", "wool * 0 + 5")
ROOT = Derived("root", "sqrt(0 - 1 - wool)")


def test_a_derived_quantity_is_coded_over_its_own_range() -> None:
    """Its lowest and highest value over the factors' ranges are -1 and 1, also where it is built on another one."""
    coding = Coding((VENTS, WOOL), (AIR, TWICE))
    assert (coding.axes["air"].low, coding.axes["air"].high) == (94.0, 700.0)
    assert (coding.axes["twice"].low, coding.axes["twice"].high) == (188.0, 1400.0)
    matrix = coding.matrix({"vents": [6, 0, 3], "wool": [0, 60, 30]}, coding.terms(["air", "twice", "air^2"]))
    np.testing.assert_allclose(matrix.values, [[-1, -1, 1], [1, 1, 1], [0, 0, 0]], atol=ROUNDING)
    assert coding.derived[1].parsed.names == {"wool", "vents"}


def test_a_quantity_without_a_range_is_no_term_but_hinders_no_other() -> None:
    """A quantity that is good enough for a limit must not stop the analysis."""
    coding = Coding((VENTS, WOOL), (LEVEL, ROOT, INVERSE))
    matrix = coding.matrix({"vents": [0, 6], "wool": [0, 60]}, coding.terms("main"))
    np.testing.assert_array_equal(matrix.values, [[-1, -1], [1, 1]])
    with refused(UsageError, "Term 'level' uses 'level', which is the same for all settings."):
        coding.term("level")
    with refused(UsageError, "Term 'root' uses 'root', which cannot be computed at the ends of its factors' ranges."):
        coding.term("root")


def test_a_quantity_that_cannot_be_computed_for_some_settings_is_refused_as_a_term_there() -> None:
    coding = Coding((VENTS, WOOL), (INVERSE,))
    term = coding.terms(["inverse"])
    np.testing.assert_allclose(coding.matrix({"vents": [3, 6], "wool": [0, 0]}, term).values, [[1.0], [-1.0]])
    with refused(DataError, "Term inverse cannot be computed for some of the settings."):
        coding.matrix({"vents": [0, 6], "wool": [0, 0]}, term)


def test_a_quantity_over_levels() -> None:
    coding = Coding((WOOL, DRIVER), (Derived("stuffing", "wool + 20 * (driver == 'poly')"),))
    matrix = coding.matrix({"wool": [0, 60, 20], "driver": ["paper", "poly", "poly"]}, coding.terms(["stuffing"]))
    np.testing.assert_allclose(matrix.values[:, 0], [-1, 1, 0], atol=ROUNDING)


@pytest.mark.parametrize("count", [2, 8, 12])
def test_a_quantity_of_many_factors_knows_its_ends(count: int) -> None:
    """A product is least where all are low and most where all are high; three to the power of twelve corners are too many."""
    factors = tuple(Factor(f"f{place}", low=1, high=3) for place in range(count))
    coding = Coding(factors, (Derived("product", " * ".join(factor.name for factor in factors)),))
    ends = {factor.name: [1.0, 3.0] for factor in factors}
    np.testing.assert_allclose(coding.matrix(ends, coding.terms(["product"])).values[:, 0], [-1, 1], atol=ROUNDING)


def test_a_quantity_over_something_unknown_is_refused() -> None:
    with refused(
        UsageError, "Derived quantity 'air' uses 'vents', which is no factor of this model; there is only wool."
    ):
        Coding((WOOL,), (AIR,))


def test_the_matrix_of_nothing_is_empty() -> None:
    assert CODING.matrix(settings(), ()).values.shape == (2, 0)
    none = {name: [] for name in settings()}
    assert CODING.matrix(none, CODING.terms("quadratic")).values.shape[0] == 0
    assert term_columns({"a": np.empty((0, 2)), "b": np.empty((0, 3))}, Term(("a", "b"))).shape == (0, 6)
