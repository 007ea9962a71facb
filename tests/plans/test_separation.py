"""What a plan says it can tell apart."""

import pandas as pd

import doe
from doe.plans.separation import separate

TWO = [doe.Factor("tip_gap", low=0, high=1), doe.Factor("hub", low=0, high=1)]


def test_one_interaction_is_not_said_to_be_apart_from_others():
    """Two factors have one interaction; a third gives it company."""
    three = [*TWO, doe.Factor("liner", low=0, high=1)]
    said = ["; ".join(doe.plan(factors, kind="full").separation.sentences) for factors in (TWO, three)]
    assert ["Interactions of two" in text for text in said] == [False, True]


def test_one_factor_has_nothing_but_its_bend_to_tell_apart():
    """Two settings show a straight line only, three a bend; nothing says what work takes, so no plan has a time."""
    found = doe.choose_plan([doe.Factor("gap", low=0, high=2)], runs=4)
    settings = [made.table["gap"].nunique() for made in found.plans]
    assert [words == "its bend seen too" for words in found.table["apart"]] == [count > 2 for count in settings]
    assert set(settings) == {2, 3}
    assert "long is not known, since nothing says what a change" in found.reason[-1]
    assert " min" not in found.summary()


def test_interactions_are_said_as_in_the_headlines_of_an_analysis():
    """In a half of 2^3 each main effect is one with the interaction of the two others (closed form)."""
    half = doe.plan([*TWO, doe.Factor("liner", low=0, high=1)], runs=4, kind="fraction")
    assert "tip gap and hub with liner" in half.separation.sentences[1]


def test_a_correlation_that_is_not_quite_one_is_not_told_as_one():
    """0.997 is partly mixed; written with two digits it would read as one and the same."""
    found = pd.DataFrame({"term": ["tip_gap"], "with": ["hub:liner"], "correlation": [-0.997]})
    assert (
        separate(found, 3, ()).sentences[1]
        == "Main effects are partly mixed with interactions of two, by 0.997 at most."
    )


def test_a_bend_is_told_from_what_goes_with_it():
    found = pd.DataFrame({"term": ["pitch", "hub^2"], "with": ["blades^2", "mean"], "correlation": [1.0, 1.0]})
    assert separate(found, 3, ("blades^2", "hub^2", "pitch^2")).sentences[-1] == (
        "Curvature that cannot be told from other effects: pitch and blades bent."
    )
