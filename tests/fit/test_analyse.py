from __future__ import annotations

import itertools
import re
import warnings
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from doe.coding import Coding
from doe.fit import analyse
from doe.fit.estimates import UNSEEN
from doe.fit.evidence import gather
from doe.fit.origins import NO_BUILD_LEFT, origin_of
from doe.fit.priors import Prior
from doe.model.errors import DataError, FitError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.outcome import Outcome
from doe.model.patience import Interrupted, interruptible
from doe.model.wording import CANT_TELL, MOVES, TANGLED, TOO_SMALL
from tests.fit.logs import BASS, FACTORS, plain_log, radio_log, random_settings, table_alone
from tests.refusing import refused
from tests.strategies import examples

TWO = (Factor("a", low=0, high=1, step=0.5), Factor("b", low=0, high=10, step=1))


def verdicts(effects: Any) -> dict[str, str]:
    """Verdict by term."""
    return dict(zip(effects.table["term"], effects.table["verdict"], strict=True))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_driver_is_found_and_the_rest_is_not_claimed(seed: int):
    """Truth of the log: the driver moves bass by 4 dB, wool by 1.2, vents, rings and feet by nothing."""
    effects = analyse(radio_log(seed), FACTORS, BASS)
    found = verdicts(effects)
    row = effects.table.set_index("term").loc["driver"]
    assert found["driver"] == MOVES
    assert (row["from"], row["to"]) == ("paper", "poly")
    assert row["low"] < -4.0 < row["high"]
    assert not {found[name] for name in ("vents", "rings", "feet")} & {MOVES, TANGLED}
    assert "driver" in effects.models["terms"][0].split(" + ")
    assert effects.models["probability"].is_monotonic_decreasing
    assert 0.1 < effects.models["probability"].sum() <= 1 + 1e-9
    assert effects.headline.startswith("Bass follows")
    table = effects.table
    expected = table["activity"] * table["swing"].abs()
    assert expected.to_numpy(na_value=0.0) == pytest.approx(sorted(expected, reverse=True))  # largest expected first
    steps = table["term"].map({"vents": 6, "rings": 5, "wool": 12})
    np.testing.assert_allclose(table["per_step"] * steps, table["swing"].where(steps.notna()), rtol=1e-12)


def test_the_table_alone_is_that_of_the_whole():
    """Laws of many logs are tried with `table_alone`, which has to be what people are given."""
    whole, alone = (make(radio_log(2), FACTORS, BASS) for make in (analyse, table_alone))
    pd.testing.assert_frame_equal(alone.table, whole.table)
    draws, theirs = (effects.posterior(50, np.random.default_rng(1)) for effects in (alone, whole))
    np.testing.assert_array_equal(draws.variant_means, theirs.variant_means)


def test_ten_readings_of_one_build_are_not_ten_builds():
    """More readings of the same builds must not shrink the interval below what the builds' own scatter allows."""
    rng = np.random.default_rng(4)
    settings_ = random_settings(12, rng, TWO)
    build = rng.normal(0, 1.0, 12)
    few = pd.concat([plain_log(settings_, build + rng.normal(0, 0.1, 12)) for _ in range(2)])
    many = pd.concat([plain_log(settings_, build + rng.normal(0, 0.1, 12)) for _ in range(20)])
    outcome = Outcome("y")
    widths = [analyse(log, TWO, outcome, "main").classical.eval("high - low").to_numpy() for log in (few, many)]
    np.testing.assert_allclose(widths[0], widths[1], rtol=0.1)


def test_effects_ignore_the_order_of_the_rows():
    log = radio_log(5)
    shuffled = log.sample(frac=1, random_state=1)
    one, two = (analyse(rows, FACTORS, BASS).table.set_index("term").sort_index() for rows in (log, shuffled))
    np.testing.assert_allclose(one["swing"], two["swing"], rtol=1e-4, atol=1e-4)
    np.testing.assert_allclose(one["activity"], two["activity"], atol=1e-3)


@pytest.mark.slow
@examples(8)
@given(st.floats(-1e4, 1e4), st.floats(0.01, 100))
def test_a_change_of_scale_changes_the_swings_alike(shift: float, scale: float):
    """Adding a constant moves no swing; another unit of measure rescales swings and leaves activity alone."""
    log = radio_log(6, n_variants=12, n_raters=2)
    other = log.assign(value=log["value"] * scale + shift)
    outcome = Outcome("bass")
    one, two = (analyse(rows, FACTORS, outcome).table.set_index("term").sort_index() for rows in (log, other))
    np.testing.assert_allclose(one["swing"] * scale, two["swing"], rtol=2e-3, atol=2e-3 * scale)
    np.testing.assert_allclose(one["activity"], two["activity"], atol=2e-3)


