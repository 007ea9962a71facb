from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from doe.coding import Coding
from doe.fit import analyse
from doe.fit.builds import Builds
from doe.fit.checks import _lack_of_fit, _order, _outliers, _pile_up, _resting, residuals_of
from doe.fit.evidence import gather
from doe.fit.lenth import lenth
from doe.fit.scatter_checks import box_cox_profile
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.wording import number, p_value
from tests.fit.logs import FACTORS, plain_log, radio_log, random_settings
from tests.published.cases import case

ECHO = Outcome("echo", kind="rated", scale=(1, 7), goal="lower", matters=0.5)


def levels(effects: object) -> dict[str, str]:
    """Level by check."""
    checks = effects.checks
    return dict(zip(checks["check"], checks["level"], strict=True))


def finding(effects: object, check: str) -> str:
    """What a check found."""
    return str(effects.checks.set_index("check").loc[check, "finding"])


def graded_log(
    seed: int, *, repeats: int = 2, slips: tuple[float, ...] = (0.4, 0.4, 0.4), push: float = 0.0
) -> pd.DataFrame:
    """Grades 1 to 7 by three listeners, twice per session; truth: wool lowers echo by 3 over its range, nothing else."""
    rng = np.random.default_rng(seed)
    settings = random_settings(20, rng)
    build = rng.normal(0, 0.25, 20)
    rows = []
    for variant, record in enumerate(settings.to_dict("records")):
        truth = 4.0 - 3.0 * (record["wool"] - 30) / 60 + build[variant] + push
        for rater, slip in enumerate(slips):
            for _ in range(repeats):
                grade = float(np.clip(round(truth + rng.normal(0, slip)), 1, 7))
                conditions = {"session": f"s{variant // 4}", "rater": ["Ann", "Bo", "Cy"][rater]}
                rows.append({"variant": f"v{variant}", "outcome": "echo", "value": grade, **conditions, **record})
    return pd.DataFrame(rows)


def test_a_listener_who_cannot_repeat_is_named_not_dropped():
    effects = analyse(graded_log(1, slips=(0.3, 2.0, 0.3)), FACTORS, ECHO)
    assert levels(effects)["Do listeners repeat themselves?"] == "look"
    assert "Bo cannot repeat" in finding(effects, "Do listeners repeat themselves?")
    assert effects.n_readings == 120


def test_steady_listeners_pass():
    effects = analyse(graded_log(2), FACTORS, ECHO)
    assert levels(effects)["Do listeners repeat themselves?"] == "fine"
    assert finding(effects, "Do listeners repeat themselves?") == (
        "They repeat a grade to within a standard deviation of 0.52; that is more than the 0.5 that matters, which takes "
        "several grades of each to see."
    )
    assert levels(effects)["Do listeners agree?"] == "fine"


def test_without_a_hidden_repeat_it_is_asked_for():
    effects = analyse(graded_log(2, repeats=1), FACTORS, ECHO)
    assert finding(effects, "Do listeners repeat themselves?") == "Nobody graded the same variant twice in one session."


def test_a_listener_who_turned_the_scale_round_is_named():
    log = graded_log(3)
    log.loc[log["rater"] == "Cy", "value"] = 8 - log.loc[log["rater"] == "Cy", "value"]
    effects = analyse(log, FACTORS, ECHO)
    assert "Cy grades against the others" in finding(effects, "Do listeners agree?")


def test_a_pile_at_the_end_of_the_scale_is_said():
    effects = analyse(graded_log(4, push=4.0), FACTORS, ECHO)
    assert levels(effects)["End of the scale"] == "look"
    assert "highest there is" in finding(effects, "End of the scale")


@pytest.mark.parametrize(
    ("grades", "said"),
    [
        ([1, 1, 1, 2], "75 % of the grades are the lowest there is."),
        ([7, 1, 4, 7], "50 % of the grades are the highest there is."),
        ([6, 1, 4, 7], "Grades do not pile up at either end of the scale."),
    ],
)
def test_grades_at_an_end_are_counted_one_by_one(grades, said):
    """Also where one listener gives them in one session, and nobody wrote their order down."""
    settings = pd.DataFrame({"gap": [0, 2, 4, 6] * 2})
    log = pd.concat([plain_log(settings, np.full(8, grade)) for grade in grades])
    assert _pile_up(gather(log.assign(outcome="echo"), GAP, ECHO)).finding == said


