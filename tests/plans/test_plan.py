from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from doe.advise.route import route
from doe.coding import Coding
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.names import MEAN
from doe.model.wording import spoken
from doe.plans import KINDS, Plan, judge, plan
from doe.plans.precision import power
from tests.plans.made import RADIO, coded, numbers, switches
from tests.refusing import refused

MIXED = [*numbers(4), *switches(1)]
BY_KIND = {
    "d-optimal": (MIXED, 12),
    "i-optimal": (MIXED, 12),
    "bayesian": (MIXED, 12),
    "full": (MIXED, None),
    "fraction": (MIXED, 16),
    "plackett-burman": (MIXED, 12),
    "fold-over": (MIXED, None),
    "definitive": (MIXED, None),
    "central-composite": (numbers(3), None),
    "face-centred": (numbers(3), None),
    "box-behnken": (numbers(4), None),
    "latin-hypercube": (MIXED, 12),
    "maximin": (MIXED, 12),
}


@pytest.fixture(scope="module")
def plans():
    return {kind: plan(factors, runs, kind=kind, starts=40) for kind, (factors, runs) in BY_KIND.items()}


def test_every_kind_is_tried_here():
    assert set(BY_KIND) == set(KINDS)


@pytest.mark.slow
@pytest.mark.parametrize("kind", BY_KIND)
def test_a_plan_of_any_kind_is_whole(plans, kind):
    made = plans[kind]
    assert isinstance(made, Plan)
    assert made.table["order"].tolist() == list(range(1, made.n_runs + 1))
    for factor in made.factors:
        assert [factor.read(value) for value in made.table[factor.name]] == made.table[factor.name].tolist()
    assert made.confounded.columns.tolist() == ["term", "with", "correlation"]
    assert made.confounded["correlation"].abs().max() <= 1 + 1e-12
    assert (made.precision["se"] > 0).all()
    assert set(made.efficiency) == {"D", "A", "I", "G"}
    assert made.to_frame().equals(made.table)
    assert made.headline.endswith(".")
    assert made.headline in made.summary()
    assert made.headline.split(",")[0] in made._repr_html_()


@pytest.mark.slow
@pytest.mark.parametrize("kind", BY_KIND)
def test_correlations_are_those_of_the_columns(plans, kind):
    """Law: for terms of one column, the correlation over the runs by numpy."""
    made = plans[kind]
    coding = Coding(made.factors)
    terms = coding.terms("quadratic")
    table = {f.name: made.table[f.name].tolist() for f in made.factors}
    columns = coding.matrix(table, terms)
    square = made.correlations()
    for row in made.confounded.to_dict("records")[:200]:
        if row["with"] == MEAN:
            assert np.ptp(columns.values[:, columns.slices[row["term"]]]) < 1e-9
            assert square.loc[row["term"]].isna().all()
            continue
        pair = [columns.values[:, columns.slices[name]].ravel() for name in (row["term"], row["with"])]
        assert row["correlation"] == pytest.approx(np.corrcoef(*pair)[0, 1], abs=1e-9)
        assert square.loc[row["with"], row["term"]] == row["correlation"]


def test_a_factor_called_mean_is_a_factor():
    """By hand: of (-1, -1, 1, 1) and (-1, 1, 1, 1) less its mean the correlation is 2 / sqrt(4 * 3)."""
    factors = [Factor(name, low=-1, high=1) for name in ("gap", "mean")]
    made = judge(pd.DataFrame({"gap": [-1, -1, 1, 1], "mean": [-1, 1, 1, 1]}), factors)
    assert made.correlations().loc["gap", "mean"] == pytest.approx(1 / np.sqrt(3))
    assert made.separation.sentences[0] == "Main effects are correlated with each other, by 0.58 at most."


def test_correlations_with_many_levels_are_canonical():
    """Law: 1 where one factor follows from the other, 0 where they are crossed."""
    factors = [Factor(name, kind="categorical", levels=["x", "y", "z"]) for name in ("p", "q", "s")]
    rows = [{"p": a, "q": a, "s": b} for a in "xyz" for b in "xyz"]
    with refused(
        UsageError, "The 9 runs cannot estimate p and q of the model; use runs that vary them apart from each other."
    ):
        judge(pd.DataFrame(rows), factors)
    made = judge(pd.DataFrame(rows), factors, ["p", "s"])
    pairs = made.confounded.set_index(["term", "with"])["correlation"]
    assert pairs[("p", "q")] == pytest.approx(1.0)
    assert ("p", "s") not in pairs.index


