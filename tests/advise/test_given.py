"""What a notebook may give by mistake, told in a sentence."""

import numpy as np
import pandas as pd
import pytest

import doe
from doe.model.errors import DataError, UsageError
from tests.refusing import refused

WOOL, BASS = doe.Factor("wool", low=0, high=60), doe.Outcome("bass", goal="raise", best=2, worst=-8)
ROWS = [{"variant": "1", "outcome": "bass", "value": 1.0, "wool": 30.0}]
LOG = pd.DataFrame(ROWS)
THREE = pd.DataFrame(ROWS * 3).assign(variant=["1", "2", "3"], value=[1.0, 2.0, 3.5], wool=[0.0, 30.0, 60.0])
TWICE = pd.concat([LOG, LOG[["value"]]], axis=1)


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
        (lambda: doe.plan([WOOL], 4, 3), "terms is 3; it must be a list of names."),
        (lambda: doe.plan([WOOL], 4, seed=-1), "seed is -1; it must be a whole number from 0."),
        (lambda: doe.plan([WOOL], 4, scatter="1"), "scatter is '1'; it must be a number."),
        (lambda: doe.plan([WOOL], 4, limits=["wool > 3"]), "limits holds 'wool > 3'; each must be a doe.Limit."),
        (lambda: doe.plan([WOOL], 4, derived=3), "derived is 3; it must be a list of doe.Derived."),
        (lambda: doe.plan([WOOL], 4, existing=[1]), "existing must be a pandas DataFrame, one row per run, not a list."),
        (lambda: doe.plan([WOOL], kind="fold-over", existing=LOG, fold="wool"),
         "fold is 'wool'; it must be a list of names."),
        (lambda: doe.judge_plan(ROWS, [WOOL]), "table must be a pandas DataFrame, one row per run, not a list."),
        (lambda: doe.choose_plan([WOOL], hours="ten"), "hours is 'ten'; it must be a number."),
        (lambda: doe.choose_plan([WOOL], runs=8, effort=3), "effort is 3; it must be a doe.Effort."),
        (lambda: doe.route(ROWS, [WOOL]), "table must be a pandas DataFrame, one row per variant, not a list."),
        (lambda: doe.route(LOG, [WOOL], shuffle="a"), "shuffle is 'a'; it must be a number."),
        (lambda: doe.route(LOG, [WOOL], seconds="x"), "seconds is 'x'; it must be a number."),
        (lambda: doe.route(LOG, [WOOL], new_units=1.5), "new_units is 1.5; it must be a whole number from 0."),
        (lambda: doe.route(LOG, [WOOL], units={"A": 1}), "units is a dict; it must be a list of doe.Unit."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], units="A"), "units is 'A'; it must be a list of doe.Unit."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], effort={}), "effort is a dict; it must be a doe.Effort."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], expectations="more"),
         "expectations is 'more'; it must be a list of doe.Expectation."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], count="2"), "count is '2'; it must be a whole number from 1 to 20."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], count=True), "count is True; it must be a whole number from 1 to 20."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], hours="3"), "hours is '3'; it must be a number."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], seed=None), "seed is None; it must be a whole number from 0."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], widen={"bass": 0}), "widen of bass is 0; it must be a number above 0."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], widen={"bass": float("nan")}),
         "widen of bass is nan; it must be a number above 0."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], widen={"bass": "2"}), "widen of bass is '2'; it must be a number."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], widen=["bass"]),
         "widen is a list; it must be values by name, such as a dict."),
        (lambda: doe.recommend(LOG, [WOOL], [BASS], unit=3), "There is no unit '3'; there is only the unit at hand."),
        (lambda: doe.settle(LOG, [WOOL], [BASS], "1", hold="wool"), "hold is 'wool'; it must be a list of names."),
        (lambda: doe.analyse(LOG, [WOOL], BASS, terms=[None]), "terms holds None; each must be a name."),
        (lambda: doe.analyse(LOG, [WOOL], BASS, prior="mild"), "prior is 'mild'; it must be a Prior of doe.fit."),
        (lambda: doe.analyse(LOG, [WOOL], BASS, seed=1.5), "seed is 1.5; it must be a whole number from 0."),
        (lambda: doe.analyse(TWICE, [WOOL], BASS), "readings has two columns 'value'; keep one."),
        (lambda: doe.recommend(TWICE, [WOOL], [BASS]), "readings has two columns 'value'; keep one."),
        (lambda: doe.judge_plan(TWICE, [WOOL]), "table has two columns 'value'; keep one."),
        (lambda: doe.route(TWICE, [WOOL]), "table has two columns 'value'; keep one."),
        (lambda: doe.analyse(THREE, [WOOL], BASS).predict(None),
         "settings is None; it must be values by name, such as a dict."),
        (lambda: doe.estimate("helmholtz", None), "given is None; it must be values by name, such as a dict."),
        (lambda: doe.report("radio.duckdb", "radio.html"),
         "project is 'radio.duckdb'; it must be a project from doe.open or doe.create."),
    ],
)  # fmt: skip
def test_another_thing_than_asked_for_is_named(ask, sentence):
    """Each used to end in an AttributeError or a TypeError from deep inside."""
    with refused(UsageError, sentence):
        ask()