def test_grades_as_an_order_bear_out_a_clear_effect():
    effects = analyse(graded_log(5), FACTORS, ECHO)
    assert levels(effects)["Grades taken as an order"] == "fine"


def test_grades_as_an_order_see_what_a_few_extreme_grades_hide():
    """Truth: most grades go from 3 to 4; two listeners' slips to the far end leave the means about equal."""
    a = np.repeat([0.0, 1.0], 20)
    values = np.where(a > 0, 4.0, 3.0)
    values[[3, 8]], values[[23, 28, 33]] = 7.0, 1.0
    log = plain_log(pd.DataFrame({"a": a}), values).assign(outcome="echo")
    effects = analyse(log, [Factor("a", low=0, high=1)], ECHO, ["a"])
    assert levels(effects)["Grades taken as an order"] == "look"
    assert "sees a, grades taken as numbers do not" in finding(effects, "Grades taken as an order")


def test_uneven_scatter_is_said_with_its_ratio():
    rng = np.random.default_rng(2)
    settings = random_settings(16, rng)
    truth = settings["wool"].to_numpy(dtype=float)
    log = pd.concat([plain_log(settings, truth + rng.normal(0, 0.05 * truth + 0.05)) for _ in range(4)])
    effects = analyse(log, FACTORS, Outcome("y"))
    assert levels(effects)["Even scatter"] == "look"
    assert finding(effects, "Even scatter").startswith("Readings at high values scatter")


def read_twice(low, high):
    """Two readings a variant, of variants at 10 and at 20, that differ by so much each."""
    settings = random_settings(len(low) + len(high), np.random.default_rng(2))
    first = np.array([10.0] * len(low) + [20.0] * len(high))
    return pd.concat([plain_log(settings, first), plain_log(settings, first + np.array([*low, *high]))])


def test_readings_that_agree_may_differ_by_what_their_step_hides():
    """By hand: all agree at 20, taken for 1/12; at 10 two pairs differ by 1, so (1 + 1) / 2 / 8, 1.5 times that."""
    effects = analyse(read_twice([1, 1] + [0] * 6, [0] * 8), FACTORS, Outcome("y"))
    assert levels(effects)["Even scatter"] == "fine"


def test_a_ratio_of_scatters_is_one_that_can_be_read():
    """By hand: all agree at 10, taken for 1/12; at 20 seven pairs differ by 5 and one by 1, so (7 * 25 + 1) / 2 / 8 = 11."""
    text = finding(analyse(read_twice([0] * 8, [5] * 7 + [1]), FACTORS, Outcome("y")), "Even scatter")
    assert text == (
        f"Readings at high values scatter at least {number(np.sqrt(11 * 12), 2)} times as much as at the other end."
    )
    text = finding(analyse(read_twice([1e-5] * 8, [1.0] * 8), FACTORS, Outcome("y")), "Even scatter")
    assert text == "Readings at high values scatter more than 100 times as much as at the other end."


def test_even_scatter_passes():
    assert levels(analyse(graded_log(6, slips=(0.5, 0.5, 0.5)), FACTORS, Outcome("echo")))["Even scatter"] == "fine"


def test_an_outcome_that_multiplies_gets_the_hint_of_its_logarithm():
    rng = np.random.default_rng(3)
    settings = random_settings(30, rng)
    y = np.exp(1.2 * (settings["wool"] - 30) / 30 + rng.normal(0, 0.1, 30)) * 5
    effects = analyse(plain_log(settings, y), FACTORS, Outcome("y"), ["wool"])
    assert finding(effects, "Scale of the outcome") == "The model fits clearly better to its logarithm (Box-Cox)."


