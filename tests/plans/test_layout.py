import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from doe.coding import Coding
from doe.model.limit import Derived, Limit
from doe.plans.frame import to_frame, to_values
from doe.plans.layout import Layout, keeps
from tests.plans.made import RADIO
from tests.strategies import factor_sets, settings_for


@given(st.data(), factor_sets(1, 4), st.sampled_from(["main", "two-factor", "quadratic"]))
def test_a_layout_codes_as_the_coding_does(data, factors, model):
    """Law: the model matrix is that of `Coding.matrix`, a column of ones in front."""
    coding = Coding(factors)
    rows = data.draw(st.lists(settings_for(factors), min_size=1, max_size=5))
    settings = {factor.name: [row[factor.name] for row in rows] for factor in factors}
    terms = coding.terms(model)
    values = np.array([[factor.position(row[factor.name]) for factor in factors] for row in rows])
    ours = Layout(coding, terms).rows(values)
    theirs = coding.matrix(settings, terms).values
    assert np.allclose(ours[:, 0], 1)
    assert np.allclose(ours[:, 1:], theirs, rtol=1e-12, atol=1e-12)


def test_derived_quantities_are_coded_as_the_coding_does():
    derived = (Derived("air", "rings * 42 - wool * 2.1"),)
    coding = Coding(tuple(RADIO), derived)
    terms = coding.terms(["air", "air^2", "air:driver", "vents:wool:driver"])
    values = np.array([[0, 7, 60, 2, 0], [6, 12, 5, 1, 1], [3, 9, 30, 0, 1]], dtype=float)
    table = to_frame(RADIO, values)
    theirs = coding.matrix({name: table[name].tolist() for name in table.columns}, terms)
    layout = Layout(coding, terms)
    assert np.allclose(layout.rows(values)[:, 1:], theirs.values)
    assert {name: (place.start - 1, place.stop - 1) for name, place in layout.slices.items()} == {
        name: (place.start, place.stop) for name, place in theirs.slices.items()
    }


def test_derived_quantities_that_no_term_names_are_left_out():
    """They would be computed for every setting tried, and used for nothing."""
    coding = Coding(tuple(RADIO), (Derived("air", "rings * 42 - wool * 2.1"),))
    values = np.array([[0, 7, 60, 2, 0], [6, 12, 5, 1, 1]], dtype=float)
    without = Layout(coding, coding.terms("two-factor"))
    assert without.derived == {}
    assert without.code(values).shape[1] == 1 + sum(coding.axes[factor.name].width for factor in RADIO)
    plain = Coding(tuple(RADIO))
    assert np.array_equal(without.rows(values), Layout(plain, plain.terms("two-factor")).rows(values))
    assert [*Layout(coding, coding.terms(["air:wool"])).derived] == ["air"]


def test_recoding_one_factor_touches_only_its_own_columns():
    """Law: after one setting changes, the columns that `touched` does not name are as they were."""
    coding = Coding(tuple(RADIO), (Derived("air", "rings * 42 - wool * 2.1"),))
    layout = Layout(coding, coding.terms([*[f.name for f in RADIO], "air", "vents:wool", "wool^2"]))
    before = np.array([[0, 7, 60, 2, 0]], dtype=float)
    for place in range(len(RADIO)):
        after = before.copy()
        after[0, place] = 1.0 if not RADIO[place].is_numeric else 9.0
        same = np.flatnonzero(np.isclose(layout.rows(before), layout.rows(after))[0])
        moved = set(range(layout.n_columns)) - set(same.tolist())
        assert moved <= set(layout.touched[place].tolist())


@given(st.data(), factor_sets(1, 4))
def test_settings_go_to_numbers_and_back(data, factors):
    """Law: reading a table of settings and writing it again gives it back."""
    rows = data.draw(st.lists(settings_for(factors), min_size=1, max_size=4))
    table = to_frame(factors, np.array([[f.position(row[f.name]) for f in factors] for row in rows]))
    assert table.to_dict("records") == rows
    assert np.array_equal(
        to_values(factors, table, "Row"), np.array([[f.position(r[f.name]) for f in factors] for r in rows])
    )


def test_a_rule_that_cannot_be_computed_counts_as_broken():
    coding = Coding(tuple(RADIO))
    values = np.array([[0, 7, 0, 0, 0], [6, 7, 60, 0, 0]], dtype=float)
    assert keeps(coding, [Limit("60 / wool <= 2")], values).tolist() == [False, True]
    assert keeps(coding, [Limit("driver == 'paper' and vents < 3")], values).tolist() == [True, False]