def test_two_factors_that_always_moved_together_are_tangled_both_ways():
    rng = np.random.default_rng(7)
    both = rng.choice([0, 1], 14)
    settings_ = pd.DataFrame({"a": both * 1.0, "b": both * 10.0})
    effects = analyse(plain_log(settings_, 3.0 * both + rng.normal(0, 0.2, 14)), TWO, Outcome("y", matters=0.5))
    table = effects.table.set_index("term")
    assert table.loc["a", "verdict"] == TANGLED
    assert table.loc["b", "verdict"] == TANGLED
    assert table.loc["a", "tangled_with"] == "b"
    assert table.loc["b", "tangled_with"] == "a"
    assert table.loc["a", "activity"] == pytest.approx(table.loc["b", "activity"], abs=0.02)
    assert any("always changed together; to part them, change" in note for note in effects.notes)


def test_nearly_always_together_is_said_so():
    rng = np.random.default_rng(8)
    both = np.arange(24) % 2
    settings_ = pd.DataFrame({"a": both * 1.0, "b": both * 10.0})
    settings_.loc[0, "b"] = 3.0
    effects = analyse(plain_log(settings_, 3.0 * both + rng.normal(0, 0.5, 24)), TWO, Outcome("y"))
    assert verdicts(effects)["a"] == TANGLED
    assert any("nearly always changed together" in note for note in effects.notes)