@pytest.mark.parametrize(
    ("power", "advice"),
    [
        (0.0, "Effects may be factors rather than steps: compare ratios."),
        (2.0, "The same change may move it more where it is low; an interaction or a bend that says no more than this may be "
              "none."),
        (0.5, "The same change may move it more where it is high; an interaction or a bend that says no more than this may "
              "be none."),
        (1.3, ""),
    ],
)  # fmt: skip
def test_advice_on_the_scale_says_what_its_power_means(power, advice):
    """The truth is straight in the wool on the scale of that power; to compare ratios had been advised at any power."""
    rng = np.random.default_rng(5)
    settings = random_settings(30, rng)
    straight = 10 + 7 * (settings["wool"] - 30) / 30 + rng.normal(0, 0.01, 30)
    y = np.exp(straight / 5) if power == 0 else straight ** (1 / power)
    effects = analyse(plain_log(settings, y), FACTORS, Outcome("y"), ["wool"])
    row = effects.checks[effects.checks["check"] == "Scale of the outcome"].iloc[0]
    assert row["advice"] == advice
    assert row["level"] == ("look" if advice else "fine")


@pytest.mark.published
def test_box_cox_power_of_the_ceramic_strength():
    """NIST e-Handbook 5.4.7.1, 12-term model: the residual sum is least at 0.27 on a grid of 0.01 (statsmodels 0.15.0)."""
    data = case("nist_ceramic_2_5").data
    names = ["speed", "rate", "grit", "direction", "batch"]
    terms = ["1", "2", "12", "3", "13", "4", "14", "24", "124", "34", "5", "45"]
    columns = [np.prod([data[names[int(digit) - 1]].to_numpy(float) for digit in term], axis=0) for term in terms]
    powers = np.arange(-100, 101) / 100
    profile = box_cox_profile(np.column_stack([np.ones(len(data)), *columns]), data["strength"].to_numpy(float), powers)
    assert powers[int(np.argmax(profile))] == pytest.approx(
        case("nist_ceramic_2_5").value("Box-Cox lambda minimising the residual SS of the 12-term model (grid .01)")
    )


@pytest.mark.published
def test_lack_of_fit_of_the_yield_surface():
    """Montgomery, Example 11.2: lack-of-fit p = 0.2897 for the full quadratic with five centre points."""
    published = case("montgomery_ccd_yield")
    data = published.data
    log = plain_log(data[["x1", "x2"]], data["yield"])
    factors = [Factor(name, low=-(2**0.5), high=2**0.5) for name in ("x1", "x2")]
    log[["x1", "x2"]] = log[["x1", "x2"]].clip(-(2**0.5), 2**0.5)
    effects = analyse(log, factors, Outcome("yield"), "quadratic")
    assert levels(effects)["Does the model fit?"] == "fine"
    assert f"(p = {number(published.value('yield lack-of-fit p'), 2)})" in finding(effects, "Does the model fit?")
    assert {"x1", "x2", "x1^2", "x2^2"} <= set(analyse(log, factors, Outcome("yield")).classical["term"])


