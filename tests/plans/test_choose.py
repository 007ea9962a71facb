import math
import re
from types import SimpleNamespace

import pandas as pd
import pytest

from doe.coding import Coding
from doe.model.effort import Effort
from doe.model.errors import UsageError, listed
from doe.model.limit import Limit
from doe.plans import PlanChoice, choose, offers, plan
from doe.plans.choose import RUNGS, _model_name, bench_time, in_short
from tests.plans.made import RADIO, numbers
from tests.refusing import refused

EFFORT = Effort(new_unit_minutes=150, reading_minutes=6, session_minutes=15)
SMALL = RADIO[1:4]
"""Rings, wool and driver."""


@pytest.fixture(scope="module")
def screening():
    return choose(numbers(6, minutes=5), runs=20, scatter=1.0, matters=2.0)


@pytest.mark.slow
def test_every_plan_fits_the_budget(screening):
    assert isinstance(screening, PlanChoice)
    assert (screening.table["runs"] <= 20).all()
    assert screening.table["is_recommended"].tolist() == [True] + [False] * (len(screening.table) - 1)
    assert screening.plans[0] is screening.plan


@pytest.mark.slow
def test_the_recommendation_keeps_apart_most_of_those_that_are_sure(screening):
    """Law: no plan with a chance of 80 % stands on a higher rung, and none on the same rung is cheaper."""
    sure = screening.table[screening.table["power"] >= 0.8]
    rungs = [RUNGS.index(words) for words in sure["apart"]]
    assert screening.table["power"].iloc[0] >= 0.8
    assert rungs[0] == max(rungs)
    same = sure[[rung == rungs[0] for rung in rungs]]
    assert same["hours"].iloc[0] == same["hours"].min()


@pytest.mark.slow
def test_plans_stand_in_the_order_of_the_figures_shown():
    """Law: where none is sure, fewest effects without an interval first, then by the chance told, then by the hours told."""
    found = choose(SMALL, runs=9, scatter=1.0, matters=1.0)
    assert (found.table["power"] < 0.8).all()
    lines = found.summary().split("All plans that fit:\n")[1].splitlines()
    told = [
        (
            len(row["unjudged"].split(", ")) if row["unjudged"] else 0,
            -int(re.search(r"; sees what matters with (\d+) %", line)[1]) if row["power_of_judged"] else 0,
            row["hours"],
        )
        for line, row in zip(lines, found.table.to_dict("records"), strict=True)
    ]
    assert told == sorted(told)
    assert len({chance for _, chance, _ in told}) > 1
    assert all(
        f"no interval for {listed(row['unjudged'].split(', '), 'and')}." in line
        for line, row in zip(lines, found.table.to_dict("records"), strict=True)
        if row["unjudged"]
    )
    assert "; sees twice the scatter with " in choose(SMALL, runs=9).summary()


@pytest.mark.parametrize(
    ("row", "scatter", "said"),
    [
        ((1.5, "", 0.62), 1.0, "1 h 30 min; clear; sees what matters with 62 %"),
        ((0.0, "", 0.62), None, "clear; sees twice the scatter with 62 %"),
        (
            (1.5, "tip_gap, lid", 0.62),
            1.0,
            "1 h 30 min; clear; sees what matters with 62 %, but no interval for tip gap and lid",
        ),
        ((1.5, "tip_gap", 0.0), 1.0, "1 h 30 min; clear; no interval for tip gap"),
    ],
)
def test_a_plan_is_told_in_short_by_what_is_known_of_it(row, scatter, said):
    row = dict(zip(("hours", "unjudged", "power_of_judged"), row, strict=True)) | {"apart": "clear"}
    assert in_short(SimpleNamespace(scatter=scatter, matters=2.0), row) == said


@pytest.mark.parametrize(
    ("hours", "new_units", "said"),
    [
        (1.5, 0, "It takes 1 h 30 min at the bench, readings included."),
        (1.5, 1, "It takes 1 h 30 min at the bench, with 1 new unit, readings included."),
        (
            0.0,
            2,
            "It takes 2 new units; how long is not known, since nothing says what a change, a new unit and a round of",
        ),
        (0.0, 0, "How long is not known, since nothing says what a change, a new unit and a round of"),
    ],
)
def test_bench_time_is_told_as_far_as_it_is_known(hours, new_units, said):
    assert bench_time({"hours": hours, "new_units": new_units}).startswith(said)


@pytest.mark.parametrize(
    ("terms", "model"), [(["a", "b"], "main"), (["a", "b", "a:b"], "two-factor"), (["a", "a:b", "a^2"], "quadratic")]
)
def test_a_model_is_called_by_its_highest_terms(terms, model):
    assert _model_name(SimpleNamespace(precision=pd.DataFrame({"term": terms}))) == model


@pytest.mark.slow
def test_the_reason_is_in_words(screening):
    text = screening.summary()
    assert text.startswith("Take this one: ")
    assert "Interactions that cannot be told apart: A with B and" in text
    assert "A swing of 2, which matters, would be seen by a t test (5 %) with a chance of" in text
    assert "at the bench" in text
    assert "definitive" in set(screening.table["kind"])