def test_an_interaction_aliased_with_another_shares_the_credit():
    """Resolution IV: AB and CD are one column; with all four main effects active neither may be claimed."""
    base = np.array(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij")).reshape(3, -1).T
    settings_ = pd.DataFrame(np.column_stack([base, base.sum(axis=1) % 2]).astype(float), columns=list("abcd"))
    settings_ = pd.concat([settings_, settings_], ignore_index=True)
    coded = 2 * settings_ - 1
    rng = np.random.default_rng(1)
    y = coded.sum(axis=1) + 2 * coded["a"] * coded["b"] + rng.normal(0, 0.2, 16)
    factors = [Factor(name, low=0, high=1) for name in "abcd"]
    effects = analyse(plain_log(settings_, y), factors, Outcome("y"))
    table = effects.table.set_index("term")
    assert table.loc["a:b", "verdict"] == TANGLED
    assert table.loc["a:b", ["tangled_with", "from", "to"]].tolist() == ["c:d", "", ""]
    assert table.loc["a", ["from", "to"]].tolist() == ["0", "1"]
    assert any(
        note.startswith("C with d and a with b went together in these variants; to part") for note in effects.notes
    )
    assert table.loc["a:b", "activity"] == pytest.approx(table.loc["c:d", "activity"], abs=1e-6)


@pytest.mark.slow
def test_nothing_is_claimed_where_nothing_is_going_on():
    """Pure noise, 40 seeded logs: at most one in twenty may claim anything (5 % of 40 is 2)."""
    claims = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        log = plain_log(random_settings(16, rng), rng.normal(0, 1, 16))
        claims += MOVES in set(table_alone(log, FACTORS, Outcome("y")).table["verdict"])
    assert claims <= 2


def test_too_small_is_a_claim_about_the_interval():
    effects = analyse(radio_log(9), FACTORS, BASS)
    small = effects.table[effects.table["verdict"] == TOO_SMALL]
    assert not small.empty
    assert ((small["low"] > -BASS.matters) & (small["high"] < BASS.matters)).all()


def test_without_matters_nothing_is_too_small():
    assert TOO_SMALL not in set(analyse(radio_log(9), FACTORS, Outcome("bass")).table["verdict"])


def test_relative_to_a_reference_is_the_difference_from_it():
    """The shop radio's true value is 1.0; relative to it every level drops by about one, no swing changes."""
    log = radio_log(10)
    plain = analyse(log, FACTORS, Outcome("bass"))
    relative = analyse(log, FACTORS, Outcome("bass", relative_to="shop radio"))
    shift = plain.levels["mean"] - relative.levels["mean"]
    assert shift.std() < 0.02
    assert shift.mean() == pytest.approx(1.0, abs=0.4)
    one, two = (effects.table.set_index("term").sort_index()["swing"] for effects in (plain, relative))
    np.testing.assert_allclose(one, two, atol=0.02)


@pytest.mark.parametrize(
    ("reference", "note"),
    [
        ("shop radio", ()),
        ("old_radio", ("bass is wanted relative to 'old_radio', which has no reading; taken as it is.",)),
        ("3", ("bass is wanted relative to '3', which has settings and so is no reference object; taken as it is.",)),
    ],
)
def test_what_cannot_be_taken_relative_to_its_reference_is_said(reference, note):
    """A variant with settings was not taken off, and nothing was said; what was read later was held as a difference from it."""
    assert gather(radio_log(10, 8, 1), FACTORS, Outcome("bass", relative_to=reference)).notes == note


def test_prediction_interval_for_one_build_is_wider_than_for_the_mean():
    effects = analyse(radio_log(11), FACTORS, BASS)
    settings_ = {"vents": 2, "rings": 8, "wool": 30, "driver": "poly", "feet": "felt"}
    row = effects.predict(settings_).iloc[0]
    assert row["build_low"] < row["low"] < row["mean"] < row["high"] < row["build_high"]
    averages = effects.basis.averages
    rows = averages.settings_rows({name: [value] for name, value in settings_.items()})
    mean, build = averages.mean_at(rows), averages.build_at(rows, effects.basis.builds.new_build)
    ends = [found.below(row[[name]].to_numpy())[0] for found, name in
            ((mean, "low"), (mean, "high"), (build, "build_low"), (build, "build_high"))]  # fmt: skip
    assert ends == pytest.approx([0.025, 0.975] * 2, abs=1e-4)


def test_a_new_build_varies_at_least_by_what_units_do():
    """Less than builds vary by themselves adds nothing; 9 dB more than they do add nearly all of it."""
    averages, rows = (getattr(analyse(radio_log(11), FACTORS, BASS).basis, name) for name in ("averages", "rows"))
    bare, little, much, more = (averages.build_at(rows, between**2).sd for between in (0.0, 0.01, 9.0, 18.0))
    np.testing.assert_array_equal(little, bare)
    np.testing.assert_allclose(more / much, 2.0, rtol=0.01)


def test_predictions_are_as_sure_as_the_builds_that_terms_leave_over():
    """Student's t of the posterior, one degree of freedom less for each term that acts, and as much wider as least squares."""
    effects = analyse(radio_log(11), FACTORS, BASS)
    averages = effects.basis.averages
    posterior, rows = averages.posterior, effects.basis.rows
    places = [posterior.problem.slices[term.name] for term in averages.terms]
    taken = sum(chance * (one.stop - one.start) for chance, one in zip(posterior.activity, places, strict=True))
    told, bare = averages.mean_at(rows), averages.at(rows, extra=UNSEEN * averages._build_share)
    assert taken > 1
    np.testing.assert_allclose(told.df, posterior.df - taken)
    np.testing.assert_allclose(
        (told.scales / bare.scales) ** 2, np.broadcast_to(posterior.df / told.df, told.scales.shape)
    )


def beyond_doubt(n_builds):
    """Effects of pitch on flow, with a prior next to flat, and statsmodels' OLS; truth: 3 for each 1, builds scatter by 1."""
    rng = np.random.default_rng(n_builds)
    pitch = rng.choice([0.0, 5.0, 10.0], n_builds)
    value = 3 * pitch + rng.normal(0, 1, n_builds)
    frame = pd.DataFrame(
        {"variant": np.arange(n_builds).astype(str), "outcome": "flow", "value": value, "pitch": pitch}
    )
    outcome = Outcome("flow", goal="raise", worst=0, best=30)
    found = analyse(frame, (Factor("pitch", low=0, high=10),), outcome, "main", prior=Prior(scales=(500.0,)))
    return found, sm.OLS(value, sm.add_constant(pitch / 10)).fit()


@pytest.mark.parametrize("n_builds", [6, 9, 20])
def test_an_effect_beyond_doubt_has_the_interval_of_least_squares(n_builds):
    """The term takes one degree of freedom of Student's t."""
    found, fit = beyond_doubt(n_builds)
    row, (low, high) = found.table.iloc[0], fit.conf_int()[1]
    assert (row["low"], row["high"]) == pytest.approx((low, high), rel=2e-3)


@pytest.mark.parametrize("n_builds", [9, 20])
def test_what_is_predicted_beyond_doubt_is_what_least_squares_predicts(n_builds):
    """A new build; and the mean, without the room for terms that are too weak to be told."""
    found, fit = beyond_doubt(n_builds)
    at = {"pitch": [1.0, 7.5]}
    theirs = fit.get_prediction(sm.add_constant(np.array(at["pitch"]) / 10)).summary_frame()
    told, averages = found.predict(pd.DataFrame(at)), found.basis.averages
    bare = averages.doubted(averages.at(averages.settings_rows(at)))
    for ours, name in (
        (told["mean"], "mean"), (told["build_low"], "obs_ci_lower"), (told["build_high"], "obs_ci_upper"),
        (bare.quantile(0.025), "mean_ci_lower"), (bare.quantile(0.975), "mean_ci_upper"),
    ):  # fmt: skip
        np.testing.assert_allclose(ours, theirs[name], atol=2e-3 * np.sqrt(fit.scale))


def test_prediction_refuses_settings_off_their_range():
    effects = analyse(radio_log(11), FACTORS, BASS)
    with pytest.raises(DataError, match=re.escape("rings is 30; it must be a whole number from 7 to 12.")):
        effects.predict({"vents": 2, "rings": 30, "wool": 30, "driver": "poly", "feet": "felt"})
    with pytest.raises(
        DataError, match=re.escape("The settings have no rings; it must be a whole number from 7 to 12.")
    ):
        effects.predict({"vents": 2, "wool": 30, "driver": "poly", "feet": "felt"})


def test_draws_agree_with_the_closed_form():
    """Means of 4,000 draws lie within their simulation error of the exact mixture, without the room that predictions have.

    At the middle of the log no coefficient counts: there they scatter as the level does by itself.
    """
    effects = analyse(radio_log(12), FACTORS, BASS)
    draws, average = effects.posterior(4000, np.random.default_rng(1)), effects.basis.averages
    settings_ = random_settings(6, np.random.default_rng(2))
    problem = average.posterior.problem
    middle = problem.ones_columns / problem.ones @ np.linalg.inv(average.changes)
    rows = np.vstack([draws.coding.matrix(settings_, draws.terms).values, middle])
    values = draws.coefficients[:, :1].T + (draws.coefficients[:, 1:] @ rows.T).T
    exact = average.at(rows)
    assert values[-1].std() == pytest.approx(exact.sd[-1], rel=5 / np.sqrt(2 * 4000))
    np.testing.assert_allclose(values.mean(axis=1), exact.mean, atol=5 * exact.sd.max() / np.sqrt(4000))
    np.testing.assert_allclose(np.quantile(values, 0.975, axis=1), exact.quantile(0.975), atol=0.15)


def test_derived_quantities_take_the_place_of_their_parts():
    """Truth: only the product of the parts acts; it explains the outcome better than the parts do."""
    rng = np.random.default_rng(3)
    settings_ = random_settings(20, rng, TWO)
    volume = settings_["a"] * settings_["b"]
    log = plain_log(settings_, 2.0 * volume + rng.normal(0, 0.3, 20))
    derived = [Derived("volume", "a * b")]
    effects = analyse(log, TWO, Outcome("y"), ["volume"], derived=derived)
    assert verdicts(effects)["volume"] == MOVES
    row = effects.table.iloc[0]
    assert row["low"] < 20.0 < row["high"]
    assert (row["from"], row["to"]) == ("0", "10")
    assert effects.levels[["factor", "level"]].to_numpy().tolist() == [["volume", level] for level in ("0", "5", "10")]


@pytest.mark.parametrize(
    ("n_variants", "note"),
    [
        (1, "Only one variant has a reading of y; effects need at least two that differ."),
    ],
)
def test_too_few_variants_are_an_answer_not_a_failure(n_variants: int, note: str):
    log = plain_log(random_settings(n_variants, np.random.default_rng(1)), np.arange(n_variants))
    effects = analyse(log, FACTORS, Outcome("y"))
    assert effects.notes[0] == note
    assert set(effects.table["verdict"]) <= {CANT_TELL}
    with pytest.raises(FitError, match=re.escape(f"y cannot be predicted: {note}")):
        effects.predict({"vents": 0, "rings": 7, "wool": 0, "driver": "poly", "feet": "felt"})


@pytest.mark.parametrize(("relative_to", "mean"), [("shop", 3.0), (None, 53.0), ("1", 53.0)])
def test_one_variant_is_told_as_what_was_read_less_its_reference(relative_to, mean):
    """By hand: 52 and 54, the shop's 50; the difference was told to be 53."""
    log = plain_log(pd.concat([random_settings(1, np.random.default_rng(1))] * 2), [52.0, 54.0]).assign(variant="1")
    log = pd.concat([log, pd.DataFrame({"variant": "shop", "value": [50.0]})])
    (row,) = analyse(log, FACTORS, Outcome("y", relative_to=relative_to)).variants.to_dict("records")
    assert (row["variant"], row["mean"], row["readings"]) == ("1", mean, 2)


def test_a_variant_is_told_as_surely_as_its_own_readings_allow():
    """By hand: the mean of three, give or take Student's t of the pooled scatter over the root of three.

    The weak penalty that holds builds' scatter off zero takes what is left over for one degree of freedom more, 21 for 20.
    """
    rng = np.random.default_rng(2)
    settings_ = random_settings(10, rng, TWO)
    log = pd.concat([plain_log(settings_, np.arange(10.0) + rng.normal(0, 0.4, 10)) for _ in range(3)])
    effects = analyse(log, TWO, Outcome("y"))
    read = log.groupby("variant", sort=False)["value"]
    pooled = np.sqrt(read.var().mean() * 20 / 21)
    half = stats.t.ppf(0.975, effects.basis.averages.posterior.df) * pooled / np.sqrt(3)
    told = effects.variants.set_index("variant")
    np.testing.assert_allclose(told["mean"], read.mean(), rtol=1e-6)
    np.testing.assert_allclose(told["mean"] - told["low"], half, rtol=1e-3)
    np.testing.assert_allclose(told["high"] - told["mean"], half, rtol=1e-3)


@pytest.mark.parametrize("other", [123.0, 60 * 2.05])
def test_equal_readings_are_an_answer_not_a_failure(other):
    """Also where arithmetic has made 122.99999999999999 of some: factors were told to move them by parts of 10^-15."""
    log = plain_log(random_settings(8, np.random.default_rng(1)), [123.0, other] * 4)
    effects = analyse(log, FACTORS, Outcome("y"))
    assert effects.notes[0] == "All 8 readings of y are equal, so they cannot tell factors apart."


def test_equal_settings_are_an_answer_not_a_failure():
    settings_ = pd.concat([random_settings(1, np.random.default_rng(1))] * 5, ignore_index=True)
    effects = analyse(plain_log(settings_, np.arange(5.0)), FACTORS, Outcome("y"))
    assert "have the same settings" in effects.notes[0]


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (0.1 + 0.2, "All variants with a reading of y have the same settings; change something and read again."),
        (0.3 + 1e-10, "The variants with a reading of y do not differ in gap; change that and read again."),
    ],
)
def test_settings_that_are_the_same_but_for_rounding_are_an_answer_not_a_failure(other, said):
    log = plain_log(pd.DataFrame({"gap": [0.3, other] * 3}), np.arange(6.0))
    assert analyse(log, [Factor("gap", low=0, high=1)], Outcome("y"), "main").notes[0] == said


