"""What is believed of factors that never were varied leaves what was read as it is."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.advise.opinion import own_values, posterior_draws
from doe.advise.prior import BUILD_SHARE, SHARE, anchored_draws, completed, prior_draws
from doe.advise.space import make_space
from doe.coding import Coding
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from tests.strategies import examples

FACTORS = (
    Factor("vents", kind="count", low=0, high=6),
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", kind="continuous", low=0, high=60, step=5),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"]),
    Factor("feet", kind="ordered", levels=["soft", "middle", "hard"]),
)
BASS = Outcome("bass", goal="hit", target=0, worst=6, matters=1.0)


def believed(variants, seed=1, n_draws=400):
    """Return space, names, draws of the fit, and the same completed."""
    rng = np.random.default_rng(seed)
    rows = [{"variant": name, "outcome": "bass", "value": rng.normal(2, 1), **it} for name, it in variants.items()]
    space = make_space(Coding(FACTORS), list(variants.values()))
    draws = posterior_draws(pd.DataFrame(rows * 2), FACTORS, BASS, n_draws, rng)
    return space, draws, completed(draws, BASS, space, variants, rng)


def predicted(space, draws, several):
    codes = np.array([space.code(it) for it in several])
    return draws.coefficients @ space.matrix(codes, draws.terms).T.astype(float)


@st.composite
def logs(draw):
    """A log in which each factor took one, two or all of its settings."""
    grids = [factor.grid(13) for factor in FACTORS]
    some = [draw(st.lists(st.sampled_from(grid), min_size=1, max_size=3, unique=True)) for grid in grids]
    n_variants = draw(st.integers(2, 7))
    variants = [
        {factor.name: draw(st.sampled_from(known)) for factor, known in zip(FACTORS, some, strict=True)}
        for _ in range(n_variants)
    ]
    return {str(place): it for place, it in enumerate(variants)}


@pytest.mark.slow
@examples(40)
@given(logs())
def test_no_draw_changes_at_what_was_read(variants):
    """Whatever stood still: one factor or several, of any kind, or two that moved together."""
    if all(it == variants["0"] for it in variants.values()):
        return
    space, draws, full = believed(variants)
    before, after = (predicted(space, one, variants.values()) for one in (draws, full))
    assert after == pytest.approx(before, abs=1e-4)


def test_only_what_never_was_tried_is_open():
    """Rings stood at 7: at 12 they may do anything; at 7 no more is open than the fit says, whatever was varied beside."""
    base = {"vents": 0, "rings": 7, "wool": 0, "driver": "paper", "feet": "soft"}
    variants = {"1": base, "2": {**base, "wool": 60}, "3": {**base, "wool": 30}, "4": {**base, "wool": 15}}
    space, draws, full = believed(variants)
    seen, new, far = {**base, "wool": 45}, {**base, "wool": 45, "rings": 12}, {**base, "wool": 45, "rings": 8}
    fitted = predicted(space, draws, [seen]).std()
    at_seen, at_new, at_next = predicted(space, full, [seen, new, far]).std(axis=0)
    assert at_seen == pytest.approx(fitted, rel=1e-4)
    assert at_new > 1.5 * fitted
    assert fitted < at_next < at_new


def test_a_bend_between_two_ends_is_open_in_the_middle_only():
    """Vents were tried at both ends, and read as if they did something: what a bend would do shows in the middle."""
    base = {"vents": 0, "rings": 7, "wool": 0, "driver": "paper", "feet": "soft"}
    variants = {"1": base, "2": {**base, "vents": 6}, "3": {**base, "wool": 60}, "4": {**base, "vents": 6, "wool": 60}}
    space, draws, full = believed(variants, seed=3, n_draws=4000)
    several = [{**base, "vents": vents} for vents in (0, 3, 6)]
    more = predicted(space, full, several).var(axis=0) - predicted(space, draws, several).var(axis=0)
    assert more[[0, 2]] == pytest.approx(0.0, abs=1e-3)
    bends = full.included[:, [term.name for term in full.terms].index("vents^2")].mean()
    assert more[1] == pytest.approx(bends * (SHARE["curvature"] * 12) ** 2, rel=0.1)  # 12: from one worst to the other


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"kind": "rated", "scale": (1, 7), "goal": "lower"}, (1, 7)),
        ({"kind": "rated", "scale": (1, 7), "goal": "lower", "best": -2, "worst": 2, "relative_to": "lamp"}, (-3, 3)),
        ({"goal": "lower", "best": -2, "worst": 4, "relative_to": "lamp"}, (-2, 4)),
        ({"goal": "within", "low": 2, "high": 3, "worst": (0, 4)}, (0, 4)),
    ],
)
def test_before_any_reading_an_outcome_lies_about_the_middle_of_what_it_may_be(asked, expected):
    """Normal about the middle with a quarter of the range; differences from an object go up as often as down."""
    low, high = expected
    level = prior_draws(Outcome("echo", **asked), Coding(FACTORS), 4000, np.random.default_rng(1)).coefficients[:, 0]
    assert level.mean() == pytest.approx((low + high) / 2, abs=(high - low) / np.sqrt(4000))
    assert level.std() == pytest.approx((high - low) / 4, rel=4 / np.sqrt(2 * 4000))


def test_a_prior_is_anchored_at_what_was_read():
    """Two variants at 5 and 7: each world's level gives them 6 on average, but for the luck of two builds."""
    base = {"vents": 0, "rings": 7, "wool": 0, "driver": "paper", "feet": "soft"}
    variants = {"1": base, "2": {**base, "wool": 60}}
    space, rng = make_space(Coding(FACTORS), list(variants.values())), np.random.default_rng(1)
    prior = prior_draws(BASS, space.coding, 4000, rng)
    read = {"1": np.full(4000, 5.0), "2": np.full(4000, 7.0)}
    there = predicted(space, anchored_draws(prior, read, space, variants, rng), variants.values()).mean(axis=1)
    sd = BUILD_SHARE * 12 / np.sqrt(2)  # 12: from one worst to the other
    assert there.mean() == pytest.approx(6, abs=4 * sd / np.sqrt(4000))
    assert there.std() == pytest.approx(sd, rel=4 / np.sqrt(2 * 4000))


