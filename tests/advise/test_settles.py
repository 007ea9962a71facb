"""What one reading tells about a term, against worlds that are written down one by one."""

from types import SimpleNamespace

import numpy as np
import pytest

from doe.advise.settles import settled_terms
from doe.coding import Coding
from doe.model.factor import Factor

FACTORS = tuple(Factor(name, low=0.0, high=10.0) for name in ("gap", "tilt", "wool"))
TERMS = Coding(FACTORS).terms("main")


def told(*outcomes):
    """Rank terms by outcomes, each given as which worlds hold gap, tilt and wool, the values there, and their noise."""
    draws = [SimpleNamespace(terms=TERMS, included=np.array(held, dtype=bool).T) for held, _, _ in outcomes]
    values = [np.array(value, dtype=float) for _, value, _ in outcomes]
    return settled_terms(SimpleNamespace(draws=draws), values, np.array([noise for *_, noise in outcomes]))


def test_it_is_the_information_between_being_in_the_model_and_a_reading():
    """In 2 of 8 worlds: values 3, 5 there, with variance 1; elsewhere three of 0 and three of 2, with variance 1 too.

    The gap is 3, a reading scatters by 1 + 0.5 within either case, and all in all by 0.25 * 0.75 * 9 more: information is half
    the log of the ratio of normal variances. In all worlds, or in none, there is nothing to tell.
    """
    held = ([1, 1, 0, 0, 0, 0, 0, 0], [1] * 8, [0] * 8)
    found = told((held, [3, 5, 0, 0, 0, 2, 2, 2], 0.5))
    assert [name for name, _ in found] == ["gap"]
    assert found[0][1] == pytest.approx(0.5 * np.log((1.5 + 0.1875 * 9) / 1.5))


def test_scatter_within_either_case_is_weighed_by_its_share():
    """Variance 4 in 2 of 8 worlds and 9 in the others, 3 apart: 0.25 * 4 + 0.75 * 9."""
    held = ([1, 1, 0, 0, 0, 0, 0, 0], [1] * 8, [0] * 8)
    assert told((held, [4, 8, 0, 0, 0, 6, 6, 6], 0.0))[0][1] == pytest.approx(0.5 * np.log((7.75 + 0.1875 * 9) / 7.75))


def test_at_most_two_terms_are_named_the_most_telling_first_by_the_outcome_that_tells_most():
    """The values of eight worlds follow tilt by 6, gap by 3 and wool by 1; a second outcome, twice as loud, tells less."""
    gap, tilt, wool = np.array(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij")).reshape(3, 8)
    one, two = ((gap, tilt, wool), 3 * gap + 6 * tilt + wool, 0.1), ((gap, tilt, wool), 3 * gap + 6 * tilt + wool, 9.0)
    found = told(one, two)
    assert [name for name, _ in found] == ["tilt", "gap"]
    assert found == told(two, one) == told(one)


def test_where_a_reading_tells_nothing_none_is_named():
    assert told((([1, 1, 0, 0], [0] * 4, [1] * 4), [1, 0, 1, 0], 1.0)) == []
