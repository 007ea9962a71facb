from __future__ import annotations

import json
import pickle
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.model.effort import Effort
from doe.model.errors import UsageError
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.records import Unit, Variant
from doe.model.setup import Setup, record_of, table_of
from tests.refusing import refused
from tests.strategies import setups

RADIO = """
title = "Tabletop radio"
[effort]
new_unit_minutes = 150
[[factor]]
name = "vents"
kind = "count"
low = 0
high = 6
way = "up"
minutes = 12
[[factor]]
name = "blades"
kind = "ordered"
levels = [3, 5.0, "seven"]
prices = { 3 = 12, "seven" = 20.5 }
[[outcome]]
name = "echo"
kind = "rated"
scale = [1, 7]
goal = "lower"
best = 1
worst = 6
matters = 0.5
[[outcome]]
name = "bass"
from = "level in a band"
band = [80, 200]
unit = "dB"
[[limit]]
rule = "air > 2"
note = "or it chokes"
[[derived]]
name = "air"
expression = "vents * 2"
[[expectation]]
factor = "vents"
outcome = "echo"
effect = "lowers"
size = 1.0
note = "as in the last box"
"""


def test_a_setup_file_becomes_definitions() -> None:
    setup = Setup.from_tables(tomllib.loads(RADIO))
    assert setup == Setup(
        title="Tabletop radio",
        effort=Effort(new_unit_minutes=150),
        factors=[
            Factor("vents", "count", low=0, high=6, way="up", minutes=12),
            Factor("blades", "ordered", levels=["3", "5", "seven"], prices={"3": 12, "seven": 20.5}),
        ],
        outcomes=[
            Outcome("echo", "rated", scale=(1, 7), goal="lower", best=1, worst=6, matters=0.5),
            Outcome("bass", unit="dB", recipe={"from": "level in a band", "band": [80, 200]}),
        ],
        limits=[Limit("air > 2", "or it chokes")],
        derived=[Derived("air", "vents * 2")],
        expectations=[Expectation("vents", "echo", "lowers", 1.0, "as in the last box")],
    )


@pytest.mark.slow
@given(setups())
def test_a_setup_survives_its_tables(setup: Setup) -> None:
    """from_tables(to_tables(s)) == s, also through JSON, so that a project file may hold them as text."""
    tables = setup.to_tables()
    assert Setup.from_tables(tables) == setup
    assert Setup.from_tables(json.loads(json.dumps(tables))) == setup


@given(setups())
def test_each_definition_survives_its_table(setup: Setup) -> None:
    for items in (setup.factors, setup.outcomes, [setup.effort], setup.limits, setup.derived, setup.expectations):
        for item in items:
            assert record_of(type(item), table_of(item)) == item


@pytest.mark.parametrize("recipe", [{"from": "band", "low": 80, "high": 200}, {"band": 3}, {"from": "x"}])
def test_a_recipe_may_use_the_words_of_an_outcome(recipe: dict[str, Any]) -> None:
    """Where a key of the recipe is also one of the outcome's own, neither takes the place of the other."""
    outcome = Outcome("bass", goal="within", low=1, high=3, recipe=recipe)
    assert record_of(Outcome, table_of(outcome)) == outcome


def test_defaults_are_left_out_of_tables() -> None:
    assert table_of(Factor("wool", low=0, high=60)) == {"name": "wool", "low": 0.0, "high": 60.0}
    assert table_of(Effort()) == {}
    assert table_of(Outcome("bass")) == {"name": "bass"}


