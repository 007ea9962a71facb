"""What is believed beforehand, and beliefs that are none."""

import numpy as np
import pytest

from doe.coding import Coding
from doe.fit import Prior
from doe.fit.priors import prior_columns
from doe.model.errors import UsageError
from doe.model.factor import Factor
from tests.refusing import refused


@pytest.mark.parametrize(
    ("belief", "sentence"),
    [
        ({"main": 1.0}, "Prior: main is 1.0; it must be a share above 0 and below 1."),
        ({"orphan": 0}, "Prior: orphan is 0; it must be a share above 0 and below 1."),
        ({"interaction": "few"}, "Prior: interaction is 'few'; it must be a finite number."),
        ({"certainty": 0}, "Prior: certainty is 0; it must be above 0."),
        ({"scale_df": -2}, "Prior: scale_df is -2; it must be 0 or more."),
        ({"scales": ()}, "Prior: scales holds no number; give one or more."),
        ({"scales": (3.0, 0.0)}, "Prior: scales is 0.0; it must be above 0."),
        ({"heredity": "none"}, "Prior: heredity is 'none'; it must be strong or weak."),
    ],
)
def test_a_belief_out_of_its_range_is_refused(belief, sentence):
    """A main effect that is surely there made of a clear one that nothing can be said; none at all divided by zero."""
    with refused(UsageError, sentence):
        Prior(**belief)


@pytest.mark.parametrize(("n_factors", "expected"), [(5, 0.16 * 5), (10, 1.6), (20, 2.5), (200, 2.5)])
def test_two_or_three_of_many_factors_are_expected_to_act(n_factors, expected):
    """Mean of a beta distribution: ``a / (a + b)``. The other shares stay as they are."""
    prior = Prior()
    means = [a / (a + b) for a, b in prior.shapes(n_factors)]
    assert n_factors * means[0] == pytest.approx(expected)
    assert means[1:] == pytest.approx([prior.interaction, prior.curvature])


def test_polynomials_of_an_ordered_factor_are_held_smaller_by_their_degree():
    """Beside a driver of three levels: a product has the products of both changes of basis."""
    feet = Factor("feet", kind="ordered", levels=["soft", "middle", "hard", "stone"])
    driver = Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"])
    coding = Coding((feet, driver))
    own, other = (prior_columns(coding, coding.term(name)) for name in ("feet", "driver"))
    np.testing.assert_allclose(own, np.diag([1.0, 1 / 2, 1 / 3]))
    np.testing.assert_allclose(prior_columns(coding, coding.term("feet:driver")), np.kron(own, other))
