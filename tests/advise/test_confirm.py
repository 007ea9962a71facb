"""Confirming a promise: sizes against closed forms and statsmodels, verdicts against simulated truths."""

from __future__ import annotations

import math
import re

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats
from statsmodels.stats.power import TTestPower

from doe.advise.allowed_for import as_read, is_noticed
from doe.advise.confirm import _read, _same_unit, confirm, fresh_value, judge
from doe.advise.confirm_size import Scatter, _known_sd, scatter_of, size_confirmation
from doe.fit import analyse
from doe.fit.equivalence import ALPHA, chance_to_confirm
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.wording import FELL_SHORT, KEPT, NOT_KNOWN, percent
from tests.refusing import refused

FACTORS = (Factor("gap", low=0, high=10, step=1), Factor("blades", kind="count", low=2, high=6))
NOISE = Outcome("noise", unit="dB", goal="lower", best=0, worst=60, matters=2.0)
FLOW = Outcome("flow", goal="hit", target=20, worst=40, matters=2.0)
NEW = {"gap": 5, "blades": 4}


def truth(name, gap, blades):
    return 30 + 1.5 * gap if name == "noise" else 10 + 2.5 * blades


def log(fresh, off=0.0, seed=4, n=20, builds_sd=0.4):
    """A log of two outcomes whose truth is above, read twice a build, and fresh builds that are off by so much."""
    rng = np.random.default_rng(seed)
    rows = []
    for place in range(n + fresh):
        is_fresh = place >= n
        settings = NEW if is_fresh else {"gap": int(rng.integers(0, 11)), "blades": int(rng.integers(2, 7))}
        for outcome in ("noise", "flow"):
            build = (
                truth(outcome, **settings) + rng.normal(0, builds_sd) + (off if is_fresh and outcome == "noise" else 0)
            )
            rows += [
                {"variant": f"new {place - n + 1}" if is_fresh else str(place), "outcome": outcome,
                 "value": build + rng.normal(0, 0.3), **settings}
                for _ in range(2)
            ]  # fmt: skip
    return pd.DataFrame(rows)


def verdicts(found):
    return dict(zip(found.table["outcome"], found.table["verdict"], strict=True))


def test_a_promise_that_is_kept_is_said_to_be():
    found = confirm(log(3), FACTORS, [NOISE, FLOW], ["new 1", "new 2", "new 3"])
    assert verdicts(found) == {"noise": KEPT, "flow": KEPT}
    assert found.verdict == KEPT
    assert found.headline == "Variants new 1, new 2 and new 3 (3 fresh builds) kept the promise in every outcome."
    assert ((found.table["promised_low"] < found.table["observed"]) & found.table["is_inside"].astype(bool)).all()


def test_builds_that_fall_short_are_said_to_by_how_much():
    """Truth: 4 dB louder than the log's 37.5, twice what matters; the log is told to be contradicted."""
    found = confirm(log(3, off=4.0), FACTORS, [NOISE, FLOW], ["new 1", "new 2", "new 3"])
    assert verdicts(found) == {"noise": FELL_SHORT, "flow": KEPT}
    assert found.headline == "Variants new 1, new 2 and new 3 (3 fresh builds) fell short in noise."
    assert found.table["finding"].iloc[0].startswith("Noise: fell short by ")
    assert any(note.startswith("Noise contradicts the log: it came out worse") for note in found.notes)


@pytest.mark.parametrize("is_inside", [True, False])
def test_a_shortfall_within_the_prediction_says_by_which_intervals(is_inside):
    """32.5 where 30 +- 3 or 2 was told, se 0.5 with 20 degrees of freedom: 2.5 off, 90 % interval 1.64 to 3.36 (Student)."""
    row, notes = judge(NOISE, 30.0, (27.0, 33.0) if is_inside else (28.0, 32.0), 32.5, 0.5, 20.0)
    assert row["verdict"] == FELL_SHORT
    said = "it lies within the prediction's interval (95 %), but the interval of the shortfall (90 %) leaves zero out."
    assert row["finding"].endswith(said) == is_inside
    assert bool(notes) != is_inside


def test_better_than_promised_is_no_broken_promise_but_contradicts_the_log():
    found = confirm(log(3, off=-5.0), FACTORS, [NOISE], ["new 1", "new 2", "new 3"])
    assert found.verdict == KEPT
    assert "better than promised by" in found.table["finding"].iloc[0]
    assert any(note.startswith("Noise contradicts the log: it came out better") for note in found.notes)