@pytest.mark.parametrize(
    ("still", "note"),
    [
        ({"wool": 10.0}, "Wool has had one setting only, so nothing can be said of it."),
        ({"wool": 10.0, "rings": 9}, "Rings and wool have had one setting only, so nothing can be said of them."),
    ],
)
def test_factors_that_stood_still_are_named(still, note):
    effects = analyse(plain_log(random_settings(6, np.random.default_rng(1)).assign(**still), range(6)), FACTORS, BASS)
    assert effects.notes[0] == note
    assert not set(still) & set(effects.table["term"])


@pytest.mark.parametrize(
    ("terms", "note"),
    [
        (["b", "sum_ab"], "The variants do not differ in sum ab, so nothing can be said of it."),
        (["a^2", "b", "sum_ab"], "The variants do not differ in a^2 and sum ab, so nothing can be said of them."),
    ],
)
def test_what_was_asked_for_and_stood_still_is_named(terms, note):
    """They were missing from the table, and nothing said why. Between two settings a bend cannot show."""
    log = plain_log(pd.DataFrame({"a": [0, 1] * 4, "b": [10, 0] * 4}), np.random.default_rng(1).normal(size=8))
    effects = analyse(log, TWO, Outcome("y"), terms, derived=[Derived("sum_ab", "10 * a + b")])
    assert note in effects.notes
    assert effects.table["term"].tolist() == ["b"]