WOOL = {"name": "wool", "low": 0, "high": 60}
BAD: list[tuple[dict[str, Any], str]] = [
    (
        {"factors": []},
        "The setup has an unknown key 'factors'; it may have title, question, effort, factor, outcome, limit, "
        "derived and expectation. Did you mean 'factor'?",
    ),
    ({"title": 3}, "title is '3'; it must be text in quotes."),
    ({"factor": WOOL}, "'factor' must be written as [[factor]], once for each."),
    ({"factor": ["wool"]}, "[[factor]] must be a table of keys and values."),
    ({"effort": 3}, "[effort] must be a table of keys and values."),
    (
        {"effort": {"session_minute": 3}},
        "[effort] has an unknown key 'session_minute'; it may have new_unit_minutes, session_minutes, reading_minutes and "
        "new_unit_price. Did you mean 'session_minutes'?",
    ),
    ({"factor": [{"low": 0, "high": 3}]}, "[[factor]] has no name."),
    ({"derived": [{"name": "air"}]}, "[[derived]] air has no expression."),
    ({"derived": [{}]}, "[[derived]] has no name and expression."),
    (
        {"limit": [{"rul": "wool > 3"}]},
        "[[limit]] has an unknown key 'rul'; it may have rule and note. Did you mean 'rule'?",
    ),
    ({"factor": [{**WOOL, "unit": 3}]}, "[[factor]] unit is '3'; it must be text in quotes."),
    ({"limit": [{"rule": 3}]}, "[[limit]] rule is '3'; it must be text in quotes."),
    ({"outcome": [{"name": "bass", "relative_to": 3}]}, "[[outcome]] relative_to is '3'; it must be text in quotes."),
    (
        {"outcome": [{"name": "bass", "from": "x", "recipe": {"from": "y"}}]},
        "[[outcome]] bass has both 'from' and 'recipe'; keep one.",
    ),
    ({"factor": [WOOL, WOOL]}, "Factor 'wool' is defined twice."),
    (
        {"factor": [WOOL], "outcome": [{"name": "Wool"}]},
        "Outcome 'Wool' has the name of something defined before it.",
    ),
    (
        {"expectation": [{"factor": "wool", "outcome": "echo"}]},
        "[[expectation]] has no effect.",
    ),
    (
        {"factor": [WOOL], "expectation": [{"factor": 3, "outcome": "echo", "effect": "raises"}]},
        "[[expectation]] factor is '3'; it must be text in quotes.",
    ),
    (
        {"factor": [WOOL], "expectation": [{"factor": "wol", "outcome": "echo", "effect": "raises"}]},
        "Something is expected of 'wol', which is no factor. Did you mean 'wool'?",
    ),
    ({"outcome": [{"name": "a"}, {"name": "A"}]}, "Outcome 'A' has the name of something defined before it."),
    (
        {"factor": [WOOL], "limit": [{"rule": "wol > 3"}]},
        "Limit 'wol > 3' uses 'wol', which is no factor. Did you mean 'wool'?",
    ),
]


@pytest.mark.parametrize(("tables", "message"), BAD)
def test_a_setup_file_with_a_slip_is_refused_in_words(tables: dict[str, Any], message: str) -> None:
    with refused(UsageError, message):
        Setup.from_tables(tables)


TABLES = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5)),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from([*WOOL, "rule", "expression", "kind", "levels", "factor", "outcome", "effect", "size"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(
    st.dictionaries(
        st.sampled_from(["title", "effort", "factor", "outcome", "limit", "derived", "expectation"]), TABLES, max_size=3
    )
)
def test_any_file_that_parses_is_a_setup_or_a_usage_error(tables: dict[str, Any]) -> None:
    try:
        setup = Setup.from_tables(tables)
    except UsageError:
        return
    assert Setup.from_tables(setup.to_tables()) == setup


@given(setups())
def test_what_is_equal_hashes_alike(setup: Setup) -> None:
    """A factor may be a key or stand in a set; those with prices or a recipe were unhashable though nothing changes them."""
    twin = pickle.loads(pickle.dumps(setup))
    assert twin == setup
    assert hash(twin) == hash(setup)
    assert {*twin.factors, *twin.outcomes} == {*setup.factors, *setup.outcomes}
    assert {Variant("1", {"wool": 5}), Unit("A", {"wool": 5})} == {Variant("1", {"wool": 5}), Unit("A", {"wool": 5})}


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Setup(factors=Factor("a", low=0, high=1)), "factors is a Factor; it must be a list of doe.Factor."),
        (lambda: Setup(factors=["a"]), "factors holds 'a'; each must be a doe.Factor."),
        (lambda: Setup(outcomes=[Factor("a", low=0, high=1)]), "outcomes holds a Factor; each must be a doe.Outcome."),
        (lambda: Setup(effort={"reading_minutes": 3}), "effort is a dict; it must be a doe.Effort."),
        (lambda: Setup(title=3), "title is 3; it must be text, such as '3'."),
        (lambda: Factor("a", low=0, high=1, unit=3), "Factor 'a': unit is 3; it must be text, such as '3'."),
        (lambda: Factor("a", low=0, high=1, note=None), "Factor 'a': note is None; it must be text."),
        (lambda: Outcome("y", unit=None), "Outcome 'y': unit is None; it must be text."),
        (lambda: Outcome("y", relative_to=3), "Outcome 'y': relative_to is 3; it must be text, such as '3'."),
        (lambda: Limit(3), "A rule is 3; it must be text, such as 'rings * 42 - wool * 2.1 >= 180'."),
    ],
)  # fmt: skip
def test_another_thing_than_a_definition_takes_is_named(make, sentence):
    """An outcome could be a factor, and effort a dict, until something far away failed."""
    with refused(UsageError, sentence):
        make()


def test_a_title_stands_on_one_line_and_is_never_empty():
    """It heads every page."""
    assert [Setup(title=title).title for title in (" ", "Desk\n  fan")] == ["Untitled", "Desk fan"]