def test_inflation_is_that_of_correlated_columns():
    """Law: the diagonal of the inverse of the correlations; of crossed levels, as many as they are, 1."""
    uneven = pd.DataFrame({"A": [-1, 1, 1, -1, 1, 0.5], "B": [-1, -1, 1, 0, 1, 1]})
    expected = np.diag(np.linalg.inv(np.corrcoef(uneven.T)))
    assert judge(uneven, numbers(2)).precision["inflation"].to_numpy() == pytest.approx(expected)
    crossed = [Factor(name, kind="categorical", levels=["x", "y", "z"]) for name in ("p", "q")]
    assert plan(crossed, kind="full").precision["inflation"].to_numpy() == pytest.approx(1)


def test_interactions_that_are_never_varied_take_nothing_from_main_effects():
    """One factor at a time about a middle, so that A * B is 0; and eight corners in pairs of opposite ones, all of whose A * B,
    A * C and B * C are those of the block. In both main effects are clear, and of interactions nothing can be said.
    """
    one_at_a_time = judge(pd.DataFrame({"A": [0, 1, -1, 0, 0, 0], "B": [0, 0, 0, 1, -1, 0]}), numbers(2))
    corners = pd.DataFrame(np.array(np.meshgrid([-1, 1], [-1, 1], [-1, 1])).reshape(3, 8).T, columns=["A", "B", "C"])
    opposite = judge(corners.assign(block=[1, 2, 3, 4, 4, 3, 2, 1]), numbers(3))
    for made, never in ((one_at_a_time, "A with B"), (opposite, "A with B, A with C and B with C")):
        assert (made.separation.rung, made.separation.sentences[:2]) == (
            3,
            ("Main effects are independent of each other.", f"Never varied on its own: {never}."),
        )
        mean = made.confounded[made.confounded["with"] == MEAN]
        assert set(map(spoken, mean["term"])) >= set(never.replace(" and", ",").split(", "))
        assert (mean["correlation"] == 1).all()
    still = judge(one_at_a_time.table.assign(B=0.0), numbers(2), ["A"])
    assert still.separation.rung == 0


@pytest.mark.slow
def test_the_error_of_prediction_is_that_of_least_squares(plans):
    made = plans["central-composite"]
    from tests.plans.made import quadratic

    X = quadratic(coded(made))
    at = np.array([[0.2, -0.4, 0.9]])
    f = quadratic(at)
    theirs = np.sqrt(f @ np.linalg.inv(X.T @ X) @ f.T)[0, 0]
    assert made.prediction_error({"A": 0.2, "B": -0.4, "C": 0.9})["error"].item() == pytest.approx(theirs)
    spread = made.prediction_spread()
    assert spread["error"].is_monotonic_increasing
    assert (spread["error"] ** 2).mean() == pytest.approx(made.efficiency["I"], rel=0.05)
    known = replace(made, scatter=3.0)
    assert known.prediction_error({"A": 0.2, "B": -0.4, "C": 0.9})["error"].item() == pytest.approx(3 * theirs)
    even = pd.DataFrame({"share": [0.0, 1.0], "error": [1.0, 2.0]})
    begun = "Half of the region is predicted with an error of 1.5"
    assert made.prediction_headline(even) == f"{begun} times the scatter between runs or less, 95 % of it with 1.95."
    assert known.prediction_headline(even) == f"{begun} or less, 95 % of it with 1.95."
    assert made.prediction_headline(even.assign(error=[1.0, np.inf])) == "The plan cannot predict everywhere."