def test_a_pair_with_a_factor_that_stood_still_takes_nothing_from_the_other():
    """The law: what is asked about wool at 10 % throughout says as much of vents as leaving wool out of the question."""
    settings_ = random_settings(8, np.random.default_rng(1)).assign(wool=10.0)
    frame = plain_log(settings_, settings_["vents"] + np.random.default_rng(2).normal(0, 0.1, 8))
    asked, alone = (analyse(frame, FACTORS, Outcome("y"), terms) for terms in (["vents", "vents:wool"], ["vents"]))
    pd.testing.assert_frame_equal(asked.table, alone.table)


@pytest.mark.parametrize("names", ["aaabbb", "abcdef"])
def test_two_settings_are_told_apart_as_by_a_t_test_of_their_readings(names):
    """Against scipy's, over the range of wool. Of two builds none is left over, and it is said; six of one reading each are."""
    values = np.array([1.0, 1.4, 0.9, 3.1, 2.7, 3.3])
    frame = pd.DataFrame({"variant": list(names), "outcome": "y", "value": values, "wool": np.repeat([0.0, 60.0], 3)})
    effects = analyse(frame, [Factor("wool", low=0, high=60)], Outcome("y"), ["wool"])
    found, interval = effects.classical.iloc[0], stats.ttest_ind(values[3:], values[:3]).confidence_interval()
    assert (found["low"], found["high"]) == pytest.approx((interval.low, interval.high), rel=1e-6)
    assert (NO_BUILD_LEFT in effects.notes) == (names == "aaabbb")