@pytest.mark.parametrize("column", ["variant", "unit", "rater", "wool"])
def test_a_column_of_lists_is_named(column):
    """Lists cannot be told apart as labels; each used to end in a TypeError."""
    log = THREE.assign(**{column: [[1]] * 3})
    with refused(DataError, f"Column '{column}' holds something that is neither text nor a number."):
        doe.analyse(log, [WOOL], BASS)


def test_numbers_of_array_libraries_count_as_numbers():
    """A count out of a frame or an array is a whole number: ``np.int64(1)`` was refused as "count is 1"."""
    log = pd.DataFrame(ROWS * 2).assign(variant=["1", "2"], value=[1.0, 2.0], wool=[0.0, 60.0])
    ours, theirs = (
        doe.recommend(log, [WOOL], [BASS], count=whole(2), seed=whole(3), hours=real(9))
        for whole, real in ((int, float), (np.int64, np.float32))
    )
    pd.testing.assert_frame_equal(ours.table, theirs.table)


def test_a_row_of_a_frame_is_settings_by_name():
    effects = doe.analyse(THREE, [WOOL], BASS)
    pd.testing.assert_frame_equal(effects.predict(THREE.iloc[1]), effects.predict({"wool": 30.0}))


@pytest.mark.parametrize("holder", [np.array, iter])
def test_names_may_come_in_anything_that_holds_them(holder):
    """Two or more in an array ended in a ValueError; of those that can be gone over once, none was left to look at."""
    factors = [WOOL, doe.Factor("rings", kind="count", low=7, high=12)]
    names = ["rings", "wool"]
    found = doe.analyse(THREE.assign(rings=[7, 12, 9]), factors, BASS, holder(names))
    assert sorted(found.table["term"]) == names
    assert len(doe.plan(factors, model=holder(names), kind="full").precision) == 2
    existing = pd.DataFrame({"wool": [0.0, 60.0, 0.0], "rings": [7, 12, 12]})
    folded = doe.plan(factors, kind="fold-over", existing=existing, fold=holder(["wool"] * 2)).table
    assert sorted(folded["rings"]) == [7, 12, 12]


def test_variants_of_a_column_of_floats_are_named_as_whole_numbers():
    """As arrays make of 1, 2 and 3: it was said to keep variant 3.0, and comparisons beside readings ended in a KeyError."""
    heard = doe.Outcome("heard", kind="compared", goal="raise", best=2, worst=-2)
    pairs = THREE.assign(outcome="heard", versus=["2", "3", "1"], value=[0.0, 0.0, 1.0])
    floats = pd.concat([THREE, pairs]).astype({"variant": float, "versus": float})
    for outcome in (BASS, heard):
        assert doe.analyse(floats, [WOOL], outcome).variants["variant"].tolist() == ["1", "2", "3"]
    assert doe.recommend(floats, [WOOL], [BASS, heard]).best["variant"] in {"1", "2", "3"}