@pytest.mark.parametrize(
    ("outcome", "promised", "observed", "said"),
    [
        (NOISE, 30.0, 31.2, "outside of what the log predicted, though by less than what matters"),
        (NOISE, 30.0, 28.8, "outside of what the log predicted, though by less than what matters"),
        (NOISE, 30.0, 27.0, "it came out better than"),
        (NOISE, 30.0, 34.0, "it came out worse than"),
        (Outcome("noise", matters=2.0), 30.0, 27.0, "it came out lower than"),
        (Outcome("noise", matters=2.0), 30.0, 34.0, "it came out higher than"),
        (Outcome("noise", goal="within", low=20, high=40, worst=9, matters=2.0), 24.0, 36.0, "it came out higher than"),
        (Outcome("noise", goal="within", low=20, high=40, worst=9, matters=2.0), 24.0, 42.5, "it came out worse than"),
    ],
)
def test_what_lies_outside_of_the_prediction_is_called_by_what_it_is(outcome, promised, observed, said):
    """Promised to within 1: better and worse are towards the goal; without one, or anywhere in a range, it has no side."""
    _, notes = judge(outcome, promised, (promised - 1, promised + 1), observed, 0.1, 20.0)
    assert [said in note for note in notes] == [True]


def test_a_lack_of_difference_is_no_proof():
    """One build with scatter as large as what matters is not different, and not confirmed either."""
    row, _ = judge(NOISE, 30.0, (25.0, 35.0), 30.2, 1.6, 15)
    assert row["verdict"] == NOT_KNOWN
    assert "it may be off by up to 3" in row["finding"]


def test_kept_and_short_exclude_each_other_and_follow_the_interval():
    for observed in np.linspace(25, 35, 41):
        row, _ = judge(NOISE, 30.0, (20.0, 40.0), observed, 0.5, 20)
        low, high = row["low"], row["high"]
        assert (row["verdict"] == KEPT) == (high < 2.0)
        assert (row["verdict"] == FELL_SHORT) == (low > 0 and observed - 30 >= 2.0 and high >= 2.0)


def test_without_a_margin_nothing_is_called_the_same():
    row, _ = judge(Outcome("noise", goal="lower", best=0, worst=60), 30.0, (29.0, 31.0), 30.0, 0.01, 20)
    assert (row["verdict"], "say what 'matters'" in row["finding"]) == (NOT_KNOWN, True)
    assert np.isnan([row["margin"], row["p"]]).all()


def test_without_a_goal_a_move_to_either_side_is_a_loss():
    """3 off with a se of 0.5: 90 % interval 2.14 to 3.86 (Student, 20 df). With a se of 2 it holds zero and tells nothing."""
    weight = Outcome("weight", unit="g", matters=1.0)
    for observed in (27.0, 33.0):
        row, _ = judge(weight, 30.0, (29.0, 31.0), observed, 0.5, 20.0)
        assert row["finding"].startswith("Weight: fell short by 3.0 g (2.1 to 3.9) - promised 30")
        unsure, _ = judge(weight, 30.0, (25.0, 35.0), observed, 2.0, 20.0)
        assert (unsure["verdict"], row["is_inside"], unsure["is_inside"]) == (NOT_KNOWN, False, True)


@pytest.mark.parametrize(
    ("observed", "said"),
    [(25.0, " dB, better than promised by 5 dB."), (29.0, "came out at 29.0 dB."), (31.0, "came out at 31.0 dB.")],
)
def test_it_is_said_by_how_much_more_than_matters_a_promise_was_bettered(observed, said):
    row, _ = judge(NOISE, 30.0, (28.0, 32.0), observed, 0.1, 20.0)
    assert (row["verdict"], row["finding"].endswith(said)) == (KEPT, True)


@pytest.mark.parametrize("off", [2.0, -2.0])
@pytest.mark.slow
def test_a_promise_off_by_the_margin_is_confirmed_in_five_percent_at_most(off):
    """Truth: flow is off by just what matters. Of 60 logs at most 8 may confirm it.

    Binomial with 5 %: 3 are expected, and more than 8 have 0.3 %.
    """
    wrong = 0
    for seed in range(60):
        frame = log(3, seed=seed)
        is_new = frame["variant"].str.startswith("new") & (frame["outcome"] == "flow")
        frame.loc[is_new, "value"] += off
        wrong += confirm(frame, FACTORS, [FLOW], ["new 1", "new 2", "new 3"]).verdict == KEPT
    assert wrong <= 8


def heard(new_offset, who, n=16):
    """A log heard by Ann and Ben, and two fresh builds that are as promised, heard by `who`; Cleo is off by `new_offset`."""
    rng = np.random.default_rng(12)
    offsets = {"Ann": 0.5, "Ben": -0.5, "Cleo": new_offset}
    rows = []
    for place in range(n + 2):
        settings = NEW if place >= n else {"gap": int(rng.integers(0, 11)), "blades": int(rng.integers(2, 7))}
        build = truth("noise", **settings) + rng.normal(0, 0.3)
        rows += [
            {"variant": str(place), "outcome": "noise", "rater": rater, "value": build + offsets[rater] + rng.normal(0, 0.3),
             **settings}
            for rater in (who if place >= n else ("Ann", "Ben"))
            for _ in range(2)
        ]  # fmt: skip
    return confirm(pd.DataFrame(rows), FACTORS, [NOISE], [str(n), str(n + 1)])