def test_no_term_to_look_at_is_refused():
    with refused(UsageError, "There is no term to look at; name one, or leave 'terms' out."):
        analyse(plain_log(random_settings(3, np.random.default_rng(1)), np.arange(3.0)), FACTORS, Outcome("y"), [])


@pytest.mark.parametrize("terms", [["wool"], ["wool", "vents^2", "vents:driver"], "main"])
def test_asking_for_what_was_never_changed_is_answered_in_words(terms):
    settings_ = random_settings(6, np.random.default_rng(1)).assign(wool=10.0, vents=2)
    if terms == "main":
        settings_ = pd.concat([settings_[:1]] * 6, ignore_index=True)
    effects = analyse(plain_log(settings_, np.arange(6.0)), FACTORS, Outcome("y"), terms)
    which = {"main": "have the same settings", 1: "do not differ in wool;", 3: "do not differ in wool and vents;"}
    assert which[terms if terms == "main" else len(terms)] in effects.notes[0]
    assert set(effects.table["verdict"]) <= {CANT_TELL}


@pytest.mark.parametrize("n_variants", [2, 3, 4, 5])
def test_more_terms_than_variants_claim_nothing_and_warn_nothing(n_variants: int):
    rng = np.random.default_rng(n_variants)
    log = plain_log(random_settings(n_variants, rng), rng.normal(size=n_variants))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        effects = analyse(log, FACTORS, Outcome("y", matters=0.1))
    assert MOVES not in set(effects.table["verdict"])
    assert len(effects.summary()) > 20


@pytest.mark.slow
def test_two_hundred_factors_are_analysed_by_main_effects():
    rng = np.random.default_rng(1)
    factors = [Factor(f"f{place}", low=0, high=1) for place in range(200)]
    settings_ = pd.DataFrame({factor.name: rng.choice([0.0, 1.0], 40) for factor in factors})
    log = plain_log(settings_, 5 * settings_["f3"] + rng.normal(0, 0.3, 40))
    effects = analyse(log, factors, Outcome("y"))
    assert verdicts(effects)["f3"] == MOVES
    assert sum(verdict == MOVES for verdict in verdicts(effects).values()) == 1
    assert any("only main effects are looked at" in note for note in effects.notes)


def test_an_outlier_of_a_million_is_named():
    log = radio_log(13, reference=False)
    log.loc[log["variant"] == "7", "value"] += 1e6
    effects = analyse(log, FACTORS, BASS)
    checks = effects.checks.set_index("check")
    assert checks.loc["Odd ones out", "level"] == "wrong"
    assert "Variant 7" in checks.loc["Odd ones out", "finding"]


def test_infinite_readings_are_refused():
    log = radio_log(1)
    log.loc[3, "value"] = np.inf
    with pytest.raises(DataError, match=re.escape("A reading of bass is inf; it must be a finite number.")):
        analyse(log, FACTORS, BASS)


def test_readings_without_value_are_left_out_and_said():
    log = radio_log(1)
    log.loc[3, "value"] = np.nan
    assert "1 reading of bass without a value left out." in analyse(log, FACTORS, BASS).notes


def test_one_setting_written_in_two_ways_is_one():
    """It was refused as two of the same variant, though advice took it."""
    settings_ = pd.DataFrame({"gap": [0.3, 0.6, 0.3, 0.6], "driver": ["paper", "poly", "poly", "paper"]})
    log = plain_log(settings_, [1.0, 2.0, 1.5, 2.5])
    other = log.assign(gap=["0.3", "0.6", 0.1 + 0.2, 0.6], driver=log["driver"].str.upper())
    factors = (Factor("gap", low=0, high=1), FACTORS[3])
    one, two = (analyse(pd.concat([log, frame]), factors, Outcome("y")) for frame in (log, other))
    pd.testing.assert_frame_equal(one.table, two.table)


def test_one_variant_with_two_sets_of_settings_is_refused():
    log = radio_log(1)
    log.loc[0, "wool"] = 5 if log.loc[0, "wool"] != 5 else 10
    with pytest.raises(
        DataError, match="Variant 1 appears with two settings of wool; a changed build is a new variant"
    ):
        analyse(log, FACTORS, BASS)


def test_no_reading_is_said():
    with pytest.raises(FitError, match=re.escape("There is no reading of echo yet.")):
        analyse(radio_log(1), FACTORS, Outcome("echo"))


