import numpy as np
import pytest

from doe.coding import Coding
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.plans.candidates import region
from doe.plans.layout import Layout
from doe.plans.moments import region_moments

LEVELS = Factor("feet", "categorical", levels=["felt", "cork", "none"])


@pytest.mark.parametrize(
    ("factor", "terms", "moments"),
    [
        (Factor("gap", low=3, high=5), ["gap", "gap^2"], [[1, 0, 1 / 3], [0, 1 / 3, 0], [1 / 3, 0, 1 / 5]]),
        (
            Factor("rings", "count", low=3, high=5),
            ["rings", "rings^2"],
            [[1, 0, 2 / 3], [0, 2 / 3, 0], [2 / 3, 0, 2 / 3]],
        ),
        (LEVELS, ["feet"], [[1, 0, 0], [0, 2 / 3, 1 / 3], [0, 1 / 3, 2 / 3]]),
    ],
)
def test_moments_are_those_of_an_even_spread(factor, terms, moments):
    """Closed form: the means of x^2 and x^4 over -1..1 and over -1, 0, 1; contrasts of three levels add up to 0."""
    coding = Coding((factor,))
    model = coding.terms(terms)
    found = region_moments(Layout(coding, model), region(coding, model, (), 1))
    assert np.allclose(found, moments)


def test_settings_are_drawn_from_their_grid_where_chance_never_meets_a_rule():
    """By hand: of 1 to 6 in halves, a * b is 6 at six pairs, from (1, 6) and (1.5, 4) to (6, 1)."""
    coding = Coding((Factor("a", low=1, high=6), Factor("b", low=1, high=6)))
    model, limits = coding.terms(["a"]), (Limit("a * b == 6"),)
    found = region_moments(Layout(coding, model), region(coding, model, limits, 1))
    pairs = [(a, 6 / a) for a in np.arange(1, 6.5, 0.5) if 6 / a * 2 % 1 == 0]
    coded = (np.array(pairs)[:, 0] - 3.5) / 2.5
    assert found[0, 1] == pytest.approx(coded.mean(), abs=0.03)
    assert found[1, 1] == pytest.approx((coded**2).mean(), abs=0.03)
