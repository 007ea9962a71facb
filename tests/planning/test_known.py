from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from doe.fit import analyse
from doe.model.errors import FitError, UsageError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.planning.known import Judged, judged_by, scatter_of
from tests.refusing import refused

OUTCOMES = (
    Outcome("bass", unit="dB", matters=1.0),
    Outcome("echo", unit="ms", matters=2.0),
    Outcome("nicer", kind="compared"),
)


def readings(outcome, build_sd, reading_sd, seed=3):
    """Forty builds of two factors that do nothing, each read twice."""
    rng = np.random.default_rng(seed)
    rows = []
    for build in range(40):
        settings = {"a": build % 2, "b": build // 2 % 2}
        mean = rng.normal(0, build_sd)
        rows += [
            {"variant": str(build), "outcome": outcome, "value": mean + rng.normal(0, reading_sd), **settings}
            for _ in range(2)
        ]
    return pd.DataFrame(rows)


def analysed(outcome, build_sd, reading_sd):
    factors = [Factor("a", low=0, high=1), Factor("b", low=0, high=1)]
    return analyse(readings(outcome.name, build_sd, reading_sd), factors, outcome)


@pytest.fixture(scope="module")
def engine():
    known = {"bass": analysed(OUTCOMES[0], 3.0, 4.0), "echo": analysed(OUTCOMES[1], 1.0, 1.0)}

    def ask(name):
        if name not in known:
            raise FitError("nothing read")
        return known[name]

    return ask


def test_the_scatter_between_runs_is_that_of_builds_read_once(engine):
    """Truth: builds differ by 3, readings by 4, so runs read once by 5; 40 builds leave some 15 % of doubt."""
    assert scatter_of(engine("bass")) == pytest.approx(5.0, rel=0.2)


def test_builds_that_were_read_once_each_show_it_too():
    """Truth: 5 again; what is the builds' and what the readings' cannot be told, and need not be."""
    once = readings("bass", 3.0, 4.0).drop_duplicates("variant")
    found = analyse(once, [Factor("a", low=0, high=1), Factor("b", low=0, high=1)], OUTCOMES[0])
    assert found.variance["source"].tolist() == ["build and reading together"]
    assert scatter_of(found) == pytest.approx(5.0, rel=0.25)


def test_the_outcome_hardest_to_see_is_taken(engine):
    """Scatter over what matters: 5 / 1 against 1.4 / 2, whichever is defined first."""
    found = judged_by(OUTCOMES, engine, None, None, None)
    assert found == judged_by(OUTCOMES[::-1], engine, None, None, None)
    assert (found.outcome, found.matters) == ("bass", 1.0)
    assert found.note.startswith(
        "Judged by bass, the outcome that is hardest to see: so far its scatter between builds is"
    )


def test_an_outcome_is_only_harder_to_see_than_others_of_which_it_is_said_what_matters(engine):
    """The first of two of which it is not said is taken, and nothing told of the other."""
    unsaid = [replace(outcome, matters=None) for outcome in OUTCOMES]
    for outcomes, first in ((unsaid, "bass"), ([unsaid[0], OUTCOMES[1]], "echo")):
        assert judged_by(outcomes, engine, None, None, None).note.startswith(f"Judged by {first}: so far")


def test_the_outcome_named_is_taken(engine):
    found = judged_by(OUTCOMES, engine, "echo", None, 3.0)
    assert (found.outcome, found.matters) == ("echo", 3.0)
    assert found.scatter == pytest.approx(2**0.5, rel=0.25)


def test_given_numbers_go_before_known_ones(engine):
    assert judged_by(OUTCOMES, engine, None, 2.0, None) == Judged("", 2.0, None)
    found = judged_by(OUTCOMES, engine, "bass", 2.0, None)
    said = "Judged by bass, with a scatter of 2 dB between runs, as given."
    assert found == Judged("bass", 2.0, 1.0, said)


def test_without_readings_no_scatter_is_claimed():
    def nothing(name):
        raise FitError("nothing read")

    said = "No scatter is known from the log yet, so intervals are in multiples of it."
    assert judged_by(OUTCOMES, nothing, None, None, None) == Judged("", None, None, said)
    said = "No scatter of bass is known from the log yet, so intervals are in multiples of it."
    assert judged_by(OUTCOMES, nothing, "bass", None, None) == Judged("bass", None, None, said)


def test_an_outcome_that_cannot_be_judged_by_is_refused(engine):
    with refused(UsageError, "There is no outcome 'bas'; there are bass, echo and nicer. Did you mean 'bass'?"):
        judged_by(OUTCOMES, engine, "bas", None, None)
    said = "nicer compares two variants, so it has no scatter in a unit; name another outcome."
    with refused(UsageError, said):
        judged_by(OUTCOMES, engine, "nicer", None, None)