@pytest.mark.slow
def test_sessions_that_differ_are_no_drift():
    """Truth: 20 builds in two sessions 1 apart (sd), builds 0.3, readings 0.5; at 1 % four of 60 logs come once in 320."""
    found = []
    for seed in range(60):
        rng = np.random.default_rng([seed, 3])
        gaps, sessions, builds = rng.integers(0, 9, 20), rng.normal(0, 1.0, 2), rng.normal(0, 0.3, 20)
        rows = [
            {"variant": f"v{place}", "outcome": "y", "session": f"s{place // 10}", "gap": gaps[place],
             "value": 0.4 * gaps[place] + sessions[place // 10] + builds[place] + rng.normal(0, 0.5)}
            for place in range(20) for _ in range(2)
        ]  # fmt: skip
        found.append(levels(analyse(pd.DataFrame(rows), [Factor("gap", low=0, high=8, step=1)], Outcome("y"))))
    assert sum(one["Drift over the log"] != "fine" for one in found) < 4


@pytest.mark.slow
def test_listeners_who_judge_by_chance_are_seldom_said_to_have_turned_the_scale():
    """Truth: nothing acts, so that half of all correlations are below zero; 1 % of each, of 2 listeners in 40 logs."""
    named = []
    for seed in range(40):
        rng = np.random.default_rng([seed, 9])
        rows = [
            {"variant": f"v{place}", "outcome": "echo", "session": "s", "rater": rater, "wool": 10 * (place % 6),
             "value": float(rng.integers(2, 7))}
            for place in range(8) for rater in ("Ann", "Bo")
        ]  # fmt: skip
        wool = [Factor("wool", low=0, high=60, step=5)]
        named.append(levels(analyse(pd.DataFrame(rows), wool, ECHO))["Do listeners agree?"] != "fine")
    assert sum(named) < 4


def test_a_drift_through_the_log_is_said():
    rng = np.random.default_rng(4)
    settings = random_settings(24, rng)
    effects = analyse(plain_log(settings, np.arange(24) * 0.3 + rng.normal(0, 0.3, 24)), FACTORS, Outcome("y"))
    assert levels(effects)["Drift over the log"] == "look"
    assert finding(effects, "Drift over the log").startswith("Y rose through the log")


@pytest.mark.parametrize(("high", "is_said"), [(60.0, True), (10.0, True), (5.0, False)])
def test_two_settings_only_asks_for_a_middle_one(high, is_said):
    """Wool goes by steps of 5: between 0 and 5 there is none."""
    rng = np.random.default_rng(5)
    wool = rng.choice([0.0, high], 14)
    effects = analyse(plain_log(pd.DataFrame({"wool": wool}), wool + rng.normal(0, 1, 14)), FACTORS[2:3], Outcome("y"))
    assert ("Between the ends" in set(effects.checks["check"])) == is_said
    if is_said:
        assert finding(effects, "Between the ends") == "Wool was tried at two settings only."


def test_every_check_that_worries_says_what_to_do():
    for log in (graded_log(1, slips=(0.3, 2.0, 0.3)), radio_log(1), radio_log(2, n_raters=1)):
        outcome = ECHO if "echo" in set(log["outcome"]) else Outcome("bass")
        checks = analyse(log, FACTORS, outcome).checks
        assert (checks.loc[checks["level"] != "fine", "advice"] != "").all()


def test_margins_are_stated_where_every_run_is_spent_on_an_effect():
    """Half fraction of four factors, seven effects, no replicate: the result holds Lenth's margins, the check says them."""
    factors = [Factor(name, low=-1, high=1) for name in "abcd"]
    base = pd.DataFrame(
        np.array(np.meshgrid([-1.0, 1.0], [-1.0, 1.0], [-1.0, 1.0])).reshape(3, -1).T, columns=list("abc")
    )
    settings = base.assign(d=base["a"] * base["b"] * base["c"])
    values = 10 + 4 * settings["a"] + np.random.default_rng(5).normal(0, 0.3, 8)
    log = plain_log(settings, values)
    effects = analyse(log, factors, Outcome("y"), terms=["a", "b", "c", "d", "a:b", "a:c", "a:d"])
    assert effects.margins == lenth(effects.classical["swing"].to_numpy())
    assert f"Lenth's margin of {number(effects.margins.margin)} (a)" in finding(effects, "Without replicates")
    assert analyse(log, factors, Outcome("y"), terms="main").margins is None


RESTING = (
    Factor("gap", low=0, high=10),
    Factor("heat", low=0, high=8),
    Factor("feet", kind="categorical", levels=["felt", "cork"]),
)


def resting_log(feet, gap=None):
    """Truth: 1 a mm of gap, nothing else; readings scatter by 0.2."""
    rng = np.random.default_rng(3)
    count = len(feet)
    frame = pd.DataFrame({"variant": [str(place + 1) for place in range(count)], "outcome": "y", "feet": feet})
    frame["gap"] = rng.choice([0.0, 5.0, 10.0], count) if gap is None else gap
    frame["heat"] = rng.choice([0.0, 4.0, 8.0], count)
    return frame.assign(value=frame["gap"] + rng.normal(0, 0.2, count))


def test_a_level_in_one_variant_only_is_an_effect_that_rests_on_it():
    """Without variant 5 feet never changed, whether or not anything is claimed of it."""
    found = analyse(resting_log(["felt"] * 4 + ["cork"] + ["felt"] * 7), RESTING, Outcome("y"))
    assert finding(found, "Resting on one build") == "Some effects rest on one build alone: that of feet on variant 5."
    assert levels(found)["Resting on one build"] == "look"
    twice = analyse(resting_log(["felt"] * 4 + ["cork"] * 2 + ["felt"] * 6), RESTING, Outcome("y"))
    assert finding(twice, "Resting on one build") == "No effect rests on a single build."


def test_one_build_far_out_carries_a_slope():
    """Gap 5 and a little, and once 0: without variant 12 of gap 1 % is left, of heat nearly all."""
    gap = [5.0, 5.1, 5.2, 5.0, 5.1, 5.2, 5.0, 5.1, 5.2, 5.0, 5.1, 0.0]
    found = analyse(resting_log(["felt", "cork"] * 6, gap), RESTING, Outcome("y"), "main")
    assert finding(found, "Resting on one build") == "Some effects rest on one build alone: that of gap on variant 12."


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (8, "There are as many terms as builds, or more, so each effect rests on every single build."),
        (20, "No effect rests on a single build."),
    ],
)
def test_a_model_with_no_build_left_over_says_so(count, said):
    """Squares and pairs of three factors, eight columns and the mean: of eight builds none is left over."""
    found = analyse(resting_log(["felt", "cork"] * (count // 2)), RESTING, Outcome("y"), "quadratic")
    assert finding(found, "Resting on one build") == said


def resting(factors, settings):
    """What is said of builds that scatter alike, by main effects."""
    evidence = gather(plain_log(pd.DataFrame(settings), np.arange(12.0)), factors, Outcome("y"))
    matrix = Coding(factors).matrix(evidence.settings, Coding(factors).terms("main"))
    return _resting(evidence, Builds(evidence.means, np.eye(12), np.zeros((12, 12))), matrix).finding


def test_a_middle_that_was_built_once_is_an_effect_that_rests_on_it():
    """How ends differ is known from many builds, whether it bends from one."""
    size = Factor("size", kind="ordered", levels=["S", "M", "L"])
    said = resting((size,), {"size": ["S"] * 6 + ["M"] + ["L"] * 5})
    assert said == "Some effects rest on one build alone: that of size on variant v7."


@pytest.mark.parametrize(
    ("count", "last"),
    [(4, "that of c on variant v3 and that of d on variant v4"),
     (6, "that of c on variant v3 and 3 more effects on one build each")],
)  # fmt: skip
def test_many_effects_that_rest_on_a_build_each_are_counted(count, last):
    factors = tuple(Factor(name, low=0, high=1) for name in "abcdef"[:count])
    said = resting(factors, dict(zip("abcdef", np.eye(12)[:count], strict=False)))
    assert said == f"Some effects rest on one build alone: that of a on variant v1, that of b on variant v2, {last}."


GAP = (Factor("gap", low=0, high=10),)
SHARED = 0.2 * np.eye(12) + 0.3 * np.kron(np.eye(4), np.ones((3, 3)))
"""Covariance of twelve builds, each three of them of one unit: known, so that checks are tests of generalised least squares."""


def twelve(values, gap=(0, 2, 4, 6, 8, 10) * 2):
    """Evidence, builds and model matrix of twelve builds, their scatter as in `SHARED`."""
    values = np.asarray(values, dtype=float)
    evidence = gather(plain_log(pd.DataFrame({"gap": gap}), values), GAP, Outcome("y"))
    matrix = Coding(GAP).matrix(evidence.settings, Coding(GAP).terms("main"))
    return evidence, Builds(values, SHARED / 2, SHARED / 2), matrix


def noise(seed):
    """Draw by the Cholesky factor, which is one and the same on every machine."""
    return np.linalg.cholesky(SHARED) @ np.random.default_rng(seed).standard_normal(12)


def generalised(columns, values):
    """Generalised least squares by statsmodels."""
    return sm.GLS(np.asarray(values, dtype=float), np.column_stack(columns), sigma=SHARED).fit()


@pytest.mark.parametrize(
    ("place", "slip", "expected"),
    [
        (3, 0.0, "No build lies further from the model than chance allows."),
        (0, 1.4, "No build lies further from the model than chance allows."),  # p is 0.075
        (0, 1.6, "Variant v1 lies far from what its settings would give."),  # p is 0.034
        (3, 1.8, "Variant v4 lies far from what its settings would give."),  # p is 0.033
    ],
)
def test_odd_ones_out_are_those_that_a_column_of_their_own_would_take_up(place, slip, expected):
    """Against statsmodels' GLS with one column more, which is one for one build alone; Bonferroni's 5 %.

    The whitened rows' own residuals had missed a slip of the first build on a unit in 15 of 40 logs, of the last in 10.
    """
    evidence, builds, matrix = twelve(noise(1) + slip * np.eye(12)[place])
    residuals = residuals_of(builds, matrix)
    own = [generalised([np.ones(12), matrix.values, column], builds.means) for column in np.eye(12)]
    np.testing.assert_allclose(residuals.studentised, [fit.tvalues[2] for fit in own], rtol=1e-9)
    far = [row for row, fit in enumerate(own) if fit.pvalues[2] * 12 < 0.05]
    assert far == ([place] if "lies far" in expected else [])
    assert _outliers(evidence, residuals).finding == expected


@pytest.mark.parametrize("place", [0, 5, 11])
def test_one_build_apart_from_others_that_agree_lies_far_out(place):
    """Eleven read 5 and one 50: without it nothing is left over, and rounding decided whether that was nothing or less."""
    evidence, builds, matrix = twelve(np.where(np.arange(12) == place, 50.0, 5.0))
    assert _outliers(evidence, residuals_of(builds, matrix)).finding.startswith(f"Variant v{place + 1} lies far")


def test_two_odd_ones_out_are_named_together():
    """One way and the other."""
    evidence, builds, matrix = twelve(noise(1))
    residuals = replace(residuals_of(builds, matrix), studentised=9.0 * (np.eye(12)[3] - np.eye(12)[6]))
    found = _outliers(evidence, residuals)
    assert found.finding == "Variants v4 and v7 lie far from what their settings would give."
    assert found.advice.startswith("Read them again")


@pytest.mark.parametrize("bend", [0.0, 1.0, 4.0])
@pytest.mark.parametrize("level", [0.0, 1e8])
def test_lack_of_fit_is_the_f_test_of_generalised_least_squares(bend, level):
    """Against statsmodels' GLS: a line in the gap within a mean for each of its settings. Where zero lies does not matter."""
    gap = np.array((0, 2, 4, 6, 8, 10) * 2)
    evidence, builds, matrix = twelve(noise(5) + bend * (gap / 5 - 1) ** 2 + level)
    each = generalised(np.eye(6)[gap // 2].T, builds.means - level)
    ratio, p, _ = each.compare_f_test(generalised([np.ones(12), gap], builds.means - level))
    check = _lack_of_fit(evidence, builds, residuals_of(builds, matrix))
    assert check.finding == (
        f"Scatter about the model is {number(np.sqrt(ratio), 2)} times that of repeated builds ({p_value(p)})."
    )
    assert check.level == ("look" if p < 0.05 else "fine")


def test_repeated_builds_that_agree_are_no_measure_of_scatter():
    """Whole degrees: pairs alike to the last digit would make any bend infinitely clear."""
    evidence, builds, matrix = twelve([5, 6, 8, 8, 7, 5] * 2)
    check = _lack_of_fit(evidence, builds, residuals_of(builds, matrix))
    assert (check.level, check.advice) == ("look", "Build one of them once more, or read more finely.")


@pytest.mark.parametrize("slope", [-6.0, -3.0, 0.0, 1.0, 3.0])
def test_drift_is_the_t_test_of_the_order_beside_the_terms(slope):
    """Against statsmodels' GLS with the order as one more column, at 1 %."""
    order = np.linspace(-1, 1, 12)
    evidence, builds, matrix = twelve(noise(3) + slope * order)
    theirs = generalised([np.ones(12), matrix.values, order], builds.means)
    check = _order(evidence, builds, matrix, residuals_of(builds, matrix))
    way = "rose" if theirs.params[2] > 0 else "fell"
    assert (check.level, check.finding) == (
        ("look", f"Y {way} through the log beyond what the settings explain.")
        if theirs.pvalues[2] < 0.01
        else ("fine", "Later builds are neither better nor worse than their settings explain.")
    )


def test_drift_cannot_be_told_from_a_setting_that_rose_with_the_order():
    evidence, builds, matrix = twelve(noise(3), gap=np.linspace(0, 10, 12))
    assert _order(evidence, builds, matrix, residuals_of(builds, matrix)) is None