@pytest.mark.parametrize("lifted", [0.0, 5.0])
def test_what_was_read_is_told_where_sessions_lift_it_far_off(lifted):
    """Truth: all is as promised; the session of the fresh builds reads `lifted` higher, as variants read in both show.

    The level of a log is the mean of its sessions, here a third of that higher.
    """
    rng = np.random.default_rng(31)
    steady, builds = Outcome("noise", unit="dB", matters=2.0), {}
    for place in range(18):
        settings = NEW if place > 15 else {"gap": int(rng.integers(0, 11)), "blades": int(rng.integers(2, 7))}
        builds[str(place)] = settings, truth("noise", **settings) + rng.normal(0, 0.2)
    first, second, last = (list(builds)[part] for part in (slice(0, 8), slice(8, 16), slice(12, 18)))
    rows = [
        {"variant": name, "outcome": "noise", "session": session, **builds[name][0],
         "value": builds[name][1] + off + rng.normal(0, 0.2)}
        for session, off, names in (("a", 0.1, first), ("b", -0.1, second), ("c", lifted, last)) for name in names
        for _ in range(2)
    ]  # fmt: skip
    frame = pd.DataFrame(rows)
    (row,) = confirm(frame, FACTORS, [steady], ["16", "17"]).table.to_dict("records")
    bare = frame[frame["variant"].isin(["16", "17"])]["value"].mean()
    assert row["observed"] == pytest.approx(truth("noise", **NEW) + lifted / 3, abs=1.0)
    assert (f" dB ({bare:.0f} dB as read, before allowing for sessions)" in row["finding"]) == (lifted > 0)


@pytest.mark.parametrize(
    ("told", "read", "margin", "noticed"),
    [(-2, -2.1, 1, False), (-2, -3, 1, True), (1, 2, 4, False), (1, None, 0, False)],
)
def test_what_was_read_is_noticed_from_half_the_margin_on(told, read, margin, noticed):
    """On the same side of nought, too, and not where nothing can be averaged."""
    assert is_noticed(told, read, margin) == noticed


def test_what_was_read_relative_to_a_reference_object_is_a_difference_too():
    """Plain arithmetic: builds at 4 (read once) and at 6 (read twice), the reference object at 3; nothing of comparisons."""
    rows = [("a", 4.0, 1), ("b", 5.5, 2), ("b", 6.5, 2), ("shop", 2.0, None), ("shop", 4.0, None), ("c", 9.0, 3)]
    frame = pd.DataFrame(rows, columns=["variant", "value", "gap"]).assign(
        outcome="echo", blades=lambda one: one["gap"] + 1
    )
    plain = Outcome("echo", relative_to="shop")
    assert as_read(frame, analyse(frame, FACTORS, plain), ["a", "b"]) == pytest.approx(2.0)
    for taken_as_it_is in (Outcome("echo"), Outcome("echo", relative_to="c"), Outcome("echo", relative_to="d")):
        assert as_read(frame, analyse(frame, FACTORS, taken_as_it_is), ["a", "b"]) == pytest.approx(5.0)


@pytest.mark.parametrize("who", [("Ann", "Ben", "Cleo"), ("Ann", "Cleo")])
def test_a_rater_who_joins_in_moves_nothing(who):
    """The panel's level moves by a third of what the new one is off by; fresh builds used to be judged by that level."""
    found = [heard(offset, who).table.iloc[0] for offset in (0.0, 6.0)]
    assert found[1]["difference"] == pytest.approx(found[0]["difference"], abs=0.1)
    assert [row["verdict"] for row in found] == [KEPT, KEPT]


def test_what_only_a_new_rater_read_is_not_known():
    (row,) = heard(0.0, ("Cleo",)).table.to_dict("records")
    assert row["verdict"] == NOT_KNOWN
    assert row["finding"] == (
        "Noise: not yet known; only Cleo read these builds and nothing else, so what Cleo would give others is not known: "
        "have someone read them who read others, or Cleo read others too."
    )