def test_no_factor_is_said():
    with pytest.raises(UsageError, match="There is no factor to analyse"):
        analyse(radio_log(1), [], BASS)


def test_the_callers_frame_is_left_alone():
    log = radio_log(2)
    before = log.copy()
    analyse(log, FACTORS, BASS)
    pd.testing.assert_frame_equal(log, before)


def test_the_result_shows_itself_safely():
    """In columns, main effects and what else may act; below, what to look at and how much was read."""
    effects = analyse(radio_log(2), FACTORS, Outcome("bass", unit="<b>dB</b>"))
    assert "<b>dB</b>" not in effects._repr_html_()
    headline, _, head, rule, *rest = effects.summary().splitlines()
    shown = effects.table[~effects.table["term"].str.contains("[:^]") | (effects.table["activity"] >= 0.1)]
    assert headline == effects.headline
    starts = [place for place in range(len(rule)) if rule[place] == "-" and rule[place - 1 : place] != "-"]
    assert head[starts[-1] :] == "verdict"
    cells = [
        [line[start:end].strip() for start, end in itertools.pairwise([*starts, None])] for line in rest[: len(shown)]
    ]
    assert [row[0] for row in cells] == shown["term"].tolist()
    assert [row[-1] for row in cells] == shown["verdict"].tolist()
    below = rest[len(shown) + 1 :]
    worries = effects.checks[effects.checks["level"] != "fine"]
    assert len(worries) > 0
    assert below[: len(worries)] == [
        f"{row.check}: {row.finding} {row.advice}".rstrip() for row in worries.itertuples()
    ]
    assert below[-1] == "90 readings of 24 variants."


def test_a_fit_can_be_given_up_at_many_places():
    """Every checkpoint is a place to stop: given up at any of a few, an analysis ends there and leaves nothing behind."""
    frame = radio_log(1)
    counted = []
    with interruptible(lambda: bool(counted.append(1))):
        whole = analyse(frame, FACTORS, BASS)
    assert len(counted) > 50
    for place in (1, len(counted) // 2, len(counted) - 1):
        left = iter(range(place, -1, -1))
        with pytest.raises(Interrupted), interruptible(lambda left=left: next(left) == 0):
            analyse(frame, FACTORS, BASS)
    pd.testing.assert_frame_equal(analyse(frame, FACTORS, BASS).table, whole.table)


def idle_log(seed: int, n_levels: int) -> tuple[pd.DataFrame, list[Factor]]:
    """24 builds in which nothing acts: a clip of so many levels, each as often, and a gap."""
    factors = [
        Factor("clip", kind="categorical", levels=list("abcdefgh"[:n_levels])),
        Factor("gap", low=0, high=9, step=1),
    ]
    rng = np.random.default_rng([seed, n_levels])
    clips = rng.permutation([factors[0].levels[place % n_levels] for place in range(24)])
    log = pd.DataFrame({"variant": [str(place) for place in range(24)], "outcome": "y", "clip": clips})
    log["gap"], log["value"] = rng.integers(0, 10, 24), rng.standard_normal(24)
    return log, factors


@pytest.mark.slow
@pytest.mark.parametrize("n_levels", [2, 3, 8])
def test_the_two_levels_that_differ_most_of_an_idle_factor_are_seldom_told_apart(n_levels: int):
    """300 logs in which nothing acts: p falls below 0.05 in 5 % at most, up to three standard errors."""
    found = []
    for seed in range(300):
        log, factors = idle_log(seed, n_levels)
        coding = Coding(tuple(factors))
        origin = origin_of(log, coding, Outcome("y"))
        matrix = coding.matrix(origin.evidence.settings, coding.terms("main"))
        row = origin.classical(coding, matrix)[0].table.set_index("term").loc["clip"]
        assert (row["p"] < 0.05) == (row["low"] > 0 or row["high"] < 0)
        found.append(row["p"] < 0.05)
    assert np.mean(found) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 300)


@pytest.mark.slow
@pytest.mark.parametrize("n_levels", [3, 8])
def test_the_averaged_interval_of_an_idle_factor_allows_for_the_levels_having_been_picked(n_levels: int):
    """In 150 logs in which nothing acts it leaves zero out in 5 % at most, up to three standard errors."""
    tables = [table_alone(*idle_log(seed, n_levels), Outcome("y")).table for seed in range(150)]
    rows = [table.set_index("term").loc["clip"] for table in tables]
    leaves_out = [row["low"] > 0 or row["high"] < 0 for row in rows]
    assert np.mean(leaves_out) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 150)


