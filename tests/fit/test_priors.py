"""Beliefs that are none."""

import pytest

from doe.fit import Prior
from doe.model.errors import UsageError
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