def test_comparisons_with_a_fresh_build_are_no_promise():
    """What was compared with the fresh build is a reading of it; the promise rests on the comparisons before."""
    rng = np.random.default_rng(9)
    quieter = Outcome("quieter", kind="compared", matters=1.0)
    gaps = {str(k): k for k in range(8)}
    pairs = [(a, b) for a in gaps for b in gaps if a < b]
    rows = [
        {"variant": a, "versus": b, "outcome": "quieter", "gap": gaps[a], "blades": 4, "rater": rater,
         "value": float(rng.random() < 1 / (1 + math.exp(gaps[a] - gaps[b])))}
        for a, b in pairs for rater in ("Ann", "Bo")
    ]  # fmt: skip
    before = pd.DataFrame(rows)
    fresh = [
        {
            "variant": name,
            "versus": "new",
            "outcome": "quieter",
            "gap": gaps[name],
            "blades": 4,
            "rater": "Ann",
            "value": value,
        }
        for name, value in (("0", 1.0), ("6", 0.0), ("7", 0.0), ("2", 1.0))
    ] + [{"variant": "new", "versus": "5", "outcome": "quieter", "gap": 4, "blades": 4, "rater": "Bo", "value": 1.0}]
    found = confirm(pd.concat([before, pd.DataFrame(fresh)], ignore_index=True), FACTORS, [quieter], ["new"])
    promised = analyse(before, FACTORS, quieter).predict({"gap": 4, "blades": 4})["mean"].iloc[0]
    assert found.table["promised"].iloc[0] == pytest.approx(promised)
    assert found.n_readings == 5


def test_what_only_stood_second_in_a_comparison_was_read():
    assert _read(pd.DataFrame({"variant": ["1", "2", "1"], "versus": ["3", None, "2"]})) == ["1", "2", "3"]


def test_known_scatter_needs_the_builds_of_the_closed_form():
    """Normal: z(0.95) and z(0.95) for 10 % on two sides, n = ((1.645 + 1.645) sd / margin)^2, rounded up."""
    scatter = Scatter(build_sd=1.5, reading_sd=0.0, session_sd=0.0, df=math.inf)
    plan = size_confirmation({"noise": scatter}, [NOISE], build_minutes=100)
    assert plan.builds == math.ceil((2 * stats.norm.ppf(0.95) * 1.5 / 2.0) ** 2)
    assert plan.rounds == 1


@pytest.mark.parametrize(
    ("build_sd", "risk", "said", "surely"),
    [
        (1.5, 0.1, "7 fresh builds and 1 round of readings of each, 12 h 30 min", "90 %"),
        (0.5, 0.1, "1 fresh build and 1 round of readings, 2 h", "90 %"),
        (0.5, 0.05, "1 fresh build and 1 round of readings, 2 h", "95 %"),
    ],
)  # fmt: skip
def test_the_headline_says_what_to_build_what_it_takes_and_what_it_gives(build_sd, risk, said, surely):
    """Normal as above, (3.29 * 1.5 / 2)^2 = 6.1; a build takes 100 minutes, a reading 5, the session 15."""
    effort = Effort(reading_minutes=5, session_minutes=15)
    scatter = {"noise": Scatter(build_sd, 0.0, 0.0, math.inf)}
    plan = size_confirmation(scatter, [NOISE], effort=effort, build_minutes=100, risk=risk)
    assert plan.headline == (
        f"Confirm with {said}: a promise that is kept is confirmed with {surely} or more in each outcome, one that is off by "
        "what matters with 5 % at most."
    )


def test_two_fresh_builds_on_one_unit_are_told_of():
    fresh = pd.DataFrame({"variant": ["a", "a", "b"], "unit": ["U", "U", "U"]})
    assert _same_unit(fresh, ["a", "b"]) == [
        "Two of these builds are on unit U; what is special to that unit counts twice."
    ]
    assert _same_unit(fresh.assign(unit=["U", "U", "V"]), ["a", "b"]) == []
    assert _same_unit(fresh[:2], ["a"]) == []


def test_where_sessions_differ_in_one_outcome_all_are_read_beside_others():
    scatters = {"noise": Scatter(0.1, 0.1, 0.5, 20), "flow": Scatter(0.1, 0.1, 0.0, 20)}
    plan = size_confirmation(scatters, [NOISE, FLOW])
    assert (plan.beside > 0, any(note.startswith("Sessions differ: ") for note in plan.notes)) == (True, True)


def test_estimated_scatter_needs_the_builds_of_statsmodels():
    """With the builds' own scatter only (df = n - 1), both tests need power 95 %: statsmodels solves for the same n."""
    scatter = Scatter(build_sd=1.5, reading_sd=0.0, session_sd=0.0, df=0.0)
    n = TTestPower().solve_power(2.0 / 1.5, alpha=0.05, power=0.95, alternative="larger")
    assert size_confirmation({"noise": scatter}, [NOISE], build_minutes=100).builds == math.ceil(n)


def test_the_fewest_minutes_are_looked_for():
    """Reading scatter is beaten by readings where builds are dear, and by builds where readings are."""
    scatter = {"noise": Scatter(build_sd=0.3, reading_sd=1.2, session_sd=0.0, df=30)}
    dear = size_confirmation(scatter, [NOISE], effort=Effort(reading_minutes=5), build_minutes=200)
    cheap = size_confirmation(scatter, [NOISE], effort=Effort(reading_minutes=50), build_minutes=1)
    assert dear.builds == 1 < dear.rounds
    assert cheap.builds > 1 == cheap.rounds
    assert dear.minutes == 200 + 5 * dear.rounds