def own(outcome, *rows, reading_sd=0.5):
    columns = ["variant", "versus", "value", "wool"]
    frame = pd.DataFrame(rows, columns=columns).assign(outcome=outcome.name)
    wool = [Factor("wool", low=0, high=60, step=5)]
    drawn = own_values(frame, wool, outcome, {"1"}, np.full(4000, reading_sd), np.random.default_rng(1))
    assert list(drawn) == ["1"]
    return drawn["1"]


def test_a_lone_variant_is_as_far_from_its_reference_as_was_read():
    """43 and 45 beside 40: 4 apart, with the scatter of a mean of two readings and of one of four, sd 0.5 sqrt(1/2 + 1/4)."""
    relative = Outcome("bass", goal="hit", target=0, worst=6, relative_to="lamp")
    drawn = own(relative, ("1", None, 43, 0), ("1", None, 45, 0), *[("lamp", None, 40, None)] * 4)
    sd = 0.5 * np.sqrt(0.75)
    assert drawn.mean() == pytest.approx(4, abs=4 * sd / np.sqrt(4000))
    assert drawn.std() == pytest.approx(sd, rel=4 / np.sqrt(2 * 4000))


@pytest.mark.parametrize(("results", "sign"), [([1, 1], 1), ([1, 0], 0), ([0, 0], -1)])
def test_a_lone_variant_that_was_compared_lies_on_the_side_that_won(results, sign):
    """In log odds from the reference: as often better as worse is 0, whichever of the two stood first."""
    judged = Outcome("liking", kind="compared", goal="raise", best=3, worst=-3, relative_to="lamp")
    (one, two) = results
    drawn = own(judged, ("1", "lamp", one, 0), ("lamp", "1", 1 - two, None))
    assert np.sign(np.round(drawn.mean() / drawn.std())) == sign