@pytest.mark.parametrize("most", [7, 8, 11, 12, 16, 40])
def test_catalogue_plans_are_looked_at_where_they_fit_the_runs(most):
    """Five numbers: fractions of 8 and 16 runs, 32 being all corners; a Plackett-Burman plan of 12 between them."""
    wishes = offers.wishes_for(numbers(5), most, (), False, ())
    assert all(wish.get("runs", 1) <= most for wish in wishes)
    sizes = [(wish["kind"], wish["runs"]) for wish in wishes if wish.get("kind") in ("fraction", "plackett-burman")]
    assert sizes == [one for one in (("fraction", 8), ("fraction", 16), ("plackett-burman", 12)) if one[1] <= most]
    for limits, has_existing in (
        ([Limit("A <= B")], False),
        ((), True),
    ):  # which no construction keeps, or goes on from
        kinds = {wish.get("kind") for wish in offers.wishes_for(numbers(5), most, limits, has_existing, ())}
        assert kinds <= {None, "bayesian"}


def test_a_plan_is_as_sure_as_its_least_sure_main_effect():
    """Interactions and bends do not count beside main effects; what cannot be judged is counted by itself."""
    rows = [
        ("gap", 2.0, 0.9, 3),
        ("lid", 3.0, 0.8, 3),
        ("rim", math.inf, 0.0, 0),
        ("gap:lid", 9.0, 0.1, 3),
        ("gap^2", 8.0, 0.2, 0),
    ]
    precision = pd.DataFrame(rows, columns=["term", "half_width", "power", "df"])

    def offer(precision):
        return offers.Offer(SimpleNamespace(precision=precision), 60.0, 0)

    one, sure, bent = offer(precision), offer(precision[:2]), offer(precision[3:])
    assert (one.power, one.unjudged, one.power_of_judged, one.half_width_of_judged) == (0.0, 1, 0.8, 3.0)
    assert (sure.power, sure.unjudged) == (0.8, 0)
    assert (bent.power, bent.unjudged, bent.half_width_of_judged) == (0.1, 1, 9.0)  # no main effect at all
    open_ = offer(precision[2:3])
    assert (open_.power_of_judged, open_.half_width_of_judged) == (0.0, math.inf)


def test_sure_plans_go_by_what_they_keep_apart_and_unsure_ones_by_how_sure_they_are():
    """Of sure ones that keep as much apart the quicker; of unsure ones first those that leave no effect without an interval."""

    def offer(power, unjudged, judged, minutes, rung):
        separation = SimpleNamespace(separation=SimpleNamespace(rung=rung))
        return SimpleNamespace(power=power, unjudged=unjudged, power_of_judged=judged, minutes=minutes, plan=separation)

    order = [
        offer(0.85, 0, 0.85, 150, 4),
        offer(0.99, 0, 0.99, 200, 4),
        offer(0.90, 0, 0.90, 100, 3),
        offer(0.75, 0, 0.75, 300, 1),
        offer(0.70, 0, 0.70, 100, 2),
        offer(0.70, 0, 0.70, 200, 4),
        offer(0.0, 1, 0.95, 100, 5),
    ]
    mixed = [order[place] for place in (4, 6, 1, 5, 0, 3, 2)]
    assert sorted(mixed, key=offers.preference) == order


@pytest.mark.slow
def test_what_is_said_of_surer_plans_holds_of_the_table():
    """No plan reaches 80 %, and a larger one than the one advised is surer by less than 1 %."""
    found = choose(numbers(3, minutes=5), runs=10, scatter=3.0, matters=1.0)
    told = "That is less than 80 %, and no plan within the budget is surer by 1 % or more."
    assert told in found.reason
    power = found.table["power"]
    assert power.max() < power.iloc[0] + 0.01
    assert power.max() > power.iloc[0]  # which made "no plan is surer" false


@pytest.mark.slow
def test_hours_count_building_on_the_units_at_hand_and_readings():
    """A unit at hand saves the 150 minutes of a new one, less what has to be changed on it: wool and driver, 33 at most."""
    units = pd.DataFrame([{"unit": "body A", "rings": 7, "wool": 0, "driver": "paper"}])
    found = choose(SMALL, hours=8, effort=EFFORT, units=units)
    assert (found.table["hours"] <= 8).all()
    assert found.left_out["why"].str.startswith("takes").any()
    without = choose(SMALL, hours=11, effort=EFFORT)
    assert (without.table["hours"] * 60 >= without.table["runs"] * 6 + 15 + 150 * without.table["new_units"]).all()
    both = found.table.merge(without.table, on=["plan", "kind", "model"], suffixes=("", "_without"))
    assert len(both) >= 3
    assert (both["new_units_without"] == both["new_units"] + 1).all()
    assert ((both["hours_without"] - both["hours"]) * 60 >= 150 - 33 - 1e-6).all()