def test_raters_of_one_round_count_as_readings_and_sessions_ask_for_company():
    scatter = {"noise": Scatter(build_sd=0.2, reading_sd=1.2, session_sd=0.5, df=30)}
    one = size_confirmation(scatter, [NOISE], effort=Effort(reading_minutes=5), build_minutes=500)
    three = size_confirmation(
        scatter, [NOISE], effort=Effort(reading_minutes=5), build_minutes=500, raters={"noise": 3}
    )
    assert three.rounds < one.rounds
    assert any("same session" in note for note in three.notes)
    assert (one.beside > 0, " beside " in one.headline) == (True, True)


def test_more_is_read_beside_where_one_variant_tells_too_little_of_the_session():
    """Closed form: what one variant leaves open, 0.5, is more than the margin allows, whatever the builds; four leave 0.25."""
    scatter = {"noise": Scatter(0.0, 0.0, math.inf, math.inf, known_sd=0.5)}
    told = size_confirmation(scatter, [Outcome("noise", matters=3.3 * 0.26)])
    assert (told.builds, told.rounds, told.beside) == (1, 1, 4)
    assert told.table["se"][0] == pytest.approx(0.25)
    assert any(note.startswith("All was read in one session, and another may differ") for note in told.notes)
    assert size_confirmation({"noise": Scatter(0.3, 0.1, 0.0, 20)}, [NOISE]).beside == 0


def test_no_more_is_read_beside_than_was_read_before():
    """Closed form as above: two leave 0.354 open, which will do for a margin of 3.3 times as much but not of 0.86."""
    scatter = Scatter(0.0, 0.0, math.inf, math.inf, known_sd=0.5, n_known=2)
    assert size_confirmation({"noise": scatter}, [Outcome("noise", matters=3.3 * 0.354)]).beside == 2
    assert size_confirmation({"noise": scatter}, [Outcome("noise", matters=3.3 * 0.26)]).builds == 0
    assert scatter_of(analyse(log(0, n=8), FACTORS, NOISE)).n_known == 8


@pytest.mark.parametrize("session_sd", [0.5, math.inf])
def test_what_is_read_beside_is_itself_not_known_exactly(session_sd):
    """Closed form: the session's offset has the precision of what it may be plus that of what was read beside it.

    Nothing is beside where sessions do not differ.
    """
    alone, beside = 0.4**2 / 2 + 0.3**2 / 6, 0.3**2 / 3 + 0.2**2
    offset = 1 / (1 / beside + 1 / session_sd**2)
    scatter = Scatter(0.4, 0.3, session_sd, 20, known_sd=0.2)
    assert scatter.se(2, 3) == pytest.approx(math.sqrt(alone + offset), rel=1e-12)
    assert scatter.se(2, 3, beside=4) == pytest.approx(
        math.sqrt(alone + 1 / (4 / beside + 1 / session_sd**2)), rel=1e-12
    )
    assert Scatter(0.4, 0.3, 0.0, 20, known_sd=0.2).se(2, 3) == pytest.approx(math.sqrt(alone), rel=1e-12)