def test_d_efficiency_of_textbook_plans():
    """Closed form: an orthogonal two-level plan has 100 %; one factor at a time around a corner has (2^k/..)."""
    assert plan(numbers(7), kind="plackett-burman").efficiency["D"] == pytest.approx(100)
    one_at_a_time = pd.DataFrame([[-1, -1, -1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], columns=["A", "B", "C"])
    made = judge(one_at_a_time, numbers(3))
    X = np.column_stack([np.ones(4), one_at_a_time])
    assert made.efficiency["D"] == pytest.approx(100 * abs(np.linalg.det(X)) ** (2 / 4) / 4)
    assert made.efficiency["A"] == pytest.approx(100 / np.trace(np.linalg.inv(X.T @ X)))  # 4 unknowns in 4 runs
    assert judge(pd.DataFrame({"A": [-1, 0, 1]}), numbers(1)).efficiency["G"] == pytest.approx(
        1 / 3 + 1 / 2
    )  # at the ends
    assert made.confounded["correlation"].abs().is_monotonic_decreasing
    assert made.correlations().loc["A", "B"] == pytest.approx(-1 / 3)  # negative ones are listed too
    level = Factor("p", kind="categorical", levels=["x", "y", "z"])
    for model in ("main", "two-factor"):  # all combinations, so each level equally often
        crossed = plan([level, *switches(1), replace(level, name="q", kind="ordered")], model=model, kind="full")
        assert (crossed.efficiency["D"], crossed.efficiency["A"]) == pytest.approx((100, 100))


def test_an_edited_plan_is_judged_as_it_stands():
    made = plan(numbers(3), 8)
    edited = made.table.copy()
    edited.loc[0, "A"] = -edited.loc[0, "A"]
    again = judge(edited, numbers(3), scatter=2.0)
    assert again.kind == "edited"
    assert again.table[["A", "B", "C"]].to_numpy().tolist() == edited[["A", "B", "C"]].to_numpy().tolist()
    assert again.efficiency["D"] < made.efficiency["D"]
    same = judge(made.table, numbers(3))
    assert same.precision.equals(made.precision)


BUILT = pd.DataFrame({"depth": [0, 9] * 4, "body": [0, 0, 1, 1] * 2})
FIXED = (Factor("depth", low=0, high=9), Factor("body", low=0, high=1, way="rebuild"))


def test_what_a_rebuild_changes_is_judged_by_the_units():
    """Closed form, of four units with two runs each, units taken to scatter as much as runs (variance 1).

    Within units a coefficient has the variance 1/8, and 8 runs less 4 units and it leave 3 degrees of freedom; between them
    (1 + 1/2)/4, three times an eighth, and 4 units less two means leave 2. A swing is two coefficients. While it is not known
    what matters, it is twice the scatter.
    """
    for scatter in (None, 3.0):
        made = judge(BUILT.assign(unit=["x", "x", "y", "y", "z", "z", "w", "w"]), FIXED, scatter=scatter)
        depth, body = made.precision.to_dict("records")
        size = scatter or 1.0
        assert (depth["se"], depth["df"], depth["inflation"]) == pytest.approx((2 * size * np.sqrt(1 / 8), 3, 1))
        assert (body["se"], body["df"], body["inflation"]) == pytest.approx((2 * size * np.sqrt(1.5 / 4), 2, 3))
        assert body["half_width"] == pytest.approx(body["se"] * stats.t.ppf(0.975, 2))
        assert depth["power"] == pytest.approx(power(2 * size, depth["se"], 3))
    two = judge(BUILT.assign(unit=["x", "x", "y", "y"] * 2), FIXED).precision.set_index("term")
    assert (two.loc["body", "df"], two.loc["body", "half_width"]) == (0, np.inf)


def test_an_edited_plan_tells_of_blocks_units_points_and_runs_before_where_there_are_several():
    table = BUILT.assign(block=["b", "b", "a", "a"] * 2, unit=list("xxyyzzww"), kind=["corner"] * 7 + ["spare"])
    made = judge(table, FIXED, existing=BUILT[:2])
    assert made.headline == "Plan as edited, 8 runs, 2 factors, 2 blocks, 4 units, beside 2 existing runs."
    assert made.table.columns.tolist() == ["order", "block", "unit", "kind", "depth", "body"]
    assert made.table["block"].tolist() == [1, 1, 2, 2] * 2  # in the order met
    assert made.table["kind"].tolist() == table["kind"].tolist()
    assert made.notes == (
        "Runs are randomised within 4 units, which differ in body: those effects are judged by the differences between units, "
        "taken to be as large as those between runs.",
        "The existing runs count as a group of their own, since conditions may have shifted since.",
    )
    plain = judge(BUILT.assign(unit=range(8)), (FIXED[0], replace(FIXED[1], way="either")))
    assert (plain.headline, plain.notes) == ("Plan as edited, 8 runs, 2 factors.", ())
    assert plain.table.columns.tolist() == ["order", "depth", "body"]


@pytest.mark.parametrize(
    ("options", "count"), [({"units": 4}, 4), ({}, 4), ({"replicates": 2}, 8), ({"kind": "full", "units": 4}, 4)]
)
def test_a_plan_of_as_many_units_as_runs_says_so(options, count):
    """Body is the same on some, which might else be built as one; what the plan promises holds of its table too."""
    made = plan((replace(FIXED[0], way="up"), FIXED[1]), 4, **options)
    assert made.headline.endswith(f", 2 factors, {count} units.")
    assert made.table["unit"].tolist() == [f"new {place}" for place in range(1, count + 1)]
    assert made.notes == ()  # nothing has to go the other way
    pd.testing.assert_frame_equal(judge(made.table, made.factors).precision, made.precision)


@pytest.mark.parametrize(
    ("way", "units", "said"),
    [
        ("up", "xxyyzzww", "so each unit takes its runs in that order, and it runs with any drift over a session"),
        ("down", "xxyyzzww", "so a random order may need more units; see the route."),
        ("up", "xxyyyzww", "so a random order may need more units; see the route."),
    ],
)
def test_of_what_only_goes_one_way_it_is_said_whether_the_order_can_be_built(way, units, said):
    """Depth goes from 0 to 9 on each of the units that are shared."""
    made = judge(BUILT.assign(unit=list(units)), (replace(FIXED[0], way=way), FIXED[1]))
    assert made.notes[-1].startswith(f"Depth can only go one way on a unit, {said}")


def test_what_matters_counts_once_the_scatter_is_known():
    """While it is not, a plan is judged by multiples of it."""
    assert judge(BUILT, FIXED, matters=5.0).precision.equals(judge(BUILT, FIXED).precision)
    row = judge(BUILT, FIXED, scatter=2.0, matters=5.0).precision.iloc[0]
    assert row["power"] == pytest.approx(power(5.0, row["se"], row["df"]))


@pytest.mark.parametrize("empty", [None, np.nan, "", "new"])
def test_an_edited_run_without_a_unit_is_on_one_of_its_own(empty):
    """Two of them are not on one unit together; where no run names any, units follow from what a rebuild changes."""
    made = judge(BUILT.assign(unit=["x", "x", "y", "y", "z", "z", empty, empty]), FIXED)
    assert made.table["unit"].tolist() == ["new 1", "new 1", "new 2", "new 2", "new 3", "new 3", "new 4", "new 5"]
    assert judge(BUILT.assign(unit=[empty] * 8), FIXED).precision.equals(judge(BUILT, FIXED).precision)


def test_an_edited_run_without_a_block_beside_others_with_one_is_refused():
    with refused(DataError, "Run 8 has no block, and others have one; give it one, or leave the column out."):
        judge(BUILT.assign(block=[1, 1, 1, 1, 2, 2, 2, None]), FIXED)
    assert judge(BUILT.assign(block=[None] * 8), FIXED).precision.equals(judge(BUILT, FIXED).precision)


def test_a_plan_does_not_touch_what_it_is_given():
    log = pd.DataFrame({"A": [-1.0, 1.0], "B": [1.0, 1.0]})
    before = log.copy()
    plan(numbers(2), 4, existing=log)
    assert log.equals(before)


def test_the_summary_says_what_matters():
    made = plan(RADIO, 12, scatter=0.8, matters=2.0, units=4, starts=20)
    text = made.summary()
    assert "D-optimal plan, 12 runs, 5 factors, 4 units." in text
    assert "A swing of 2, which matters, would be seen by a t test (5 %) with a chance of" in text
    assert "Vents can only go one way on a unit" in text


@pytest.mark.parametrize("way", ["up", "down"])
def test_runs_of_a_unit_come_in_the_order_that_a_one_way_factor_can_go(way):
    """As printed it can be built: the route over the same units takes no unit more than the plan says."""
    factors = (
        Factor("hull", kind="categorical", levels=["oak", "ash"], way="rebuild"),
        Factor("hole", low=1, high=9, way=way, minutes=5),
        Factor("felt", low=0, high=4, minutes=5),
        Factor("cord", low=0, high=4, minutes=5),
    )
    made = plan(factors, 12, units=4, starts=20)
    for _, runs in made.table.groupby("unit"):
        steps = runs.sort_values("order")["hole"].diff().dropna()
        assert (steps >= 0).all() if way == "up" else (steps <= 0).all()
    assert route(made.table, factors, effort=Effort(new_unit_minutes=60)).new_units == 4
    (note,) = [note for note in made.notes if "one way" in note]
    assert note.startswith(
        "Hole can only go one way on a unit, so each unit takes its runs in that order, and it runs with "
    )


def test_a_factorial_over_more_units_changes_every_other_factor_on_each():
    """By hand: of the four runs of A and B, pairs that differ in both go together."""
    factors = [Factor("hull", kind="categorical", levels=["oak", "ash"], way="rebuild"), *numbers(2)]
    made = plan(factors, kind="full", units=4)
    assert (made.table.groupby("unit").nunique()[["hull", "A", "B"]] == [1, 2, 2]).all(axis=None)
    twice = plan(factors, kind="full", units=4, replicates=2).table.drop_duplicates(["unit", "A", "B"])
    assert len(twice) == 16
    with refused(
        UsageError, "units is 1; the plan has 2 combinations of rebuild settings in 8 runs, so it must be 2 to 8."
    ):
        plan(factors, kind="full", units=1)
    with refused(UsageError, "units is 2, but no factor needs a rebuild; leave units out."):
        plan(numbers(3), kind="full", units=2)


def test_a_saturated_plan_says_that_nothing_is_left_to_judge_by():
    made = plan(numbers(3), 4)
    assert (made.precision["df"] == 0).all()
    assert np.isinf(made.precision["half_width"]).all()
    assert "No run is left over to judge the scatter by for A, B and C" in made.summary()


def test_a_plan_that_cannot_estimate_the_model_is_refused():
    with refused(
        UsageError,
        "A plackett-burman plan of 8 runs cannot estimate A:B, A:C, A:D, B:C, B:D and C:D of the model; use "
        "model='main', or kind='d-optimal' with 11 runs or more.",
    ):
        plan(numbers(4), 8, "two-factor", kind="plackett-burman")


def test_a_kind_of_fixed_size_does_not_take_another():
    with refused(
        UsageError, "A definitive plan of 4 factors has 9 runs, not 12; leave runs out, or use kind='d-optimal'."
    ):
        plan(numbers(4), 12, kind="definitive")


def test_catalogue_plans_say_which_limit_they_would_break():
    from doe.model.limit import Limit

    with refused(
        UsageError,
        "2 runs of the full plan would break the limit 'A + B <= 1'; use kind='d-optimal', which keeps limits.",
    ):
        plan(numbers(3), kind="full", limits=[Limit("A + B <= 1")])


def test_of_an_edited_plan_the_run_that_breaks_a_limit_is_named():
    from doe.model.limit import Limit

    with refused(UsageError, "Run 4 breaks the limit 'body * depth <= 5'; change it, or loosen the limit."):
        judge(BUILT, FIXED, limits=[Limit("depth >= 0"), Limit("body * depth <= 5")])
    assert len(judge(BUILT, FIXED, limits=[Limit("body * depth <= 9")]).table) == 8


def test_by_default_a_plan_is_chosen_for_prediction_where_the_model_bends():
    assert [plan(numbers(2), 8, model, starts=2).kind for model in ("main", "quadratic")] == ["d-optimal", "i-optimal"]


def test_an_optimal_plan_chooses_its_middle_itself():
    with refused(
        UsageError,
        "centre is 2, but kind='i-optimal' puts runs in the middle by itself where the model bends; use model='quadratic', or "
        "a catalogue kind such as 'fraction'.",
    ):
        plan(numbers(3), 12, kind="i-optimal", centre=2)


def test_names_that_plans_use_are_refused_as_factors():
    with pytest.raises(UsageError, match="block"):
        plan([Factor("block", low=0, high=1), *numbers(1)], 4)
