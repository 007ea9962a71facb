"""What is said of correlations that are written down, by what each means."""

import pandas as pd
import pytest

import doe
from doe.model.names import MEAN
from doe.plans.separation import kind_of, separate

APART = "Main effects are independent of each other."
CLEAR = "Main effects are clear of interactions of two."
DISTINCT = "Interactions of two are independent of each other."
NO_CURVE = "No factor can be curved."
TWO_ENDS = "Curvature cannot be seen: every number is at two settings only."
BENDS = ("gap^2", "air_flow^2")
TWO = [doe.Factor("tip_gap", low=0, high=1), doe.Factor("hub", low=0, high=1)]


def said(correlations, curved=()):
    found = separate(pd.DataFrame(correlations, columns=["term", "with", "correlation"]), 4, curved)
    return found.rung, found.sentences


@pytest.mark.parametrize(
    ("correlations", "rung", "sentences"),
    [
        ([], 4, (APART, CLEAR, DISTINCT)),
        ([("gap", "lid", 0.1), ("gap", "lid:rim", -0.1)], 4, (APART, CLEAR, DISTINCT)),
        (
            [("gap", "air_flow", -1.0)],
            0,
            ("These main effects cannot be told apart: gap and air flow.", CLEAR, DISTINCT),
        ),
        (
            [("gap", "lid:rim", -1.0), ("gap", "lid", 0.4)],
            1,
            (
                "Main effects are correlated with each other, by 0.4 at most.",
                "Main effects that cannot be told from interactions: gap and lid with rim.",
                DISTINCT,
            ),
        ),
        (
            [("lid:rim", "gap", 0.3)],
            2,
            (APART, "Main effects are partly mixed with interactions of two, by 0.3 at most.", DISTINCT),
        ),
        (
            [("gap:lid", f"rim:f{place}", 1.0) for place in range(8)],
            3,
            (
                APART,
                CLEAR,
                "Interactions that cannot be told apart: "
                f"{''.join(f'gap with lid and rim with f{place}; ' for place in range(6))}and 2 more pairs.",
            ),
        ),
        (
            [("gap:lid", "air_flow:rim", 1.0), ("gap:lid", "lid:rim", 0.5)],
            3,
            (APART, CLEAR, "Interactions that cannot be told apart: gap with lid and air flow with rim."),
        ),
        (
            [("gap:lid", "air_flow:rim", 0.5)],
            4,
            (APART, CLEAR, "Interactions of two are distinct, correlated by 0.5 at most."),
        ),
        ([("gap", MEAN, 1.0)], 0, (APART, CLEAR, DISTINCT, "Never varied on its own: gap.")),
        ([("gap:lid", MEAN, 1.0)], 3, (APART, CLEAR, DISTINCT, "Never varied on its own: gap with lid.")),
    ],
)
def test_main_effects_and_interactions(correlations, rung, sentences):
    assert said(correlations) == (rung, (*sentences, NO_CURVE))
    bent = said(correlations, BENDS)  # one rung higher where all the rest is apart, and nothing else changes
    assert bent == (
        5 if rung == 4 else rung,
        (*sentences, "Curvature is seen factor by factor, correlated by 0 at most."),
    )


@pytest.mark.parametrize(
    ("correlations", "rung", "sentence"),
    [
        ([(bend, MEAN, 1.0) for bend in BENDS], 4, TWO_ENDS),
        ([("air_flow^2", MEAN, 1.0)], 4, "Curvature cannot be seen in air flow."),
        (
            [("gap^2", "air_flow^2", 1.0), ("gap^2", "lid", 0.2)],
            4,
            "Curvature that cannot be told from other effects: gap bent and air flow bent.",
        ),
        (
            [("gap^2", "air_flow^2", 0.3), ("lid", "gap^2", 0.4)],
            5,
            "Curvature is seen factor by factor, correlated by 0.4 at most.",
        ),
    ],
)
def test_curvature(correlations, rung, sentence):
    assert said(correlations, BENDS) == (rung, (APART, CLEAR, DISTINCT, sentence))


def test_terms_are_told_by_their_names():
    kinds = {"gap": "main", "gap:lid": "pair", "gap:lid:rim": "more", "gap^2": "curve"}
    assert {term: kind_of(term) for term in kinds} == kinds


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
    levels = doe.choose_plan([doe.Factor("feet", kind="categorical", levels=["felt", "cork"])], runs=3)
    assert set(levels.table["apart"]) == {"its levels kept apart"}  # which cannot be bent


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
    found = pd.DataFrame({"term": ["pitch", "hub^2"], "with": ["blades^2", MEAN], "correlation": [1.0, 1.0]})
    assert separate(found, 3, ("blades^2", "hub^2", "pitch^2")).sentences[-1] == (
        "Curvature that cannot be told from other effects: pitch and blades bent."
    )