def in_sessions(seed, per, n=20, fresh=2, reads=3, matters=1.6):
    """A log read `per` variants a session, and fresh builds read in a session of their own beside four others.

    Sessions differ by 0.5, builds by 0.4, readings by 0.3. The builds are what the log before them predicts. Returns what was
    planned for them and what they were judged by.
    """
    rng = np.random.default_rng([seed, 61])
    steady, rows, values = Outcome("noise", matters=matters), [], []

    def read(name, settings, value, session, times):
        rows.extend(
            {"variant": name, "outcome": "noise", "session": session, "value": value + rng.normal(0, 0.3), **settings}
            for _ in range(times)
        )

    for place in range(n):
        if place % per == 0:
            offset = rng.normal(0, 0.5)
        settings = {"gap": int(rng.integers(0, 11)), "blades": int(rng.integers(2, 7))}
        values.append(truth("noise", **settings) + rng.normal(0, 0.4))
        read(str(place), settings, values[-1] + offset, f"s{place // per}", 2)
    effects = analyse(pd.DataFrame(rows), FACTORS, steady)
    scatter, offset = scatter_of(effects, NEW), rng.normal(0, 0.5)
    variants = pd.DataFrame(rows).drop_duplicates("variant").set_index("variant")[["gap", "blades"]]
    level = float((effects.variants.set_index("variant")["mean"][[str(k) for k in range(n)]] - values).mean())
    promised = float(effects.predict(NEW)["mean"].iloc[0]) - level
    for place in range(n - 1, -1, -n // 4):
        read(str(place), dict(variants.loc[str(place)]), values[place] + offset, "fresh", reads)
    names = [f"new {k}" for k in range(fresh)]
    for name in names:
        read(name, NEW, promised + rng.normal(0, 0.4) + offset, "fresh", reads)
    return scatter.se(fresh, reads, 4), confirm(pd.DataFrame(rows), FACTORS, [steady], names), scatter


@pytest.mark.slow
@pytest.mark.parametrize("per", [5, 20])
def test_fresh_builds_in_a_session_of_their_own_are_judged_as_surely_as_planned(per):
    """Truth: what is promised is kept; 12 logs each, of four sessions or of a single one.

    The standard error that the verdict rests on is the one planned with, on average within a quarter; 10 of 12 or more are
    confirmed (a margin of 1.6 with se 0.37 and 21 df gives a chance of 98 %).
    """
    played = [in_sessions(seed, per) for seed in range(12)]
    ratios = []
    for planned, found, scatter in played:
        assert scatter.session_sd > 0
        row = found.table.iloc[0]
        ratios.append((row["high"] - row["low"]) / 2 / stats.t.ppf(0.95, scatter.df + 2) / planned)
    assert 0.75 < np.mean(ratios) < 1.25
    assert sum(found.verdict == KEPT for _, found, _ in played) >= 10


def test_a_plan_takes_builds_to_scatter_as_the_verdict_will():
    """Builds hardly differ, so that a classical table gives them no scatter (seeds 1 to 4); what judges holds it off zero."""
    rng = np.random.default_rng(6)
    for seed in range(1, 5):
        before, one = log(0, seed=seed, builds_sd=0.05), log(1, seed=seed, builds_sd=0.05)
        effects = analyse(before, FACTORS, NOISE)
        assert effects.variance.set_index("source")["sd"]["build"] < 1e-3
        new = one[(one["variant"] == "new 1") & (one["outcome"] == "noise")]
        more = pd.concat([new] * 5, ignore_index=True)
        more["value"] = truth("noise", **NEW) + rng.normal(0, 0.3, len(more))
        _, se, _ = fresh_value(analyse(pd.concat([one, more]), FACTORS, NOISE), ["new 1"])
        assert scatter_of(effects).se(1, 12) == pytest.approx(se, rel=0.2)


def test_what_the_prediction_may_be_off_by_is_told_beside():
    """Normal, better counts as kept under a goal: the margin and what is unsure add up, and more builds cannot mend it."""
    steady = Outcome("noise", goal="lower", best=0, worst=60, matters=2.0)
    scatter = Scatter(0.4, 0.0, 0.0, math.inf, promise_sd=1.5)
    plan = size_confirmation({"noise": scatter}, [steady], build_minutes=100)
    (row,) = plan.table.to_dict("records")
    reach = 2.0 - stats.norm.ppf(0.95) * row["se"]
    assert row["believed"] == pytest.approx(stats.norm.cdf(reach / math.hypot(row["se"], 1.5)), abs=0.01)
    target = Outcome("noise", goal="hit", target=30, worst=60, matters=2.0)  # where it may be off to neither side
    sides = size_confirmation({"noise": scatter}, [target], build_minutes=100).table.to_dict("records")[0]
    reach = 2.0 - stats.norm.ppf(0.95) * sides["se"]
    inside = 2 * stats.norm.cdf(reach / math.hypot(sides["se"], 1.5)) - 1
    assert sides["believed"] == pytest.approx(inside, abs=0.01)
    assert plan.notes[0] == (
        f"The prediction itself may be off. With that counted, the log expects noise with {percent(row['believed'])} to be "
        "confirmed; what raises this is a log that knows more, not more fresh builds."
    )
    sure = size_confirmation({"noise": Scatter(0.4, 0.0, 0.0, math.inf)}, [steady], build_minutes=100)
    assert sure.table["believed"][0] >= sure.table["chance"][0]
    assert not any("prediction" in note for note in sure.notes)


@pytest.mark.parametrize(
    ("promised", "observed", "said"),
    [
        (20.0, 20.1, "; both lie in the range of 18 to 22 g."),
        (21.9, 22.1, "; what was promised lies in the range of 18 to 22 g, what came out does not."),
        (22.1, 21.9, "; what came out lies in the range of 18 to 22 g, what was promised does not."),
        (25.0, 25.1, "; neither lies in the range of 18 to 22 g."),
    ],
)
def test_of_a_range_it_is_said_whether_the_builds_lie_in_it(promised, observed, said):
    """A promise may be kept to the letter and still lie outside."""
    dose = Outcome("dose", unit="g", goal="within", low=18, high=22, worst=6, matters=1.0)
    row, _ = judge(dose, promised, (promised - 1, promised + 1), observed, 0.1, 20.0)
    assert row["finding"].endswith(said)
    assert row["finding"].startswith("Dose: kept its promise - ")


def test_what_no_number_of_builds_confirms_is_said():
    plan = size_confirmation({"noise": Scatter(9.0, 1.0, 0.0, 20)}, [NOISE])
    assert (plan.builds, plan.rounds) == (0, 0)
    assert plan.headline.startswith("Not even 12 fresh builds with 12 rounds each would confirm noise at this risk")


def test_what_cannot_be_confirmed_at_any_size_comes_with_what_could_be():
    """The margins told are those that 12 builds and 12 rounds confirm with 90 %, by the formula that sizes plans."""
    wild, wilder = Scatter(9.0, 1.0, 0.0, 20), Scatter(30.0, 1.0, 0.0, 20)
    rough = Outcome("rough", goal="lower", best=0, worst=60, matters=2.0)
    plan = size_confirmation({"noise": wild, "rough": wilder}, [NOISE, rough])
    assert "would confirm noise and rough at this risk" in plan.headline
    assert plan.notes[0] == (
        "Fewer builds will not do either: up to 6 of them with 3 rounds of readings each, the chance to confirm noise and "
        "rough is <1 % at most, whatever the risk."
    )
    (told,) = re.findall(r"a promise to within ([\d.]+).* in noise and ([\d.]+) in rough\.", plan.notes[1])
    for margin, scatter in zip(map(float, told), (wild, wilder), strict=True):
        se = scatter.se(12, 12)
        assert chance_to_confirm(1.02 * margin, se, 31, ALPHA) >= 0.9 >= chance_to_confirm(0.96 * margin, se, 31, ALPHA)
    assert "; chance to confirm with so many <1 %" in plan.summary()


@pytest.mark.parametrize("share", [0.5, 0.98, 0.995, 0.9995])
def test_what_could_be_confirmed_is_told_as_more_than_matters_and_would_do(share):
    """Where it is just out of reach, as 2.02 where 2 matters, it must not be told as 2."""
    scatter = Scatter(2.6, 0.5, 0.0, 20)
    least = optimize.brentq(lambda margin: chance_to_confirm(margin, scatter.se(12, 12), 31, ALPHA) - 0.9, 0.1, 90)
    steady = Outcome("noise", matters=share * least)
    (told,) = re.findall(r"to within ([\d.]+) in noise\.", size_confirmation({"noise": scatter}, [steady]).notes[1])
    assert float(told) > steady.matters
    assert size_confirmation({"noise": scatter}, [Outcome("noise", matters=float(told))]).builds > 0


def test_what_each_outcome_takes_is_told_beside_what_all_take():
    """Normal scatter alone: n = ((1.645 + 1.645) sd / margin)^2, 7 and 2 builds; 40 would be more than are planned.

    Only what cannot be confirmed is named as such.
    """
    scatters = {name: Scatter(sd, 0.0, 0.0, math.inf) for name, sd in (("flow", 1.5), ("noise", 0.8), ("hum", 3.85))}
    outcomes = [Outcome(name, matters=2.0) for name in scatters]
    assert size_confirmation(scatters, outcomes[:2]).table["alone"].tolist() == [7, 2]
    plan = size_confirmation(scatters, outcomes)
    assert plan.table["alone"].tolist() == [7, 2, 0]
    assert "would confirm hum at this risk" in plan.headline
    assert not any("session" in note for note in plan.notes)


def test_what_was_read_before_is_known_beside_the_mean_of_all():
    """Closed form: readings that leave 0.3 open in each of four leave 0.3 (1 - 1/4)^0.5 beside their mean."""
    assert _known_sd(0.09 * np.eye(4)) == pytest.approx(0.3 * math.sqrt(0.75))


@pytest.mark.parametrize(("first", "second", "is_said"), [(0.9, 0.9, False), (0.9, 1.1, True), (1.1, 1.1, True)])
def test_builds_that_differ_by_more_than_half_of_what_matters_are_told_of(first, second, is_said):
    scatters = {"noise": Scatter(first, 0.1, 0.0, 20), "flow": Scatter(second, 0.1, 0.0, 20)}
    notes = size_confirmation(scatters, [NOISE, FLOW]).notes
    assert any(note.startswith("Builds of the same settings differ by much") for note in notes) == is_said


def test_where_nothing_confirms_it_is_said_what_fewer_builds_give():
    """The chances told are those that a plan of so many builds and three rounds has, by the formula that sizes plans."""
    scatter = Scatter(2.6, 0.5, 0.0, 20)
    plan = size_confirmation(
        {"noise": scatter}, [NOISE], effort=Effort(reading_minutes=5), build_minutes=100, risk=0.05
    )
    chances = [chance_to_confirm(NOISE.matters, scatter.se(builds, 3), 20 + builds - 1, ALPHA) for builds in (1, 3, 6)]
    one, three, six = map(percent, chances)
    assert plan.notes[0] == (
        f"With 3 rounds of readings of each, the chance to confirm noise is {one} with 1 fresh build (1 h 55 min), {three} "
        f"with 3 (5 h 45 min) and {six} with 6 (11 h 30 min). If that will do, ask with a larger risk; or say that only a "
        "larger difference in noise matters."
    )
    assert len({one, three, six}) == 3


def test_the_scatter_of_a_log_is_read_from_its_analysis():
    """Truth: 0.4 between builds, 0.3 a reading."""
    scatter = scatter_of(analyse(log(0, n=40), FACTORS, NOISE))
    assert 0.25 < scatter.build_sd < 0.55
    assert 0.2 < scatter.reading_sd < 0.4


def test_where_every_build_is_read_once_both_are_taken_to_scatter_alike():
    """Truth: 0.4 and 0.3, together 0.5; the shares add up to what the analysis found, and a note says that they are a guess."""
    frame = log(0, n=40).query("outcome == 'noise'").drop_duplicates("variant")
    effects = analyse(frame, FACTORS, NOISE)
    scatter = scatter_of(effects)
    assert scatter.is_guess
    assert scatter.build_sd == pytest.approx(scatter.reading_sd)
    (together,) = effects.variance.loc[effects.variance["source"] == "build and reading together", "sd"]
    assert np.hypot(scatter.build_sd, scatter.reading_sd) == pytest.approx(together)
    assert together == pytest.approx(0.5, rel=0.3)
    notes = size_confirmation({"noise": scatter}, [NOISE]).notes
    assert notes[0].startswith("Every build was read once, so that builds and readings cannot be told apart")
    assert not any(
        "read once" in note for note in size_confirmation({"noise": Scatter(0.1, 0.1, 0, 20)}, [NOISE]).notes
    )


def test_readings_that_may_tell_nothing_are_not_counted_on():
    """Closed form: 0.4 and 0.3 told apart only by a guess are 0.5 a build, however often it is read."""
    guess = Scatter(0.4, 0.3, 0.0, 20, is_guess=True)
    assert guess.se(2, 1) == pytest.approx(0.5 / math.sqrt(2), rel=1e-12)
    assert guess.se(2, 12) == pytest.approx(guess.se(2, 1), rel=1e-12)
    plan = size_confirmation({"noise": guess}, [NOISE], effort=Effort(reading_minutes=5), build_minutes=40)
    assert plan.rounds == 1


@pytest.mark.slow
def test_what_is_planned_from_builds_read_once_confirms_as_often_as_told():
    """Truth: builds scatter by 0.4, readings by 0.1; 40 logs of 20, a promise that is kept. It was 34 of 40."""
    flow, kept = Outcome("flow", goal="hit", target=20, worst=40, matters=0.7), 0
    for seed in range(40):
        rng = np.random.default_rng([seed, 83])
        places = [{"gap": int(rng.integers(0, 11)), "blades": int(rng.integers(2, 7))} for _ in range(20)]
        rows = [
            {
                "variant": str(number),
                "outcome": "flow",
                "value": truth("flow", **one) + rng.normal(0, math.hypot(0.4, 0.1)),
                **one,
            }
            for number, one in enumerate(places)
        ]
        effects = analyse(pd.DataFrame(rows), FACTORS, flow)
        plan = size_confirmation(
            {"flow": scatter_of(effects, NEW)}, [flow], effort=Effort(reading_minutes=5), build_minutes=40
        )
        promised, names = float(effects.predict(NEW)["mean"].iloc[0]), [f"new {k}" for k in range(plan.builds)]
        for name in names:
            own = promised + rng.normal(0, 0.4)
            rows += [
                {"variant": name, "outcome": "flow", "value": own + rng.normal(0, 0.1), **NEW}
                for _ in range(plan.rounds)
            ]
        kept += confirm(pd.DataFrame(rows), FACTORS, [flow], names).verdict == KEPT
    assert kept >= 36


def test_what_cannot_be_confirmed_is_refused():
    frame = log(2)
    with refused(UsageError, "Nothing has been read of variant 'nowhere' yet; read it before it is judged.") as told:
        confirm(frame, FACTORS, [NOISE], ["nowhere"])
    assert told.value.command == "'fettle read nowhere OUTCOME=VALUE' stores a reading"
    with refused(
        UsageError,
        "Name at least one fresh build to confirm with: a variant that was built anew with the settings of another, and read.",
    ):
        confirm(frame, FACTORS, [NOISE], [])
    odd = frame.copy()
    odd.loc[odd["variant"] == "new 1", "gap"] = 6
    with refused(
        DataError,
        "The fresh builds differ in gap (6 and 5); only builds of the same settings confirm it, so judge them one after the "
        "other.",
    ):
        confirm(odd, FACTORS, [NOISE], ["new 1", "new 2"])
    with refused(
        DataError,
        "Nothing but these builds has been read, so nothing was promised before them; read other variants too, or name fewer "
        "as fresh.",
    ):
        confirm(frame[frame["variant"] == "new 1"], FACTORS, [NOISE], ["new 1"])
    with pytest.raises(DataError, match="says what matters"):
        size_confirmation({}, [Outcome("a")])
    with refused(UsageError, "risk is 0.7; it must be above 0 and below 0.5."):
        size_confirmation({}, [NOISE], risk=0.7)
