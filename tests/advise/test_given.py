"""What a notebook may give by mistake, told in a sentence."""

import pandas as pd
import pytest

import doe
from doe.model.errors import UsageError
from tests.refusing import refused

WOOL, BASS = doe.Factor("wool", low=0, high=60), doe.Outcome("bass", goal="raise", best=2, worst=-8)
ROWS = [{"variant": "1", "outcome": "bass", "value": 1.0, "wool": 30.0}]
LOG = pd.DataFrame(ROWS)


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda: doe.analyse(ROWS, [WOOL], BASS),
         "readings must be a pandas DataFrame, one row per reading, not a list."),
        (lambda: doe.recommend(ROWS, [WOOL], [BASS]),
         "readings must be a pandas DataFrame, one row per reading, not a list."),
        (lambda: doe.analyse(LOG, WOOL, BASS), "factors is a Factor; it must be a list of doe.Factor."),
        (lambda: doe.analyse(LOG, ["wool"], BASS), "factors holds 'wool'; each must be a doe.Factor."),
        (lambda: doe.analyse(LOG, [WOOL], "bass"), "outcome is 'bass'; it must be a doe.Outcome."),
        (lambda: doe.recommend(LOG, [WOOL], BASS), "outcomes is an Outcome; it must be a list of doe.Outcome."),
        (lambda: doe.recommend(LOG, [WOOL], "bass"), "outcomes is 'bass'; it must be a list of doe.Outcome."),
        (lambda: doe.plan(WOOL, runs=4), "factors is a Factor; it must be a list of doe.Factor."),
        (lambda: doe.plan([{"name": "wool"}], runs=4), "factors holds a dict; each must be a doe.Factor."),
    ],
)  # fmt: skip
def test_another_thing_than_asked_for_is_named(ask, sentence):
    """Each used to end in an AttributeError or a TypeError from deep inside."""
    with refused(UsageError, sentence):
        ask()
