"""The second opinion on grades, against statsmodels' ordered logit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.miscmodels.ordinal_model import OrderedModel

from doe.coding import Coding
from doe.fit.builds import Builds
from doe.fit.evidence import gather
from doe.fit.graded import ordered_opinion
from doe.model.factor import Factor
from doe.model.outcome import Outcome

FACTORS = (Factor("lid_gap", low=0, high=10),)
BUILDS = 14


@pytest.fixture(scope="module")
def log():
    """Two listeners, one of whom grades lower; a wide gap is graded higher."""
    rng = np.random.default_rng(3)
    gap = rng.integers(0, 11, BUILDS)
    rows = [
        (str(variant), rater, float(np.clip(np.round(3 + gap[variant] / 4 - rater + rng.normal(0, 1.2)), 1, 7)), gap[variant])
        for variant in range(BUILDS) for rater in (0, 1)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["variant", "rater", "value", "lid_gap"])


@pytest.fixture(scope="module")
def z(log):
    """How many standard errors the gap's slope lies off zero, an offset for one of the listeners beside it."""
    grades = pd.Categorical(log["value"], ordered=True)
    fit = OrderedModel(grades, log[["lid_gap", "rater"]].to_numpy(float), distr="logit").fit(method="newton", disp=0)
    return float((fit.params / fit.bse)[0])


def opinion(log, scatter, swing, low, high):
    """What is found where builds' values vary so much more than readings alone would make them."""
    evidence = gather(log, FACTORS, Outcome("echo", kind="rated", scale=(1, 7)))
    coding, one = Coding(FACTORS), np.eye(BUILDS)
    matrix = coding.matrix(evidence.settings, coding.terms("main"))
    classical = pd.DataFrame({"term": ["lid_gap"], "swing": [swing], "low": [low], "high": [high]})
    return ordered_opinion(evidence, coding, matrix, classical, Builds(evidence.means, one, (scatter - 1) * one))


SAME = "A model that takes grades only as an order says the same."
NOT = "A model that takes grades only as an order does not bear out lid gap."
SEES = "A model that takes grades only as an order sees lid gap, grades taken as numbers do not."


@pytest.mark.parametrize(
    ("share", "claim", "expected"),
    [
        (0.9, (2.0, 1.0, 3.0), SAME),
        (1.1, (2.0, 1.0, 3.0), NOT),  # its interval holds zero
        (0.9, (-2.0, -3.0, -1.0), NOT),  # the other way round
        (0.9, (2.0, -1.0, 5.0), SEES),
        (1.1, (2.0, -1.0, 5.0), SAME),
        (0.9, (2.0, np.nan, np.nan), SAME),  # there is no table to hold it against
    ],
)
def test_the_two_are_held_against_each_other_by_their_intervals(log, z, share, claim, expected):
    """Grades of a build count as its own scatter lets them: z is less by the root of the design effect, here to just 1.96."""
    assert opinion(log, share * (z / 1.96) ** 2, *claim).finding == expected