def test_a_mean_is_told_at_settings_that_can_be_built_only():
    """Between 7 and 12 rings stand 9, not 9.5; from 0 to 10 in steps of 3 it goes to 9, past 6."""
    log = radio_log(7, reference=False)
    gap = Factor("gap", low=0, high=10, step=3)
    log["gap"] = [gap.grid()[place % 4] for place in log.groupby("variant", sort=False).ngroup() * 7 // 3]
    factors = {factor.name: factor for factor in (*FACTORS, gap)}
    effects = analyse(log, list(factors.values()), BASS, terms="main")
    for row in effects.levels.to_dict("records"):
        assert factors[row["factor"]].read(row["level"]) is not None
    told = effects.levels.groupby("factor")["level"].agg(list)
    assert (told["rings"], told["gap"], told["wool"]) == (["7", "9", "12"], ["0", "6", "9"], ["0", "30", "60"])
    low, middle, high = effects.levels.loc[effects.levels["factor"] == "rings", "mean"]
    assert middle == pytest.approx(low + 2 / 5 * (high - low), abs=1e-9)  # where the model is straight
    assert list(effects.table.set_index("term").loc["gap", ["from", "to"]]) == ["0", "9"]


LOG = radio_log(1)
TIMES = pd.date_range("2026-03-01", periods=len(LOG), freq="h")


@pytest.mark.parametrize(
    "values",
    [LOG["value"] > 0, (LOG["value"] > 0).astype(object), TIMES, TIMES.tz_localize("Asia/Tokyo"), TIMES - TIMES[0],
     LOG["value"] + 1j, LOG["value"].map("{:.1f} dB".format)],
    ids=["bool", "object bool", "times", "zoned times", "durations", "complex", "text"],
)  # fmt: skip
def test_readings_that_are_no_numbers_are_refused(values):
    """Pandas turns times into nanoseconds and yes into 1; a verdict on these would say nothing of the outcome."""
    with refused(DataError, "The readings of bass hold something that is no number."):
        analyse(LOG.assign(value=values), FACTORS, BASS)


@pytest.mark.parametrize(
    ("order", "what"),
    [("1st", "no number"), (TIMES, "no number"), (True, "no number"), (np.inf, "no finite number")],
)
def test_an_order_that_is_no_number_is_refused(order, what):
    """Words used to be passed over without a word, so that no drift was looked for."""
    with refused(DataError, f"The order of readings holds something that is {what}."):
        analyse(LOG.assign(order=order), FACTORS, BASS)


@pytest.mark.parametrize("kind", ["string", "category", object])
def test_a_row_without_an_outcome_is_none_of_this_outcome(kind):
    """Of text that may be missing, pandas says neither yes nor no; that ended in a TypeError."""
    nameless = pd.concat([LOG, LOG.iloc[:1].assign(outcome=None)]).astype({"outcome": kind})
    pd.testing.assert_frame_equal(analyse(nameless, FACTORS, BASS).table, analyse(LOG, FACTORS, BASS).table)


@pytest.mark.parametrize("changed", [
    lambda log: log.convert_dtypes(),
    lambda log: log.astype(object),
    lambda log: log.astype({"variant": "category", "driver": "category", "session": "category"}),
    lambda log: log.set_axis([7] * len(log)),
    lambda log: log.set_index("session", drop=False),
], ids=["may be missing", "object", "category", "one label for all", "index of the same name"])  # fmt: skip
def test_how_pandas_keeps_a_log_changes_nothing(changed):
    pd.testing.assert_frame_equal(analyse(changed(LOG), FACTORS, BASS).table, analyse(LOG, FACTORS, BASS).table)


def test_a_column_that_is_the_index_is_said_to_be():
    with refused(
        DataError,
        "The readings have no column 'variant'. It is the index of the table; reset_index() makes a column of it.",
    ):
        analyse(LOG.set_index("variant"), FACTORS, BASS)


def test_a_grade_off_its_scale_is_refused():
    """A project takes none; from a data frame a slip of the keys, 55 for 5, went into the means."""
    graded = Outcome("bass", kind="rated", scale=(1, 7))
    grades = LOG.assign(value=LOG["value"].rank(pct=True).mul(6).round() + 1)
    assert analyse(grades, FACTORS, graded).n_readings == len(grades)
    grades.loc[4, "value"] = 55
    with refused(DataError, "A reading of bass is 55; it must be a grade from 1 to 7."):
        analyse(grades, FACTORS, graded)


def test_no_settings_give_no_predictions():
    """A filter of a frame may leave nothing."""
    effects = analyse(LOG, FACTORS, BASS)
    settings_ = random_settings(3, np.random.default_rng(1)).set_axis(["x", "y", "z"])
    some, none = effects.predict(settings_), effects.predict(settings_.iloc[:0])
    assert list(some.index) == ["x", "y", "z"]
    assert (len(none), list(none.columns)) == (0, list(some.columns))
