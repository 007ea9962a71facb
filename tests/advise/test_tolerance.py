"""Tolerances against closed forms of a linear outcome, whose posterior is written down here."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from doe.advise.tolerance import HOLD, NO_CARE, SOME, UNTIL_KNOWN, _care, drift_text, tolerances
from doe.coding import Coding
from doe.fit import analyse
from doe.fit.draws import Draws
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.outcome import Outcome
from tests.refusing import refused

GAP = Factor("gap", low=0.0, high=10.0, unit="mm")
TILT = Factor("tilt", low=-5.0, high=5.0)
BLADES = Factor("blades", kind="count", low=2, high=12)
LINER = Factor("liner", kind="categorical", levels=["none", "felt", "foam"])
FACTORS = (GAP, TILT, BLADES, LINER)
NOMINAL = {"gap": 5.0, "tilt": 0.0, "blades": 7, "liner": "felt"}
N = 200_000


def drawn(terms, means, sds, level=0.0, build_sd=0.0, n=N, seed=3, factors=FACTORS):
    """Normal posterior draws: `level`, and one coefficient per coded column of each term."""
    rng = np.random.default_rng(seed)
    coding = Coding(factors)
    chosen = coding.terms(terms)
    slopes = np.asarray(means) + np.asarray(sds) * rng.standard_normal((n, len(means)))
    return Draws(
        coding, chosen, np.column_stack([np.full(n, level), slopes]), np.ones((n, len(chosen)), dtype=bool),
        np.full(n, build_sd), np.zeros(n), (), np.zeros((n, 0)),
    )  # fmt: skip


def row_of(found, name):
    return found.table.set_index("factor").loc[name]


@pytest.mark.slow
@pytest.mark.parametrize("probability", [0.8, 0.9, 0.95])
def test_what_matters_bounds_the_drift_as_in_closed_form(probability):
    """Slope b ~ N(2, 0.3^2) per 5 mm, m = 1: P(b d / 5 <= m) = p at d = 5 m / (2 + 0.3 z_p).

    The other way all is gained and nothing lost until a slope below zero counts, which has the probability of 1e-11.
    """
    outcome = Outcome("noise", goal="lower", best=-50, worst=50, matters=1.0)
    found = tolerances([(outcome, drawn(["gap"], [2.0], [0.3]))], FACTORS, NOMINAL, probability=probability)
    row = row_of(found, "gap")
    assert row["high"] - 5 == pytest.approx(5 / (2 + 0.3 * stats.norm.ppf(probability)), rel=3e-3)
    assert (row["low"], row["breaks_high"], row["breaks_low"]) == (0.0, "noise", "")


@pytest.mark.slow
def test_a_limit_bounds_the_drift_of_a_build_as_in_closed_form():
    """Value 4 + 2 d / 5 + e with e ~ N(0, 0.2^2), to stay below 5: P = Phi((1 - 0.4 d) / 0.2) = 0.9."""
    outcome = Outcome("noise", goal="lower", best=0, worst=5)
    draws = drawn(["gap"], [2.0], [0.0], level=4.0, build_sd=0.2)
    row = row_of(tolerances([(outcome, draws)], FACTORS, NOMINAL, probability=0.9), "gap")
    assert row["high"] - 5 == pytest.approx((1 - 0.2 * stats.norm.ppf(0.9)) / 0.4, rel=5e-3)


def test_where_settings_must_add_up_another_takes_a_drift_up():
    """Closed form: gap up by d takes the shim down by d, which adds (2 + 0.5) d / 5; 1 matters, so d is 2 at most."""
    factors = (GAP, Factor("shim", low=0.0, high=10.0))
    draws = drawn(["gap", "shim"], [2.0, -0.5], [0.0, 0.0], n=500, factors=factors)
    outcomes = [(Outcome("noise", goal="lower", best=-50, worst=50, matters=1.0), draws)]
    rule = Limit("gap + shim == 10")
    found = tolerances(outcomes, factors, {"gap": 5.0, "shim": 5.0}, limits=[rule])
    gap, shim = row_of(found, "gap"), row_of(found, "shim")
    assert (gap["low"], gap["high"]) == pytest.approx((0, 7), abs=0.01)
    assert (shim["low"], shim["high"]) == pytest.approx((3, 10), abs=0.01)
    assert gap["joint_high"] == gap["high"]  # neither moves without the other
    assert (
        f"A drift is taken to be made up for by gap, one of gap by shim, so that '{rule.rule}' stays true."
        in found.notes
    )
    near = tolerances(outcomes, factors, {"gap": 2.0, "shim": 8.0}, limits=[rule, Limit("shim >= 7")])
    assert row_of(near, "gap")["high"] == pytest.approx(3, abs=0.01)
    assert row_of(near, "gap")["breaks_high"] == "the limit shim >= 7"


def test_a_target_bounds_both_sides_and_a_range_counts_as_limits():
    """Value 3 d / 5 about a target of 0: |3 d / 5| <= 1.2 at d = 2. Range -0.6..1.2: d from -1 to 2."""
    draws = drawn(["gap"], [3.0], [0.0], n=2000)
    hit = Outcome("bass", goal="hit", target=0, worst=9, matters=1.2)
    row = row_of(tolerances([(hit, draws)], FACTORS, NOMINAL), "gap")
    assert (row["low"] - 5, row["high"] - 5) == pytest.approx((-2, 2), abs=0.002)
    within = Outcome("bass", goal="within", low=-0.6, high=1.2, worst=9)
    row = row_of(tolerances([(within, draws)], FACTORS, NOMINAL), "gap")
    assert (row["low"] - 5, row["high"] - 5) == pytest.approx((-1, 2), abs=0.002)
    assert (row["joint_low"], row["joint_high"]) == (row["low"], row["high"])  # nothing else that drifts counts


@pytest.mark.slow
def test_outcomes_are_judged_jointly_over_the_same_worlds():
    """Two outcomes with slopes independent over draws: P(both) = Phi(z)^2 = 0.9, so z is that of 0.9 ** 0.5."""
    first = Outcome("one", goal="lower", best=-50, worst=50, matters=1.0)
    second = Outcome("two", goal="lower", best=-50, worst=50, matters=1.0)
    pair = [(first, drawn(["gap"], [2.0], [0.4], seed=1)), (second, drawn(["gap"], [2.0], [0.4], seed=2))]
    row = row_of(tolerances(pair, FACTORS, NOMINAL), "gap")
    assert row["high"] - 5 == pytest.approx(5 / (2 + 0.4 * stats.norm.ppf(0.9**0.5)), rel=5e-3)


def test_a_count_says_which_whole_numbers_are_fine_and_levels_which_levels():
    """2 per 5 blades, so 0.4 a blade: one more is fine with m = 0.5, two are not. Felt 0, none +0.3, foam +3 above felt."""
    outcome = Outcome("whine", goal="lower", best=-50, worst=50, matters=0.5)
    # sum-to-zero columns (none, felt; foam is minus their sum): none -0.8, felt -1.1, foam 1.9
    draws = drawn(["gap", "blades", "liner"], [0.0, 2.0, -0.8, -1.1], [0.0, 0.0, 0.0, 0.0], n=2000)
    found = tolerances([(outcome, draws)], FACTORS, NOMINAL)
    assert tuple(row_of(found, "blades")[["low", "high", "care"]]) == (2.0, 8.0, "some care")
    assert row_of(found, "liner")["levels"] == ("none", "felt")
    assert row_of(found, "gap")["care"] == NO_CARE
    # tilt never was varied, 6 of 10 blades are fine, 2 of 3 liners
    assert found.table["factor"].tolist() == ["tilt", "blades", "liner", "gap"]
    assert found.headline == (
        "Take some care with blades and liner; hold tilt until the log can tell all that it does; do not care about gap."
    )
    assert "blades: 7 (2 to 8) - some care (whine would go first)" in found.summary()
    assert "liner: felt (or none) - some care" in found.summary()


def test_numbers_that_drift_together_get_less_room():
    """U and v evenly spread over +-t with slopes of 1 a coded unit each: P(|u + v| <= m) = 1 - (2 t - m)^2 / (4 t^2).

    That is 0.9 at t = m / (2 (1 - sqrt(0.1))); alone each has +-m, so the common share is 1 / (2 (1 - sqrt(0.1))).
    """
    outcome = Outcome("level", matters=0.8)
    found = tolerances([(outcome, drawn(["gap", "tilt"], [1.0, 1.0], [0.0, 0.0], n=4000))], FACTORS, NOMINAL)
    share = 1 / (2 * (1 - np.sqrt(0.1)))
    for name, centre in (("gap", 5.0), ("tilt", 0.0)):
        row = row_of(found, name)
        assert row["high"] - centre == pytest.approx(4.0, abs=0.002)
        assert row["joint_high"] - centre == pytest.approx(4.0 * share, rel=0.03)  # 4000 drifts: 0.5 % of probability
        assert centre - row["joint_low"] == pytest.approx(row["joint_high"] - centre, abs=0.002)
    assert any(note.startswith("Where gap and tilt drift together, keep to 7") for note in found.notes)


@pytest.mark.parametrize(
    ("kind", "setting", "low", "high", "levels", "text"),
    [
        ("continuous", 20.0, 15.0, 32.0, (), "20 (15 to 32)"),
        ("continuous", 20.0, 20.0, 20.0, (), "20 (as near as can be)"),
        ("continuous", 20.0, 20.0, 21.0, (), "20 (20 to 21)"),
        ("count", 9, 8.0, 9.0, (), "9 (8 or 9)"),
        ("count", 9, 8.0, 10.0, (), "9 (8 to 10)"),
        ("count", 9, 9.0, 9.0, (), "9 (no other)"),
        ("categorical", "poly", np.nan, np.nan, ("paper", "poly", "bamboo"), "poly (or paper or bamboo)"),
        ("categorical", "poly", np.nan, np.nan, ("poly",), "poly (no other)"),
    ],
)
def test_a_drift_is_told_as_a_maker_would(kind, setting, low, high, levels, text):
    assert drift_text({"kind": kind, "setting": setting, "low": low, "high": high, "levels": levels}) == text


@pytest.mark.parametrize(
    ("step", "setting", "low", "high", "care"),
    [
        (None, 5, 4.6, 9, HOLD),  # less than a twentieth of the range to one side
        (None, 5, 4.5, 9, SOME),
        (2, 4, 3, 10, HOLD),  # less than a step
        (2, 4, 2, 10, SOME),
        (None, 0, 0, 0.3, HOLD),
        (None, 0, 0, 6, SOME),  # at an end it can only go the other way
        (None, 10, 4, 10, SOME),
        (None, 5, 0, 10, NO_CARE),
    ],
)
def test_a_setting_is_held_where_it_has_no_room_on_a_side_it_can_go_to(step, setting, low, high, care):
    assert _care(Factor("gap", low=0, high=10, step=step), setting, low, high) == care


def test_no_room_where_the_promise_itself_is_not_sure():
    outcome = Outcome("noise", goal="lower", best=0, worst=5)
    found = tolerances([(outcome, drawn(["gap"], [1.0], [0.0], level=4.9, build_sd=1.0, n=4000))], FACTORS, NOMINAL)
    assert found.chance < 0.7
    assert found.headline.startswith("Even with every setting as it should be, all outcomes are kept with 5")
    assert row_of(found, "gap")["care"] == HOLD


def test_from_a_log_the_true_room_is_found():
    """Truth: 0.4 a mm, nothing else; m = 1 leaves 2.5 mm. What the posterior asks for is less, for its own uncertainty."""
    rng = np.random.default_rng(8)
    rows = [
        {"variant": str(k), "outcome": "noise", "gap": round(rng.uniform(0, 10), 2), "tilt": round(rng.uniform(-5, 5), 2),
         "blades": int(rng.integers(2, 13)), "liner": ["none", "felt", "foam"][k % 3]}
        for k in range(24)
    ]  # fmt: skip
    log = pd.DataFrame(rows)
    log["value"] = 3 + 0.4 * log["gap"] + rng.normal(0, 0.15, len(log))
    outcome = Outcome("noise", goal="lower", best=-50, worst=50, matters=1.0)
    effects = analyse(log, FACTORS, outcome)
    found = tolerances([(outcome, effects.posterior(4000, np.random.default_rng(1)))], FACTORS, NOMINAL)
    assert 2.1 < row_of(found, "gap")["high"] - 5 < 2.5
    assert found.table["factor"].iloc[0] == "gap"
    assert set(found.table.loc[found.table["care"] == NO_CARE, "factor"]) >= {"tilt", "blades", "liner"}


def acting_in(share, terms, sizes, factors, n=4000):
    """Draws in which each term has its size in the first `share` of the worlds, and does nothing in the others."""
    draws = drawn(terms, sizes, [0.0] * len(sizes), n=n, factors=factors)
    columns = np.arange(n)[:, None] < np.round(np.repeat(share, len(sizes) // len(terms)) * n)
    draws.coefficients[:, 1:] *= columns
    draws.included[:] = columns[:, :: len(sizes) // len(terms)]
    return draws


def test_what_may_bend_is_held_until_it_is_known():
    """A bend of 2 x^2 from the middle, at 6 %: over all worlds kept with 94 %, where it acts to 0.1 x + 2 x^2 = 1."""
    outcome = Outcome("loss", goal="lower", best=-50, worst=50, matters=1.0)
    open_ = acting_in([0.08, 0.06, 1.0], ["gap", "gap^2", "tilt"], [0.1, 2.0, 0.0], (GAP, TILT))
    found = tolerances([(outcome, open_)], (GAP, TILT), {"gap": 5.0, "tilt": 0.0})
    row = row_of(found, "gap")
    reach = 5 * (np.sqrt(0.1**2 + 8) - 0.1) / 4
    assert (row["care"], row["breaks_low"], row["breaks_high"]) == (UNTIL_KNOWN, "loss", "loss")
    assert row["high"] - 5 == pytest.approx(reach, abs=0.01)
    assert found.headline == "Hold gap until the log can tell all that it does; do not care about tilt."
    assert found.notes[-1].startswith("The log cannot tell yet all that gap does; build other settings to find out.")


@pytest.mark.parametrize(
    ("share", "size"),
    [([0.08, 0.06], 0.9), ([0.2, 0.009], 2.0)],  # too little though it acts; a bend that is excluded
)
def test_what_would_be_fine_even_if_it_acts_need_not_be_held(share, size):
    outcome = Outcome("loss", goal="lower", best=-50, worst=50, matters=1.0)
    draws = acting_in(share, ["gap", "gap^2"], [0.05, size], (GAP,))
    found = tolerances([(outcome, draws)], (GAP,), {"gap": 5.0})
    assert row_of(found, "gap")["care"] == NO_CARE


def test_a_level_that_may_do_harm_is_held_until_it_is_known():
    """Foam 3 above felt with a chance of 5 %, none 0.3 above it."""
    outcome = Outcome("whine", goal="lower", best=-50, worst=50, matters=0.5)
    draws = acting_in([0.05], ["liner"], [-0.8, -1.1], (LINER,))
    found = tolerances([(outcome, draws)], (LINER,), {"liner": "felt"})
    assert tuple(row_of(found, "liner")[["levels", "care"]]) == (("none", "felt"), UNTIL_KNOWN)


def test_what_never_was_varied_is_held():
    """One outcome has terms of both, the other none of tilt, which had one setting wherever it was read."""
    both = drawn(["gap", "tilt"], [0.0, 0.0], [0.0, 0.0], n=100, factors=(GAP, TILT))
    gap_only = drawn(["gap"], [0.0], [0.0], n=100, factors=(GAP, TILT))
    pair = [(Outcome("noise", matters=1.0), both), (Outcome("whine", matters=1.0), gap_only)]
    found = tolerances(pair, (GAP, TILT), {"gap": 5.0, "tilt": 1.0})
    assert tuple(row_of(found, "tilt")[["low", "high", "care"]]) == (1.0, 1.0, UNTIL_KNOWN)
    assert row_of(found, "gap")["care"] == NO_CARE


def test_no_drift_may_break_a_limit():
    """Nothing moves the outcome; the limit alone ends at gap 6, from a nominal 5."""
    draws = drawn(["gap"], [0.0], [0.0], n=100)
    found = tolerances([(Outcome("a", matters=1), draws)], FACTORS, NOMINAL, limits=[Limit("gap + tilt <= 6")])
    row = row_of(found, "gap")
    assert (row["low"], row["breaks_high"]) == (0.0, "the limit gap + tilt <= 6")
    assert row["high"] == pytest.approx(6.0, abs=1e-3)


def test_what_cannot_be_asked_is_refused():
    draws = drawn(["gap"], [1.0], [0.0], n=10)
    with refused(UsageError, "probability is 1.5; it must be from 0.5 to less than 1."):
        tolerances([(Outcome("a", matters=1), draws)], FACTORS, NOMINAL, probability=1.5)
    with pytest.raises(DataError, match="nothing limits a drift"):
        tolerances([(Outcome("a"), draws)], FACTORS, NOMINAL)
    with refused(DataError, "The settings have no liner; it must be none, felt or foam."):
        tolerances([(Outcome("a", matters=1), draws)], FACTORS, {"gap": 5, "tilt": 0, "blades": 7})