@pytest.mark.slow
def test_what_is_not_looked_for_would_not_have_fit(monkeypatch):
    """The larger plans that are left out once a smaller one takes far too long change nothing when they are made."""
    quick = choose(SMALL, hours=10, effort=EFFORT)
    assert "a smaller one takes far longer than there is" in set(quick.left_out["why"])
    monkeypatch.setattr(offers, "_FAR_BEYOND", float("inf"))
    whole = choose(SMALL, hours=10, effort=EFFORT)
    assert "a smaller one takes far longer than there is" not in set(whole.left_out["why"])
    pd.testing.assert_frame_equal(quick.table, whole.table)


@pytest.mark.slow
def test_beside_a_log_few_hours_buy_few_runs():
    """Eight builds that settle the main effects already: a plan need not settle them anew, so two runs are a plan."""
    log = plan(numbers(4, minutes=60), runs=8, starts=20).table[["A", "B", "C", "D"]]
    alone = "No plan fits into 8 h; the cheapest takes "
    with pytest.raises(UsageError, match=alone):
        choose(numbers(4, minutes=60), hours=8, effort=EFFORT, scatter=1.0, matters=2.0)
    found = choose(numbers(4, minutes=60), hours=8, effort=EFFORT, scatter=1.0, matters=2.0, existing=log)
    assert (found.table["hours"] <= 8).all()
    assert found.table["runs"].min() == 2


def test_a_plan_that_takes_the_hours_to_the_minute_fits():
    """Three readings of 41 minutes are 2 h 3 min, 2.05 h; in binary 60 * 2.05 is a little less than 123."""
    assert choose(numbers(1), hours=2.05, effort=Effort(reading_minutes=41)).plan.n_runs == 3


def test_a_budget_that_nothing_fits_is_refused_with_the_cheapest():
    with refused(
        UsageError,
        "No plan of 6 factors fits into 4 runs: the main effects alone are 7 unknowns, so ask for 8 runs or more, or plan with "
        "fewer factors.",
    ):
        choose(numbers(6), runs=4)
    with pytest.raises(UsageError, match=r"^No plan fits into 2 h; the cheapest takes \d+ h"):
        choose(RADIO, hours=2, effort=EFFORT)


@pytest.mark.parametrize(("runs", "spent"), [(None, "2 h"), (4, "4 runs and 2 h")])
def test_the_cheapest_of_those_too_dear_is_named(runs, spent):
    plans = [SimpleNamespace(minutes=60 * h, plan=SimpleNamespace(headline=f"Plan of {h} h.")) for h in (5, 3, 4)]
    said = offers.nothing_fits(offers.Budget(runs, 120.0, None, None), Coding(tuple(numbers(2))), (), plans, [])
    assert said == f"No plan fits into {spent}; the cheapest takes 3 h: Plan of 3 h."


def test_where_runs_would_do_it_is_said_what_else_stands_in_the_way():
    why = [("full", "needs 32 runs"), ("d-optimal", "No settings keep the limit 'A > 9'.")]
    assert offers.nothing_fits(offers.Budget(4, None, None, None), Coding(tuple(numbers(2))), (), [], why) == why[1][1]
    assert offers.nothing_fits(offers.Budget(3, None, None, None), Coding(tuple(numbers(2))), (), [], why) == (
        "No plan of 2 factors fits into 3 runs: the main effects alone are 3 unknowns, so ask for 4 runs or more, or plan with "
        "fewer factors."
    )


@pytest.mark.parametrize(
    ("wish", "other", "is_larger"),
    [
        ({"model": "main", "runs": 10}, {"model": "main", "runs": 10}, True),
        ({"model": "quadratic", "runs": 12}, {"model": "main", "runs": 10}, True),
        ({"model": "main", "runs": 12}, {"model": "two-factor", "runs": 10}, False),
        ({"model": "main", "runs": 8}, {"model": "main", "runs": 10}, False),
        ({"model": "main", "runs": 12, "units": 4}, {"model": "main", "runs": 10, "units": 3}, True),
        ({"model": "main", "runs": 12, "units": 2}, {"model": "main", "runs": 10, "units": 3}, False),
        ({"model": "main", "runs": 12}, {"model": "main", "runs": 10, "units": 3}, False),
        ({"kind": "full"}, {"model": "main", "runs": 10}, False),
        ({"model": "main", "runs": 12}, {"kind": "full"}, False),
    ],
)
def test_a_plan_is_larger_that_has_at_least_the_runs_terms_and_units(wish, other, is_larger):
    assert offers._is_larger(wish, other) is is_larger


def test_a_budget_must_be_given():
    with refused(UsageError, "Say how much may be spent: runs=10 or hours=12."):
        choose(numbers(3))
    for hours, told in ((-1, "-1"), (math.inf, "inf"), (math.nan, "nan")):
        with refused(UsageError, f"hours is {told}; it must be a number above 0."):
            choose(numbers(3), hours=hours)
