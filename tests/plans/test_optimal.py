import itertools

import numpy as np
import pandas as pd
import pytest

from doe.coding import Coding
from doe.model.errors import DataError, UsageError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.plans import plan
from doe.plans.candidates import region
from doe.plans.offers import wishes_for
from tests.plans.made import RADIO, coded, numbers, quadratic
from tests.refusing import refused

AIR = Derived("air", "rings * 42 - wool * 2.1")


def matrix(made, model):
    """The model matrix by the coding itself, apart from the search's own arithmetic."""
    coding = Coding(made.factors)
    table = {name: made.table[name].tolist() for name in (f.name for f in made.factors)}
    return np.column_stack([np.ones(made.n_runs), coding.matrix(table, coding.terms(model)).values])


def test_eight_runs_for_seven_factors_are_orthogonal():
    """Closed form: the largest determinant is 8^8, reached by orthogonal columns only."""
    X = matrix(plan(numbers(7), 8, starts=20), "main")
    assert np.allclose(X.T @ X, 8 * np.eye(8))


def test_equal_plans_are_told_apart_by_the_mixing_with_interactions():
    """Of all orthogonal plans of 4 factors in 8 runs, the one with resolution IV is taken."""
    X = coded(plan(numbers(4), 8, starts=20))
    for i, j, k in itertools.combinations(range(4), 3):
        assert X[:, i] @ (X[:, j] * X[:, k]) == 0


def test_known_plans_are_among_the_first_starts():
    """Closed form: an orthogonal array of 12 runs has 100 %; of 7 factors in 16 runs there is one of resolution IV."""
    assert plan(numbers(11), 12, starts=1).efficiency["D"] == pytest.approx(100)
    assert plan(numbers(7), 16, starts=2).separation.sentences[:2] == (
        "Main effects are independent of each other.",
        "Main effects are clear of interactions of two.",
    )


def test_levels_of_a_categorical_factor_are_balanced():
    """Closed form: for main effects of 2 x 3 levels in 12 runs the orthogonal plan is D-optimal."""
    made = plan([*numbers(1), RADIO[3]], 12)
    assert set(made.table.groupby(["A", "driver"]).size()) == {2}
    assert made.efficiency["D"] == pytest.approx(100.0)


@pytest.mark.slow
def test_every_run_keeps_the_limits():
    limits = [Limit("air >= 250"), Limit("driver != 'poly' or vents <= 3")]
    made = plan(RADIO, 16, limits=limits, derived=[AIR], units=4, starts=20)
    air = made.table["rings"] * 42 - made.table["wool"] * 2.1
    assert (air >= 250).all()
    assert ((made.table["driver"] != "poly") | (made.table["vents"] <= 3)).all()


@pytest.mark.slow
def test_a_rebuild_factor_changes_only_between_units():
    made = plan(RADIO, 12, units=4, starts=20)
    assert made.table["unit"].nunique() == 4
    assert (made.table.groupby("unit")["rings"].nunique() == 1).all()
    assert made.table["rings"].nunique() == 2
    rings = made.precision.set_index("term").loc["rings"]
    wool = made.precision.set_index("term").loc["wool"]
    assert rings["df"] == 2
    assert rings["se"] > 1.5 * wool["se"]


@pytest.mark.slow
def test_precision_between_units_is_that_of_generalised_least_squares():
    """Law: the covariance is (X' V^-1 X)^-1 with V = I + Z Z', units as variable as runs (Goos & Jones 2011, ch. 10)."""
    made = plan(RADIO, 12, units=4, starts=20)
    X = matrix(made, "main")
    Z = pd.get_dummies(made.table["unit"]).to_numpy(dtype=float)
    V = np.eye(12) + Z @ Z.T
    theirs = np.linalg.inv(X.T @ np.linalg.inv(V) @ X)
    assert np.allclose(made.basis.information.covariance, theirs, rtol=1e-8)


def test_a_plan_for_units_is_the_best_under_generalised_least_squares():
    """Law: no single change of a setting within a unit, or of a unit's rings, raises |X' V^-1 X|."""
    factors = [*numbers(2), Factor("r", low=-1, high=1, way="rebuild")]
    made = plan(factors, 8, units=4)
    X, unit = coded(made), made.table["unit"].to_numpy()
    Z = pd.get_dummies(unit).to_numpy(dtype=float)
    inner = np.linalg.inv(np.eye(8) + Z @ Z.T)

    def size(X):
        F = np.column_stack([np.ones(8), X])
        return np.linalg.det(F.T @ inner @ F)

    for run, column in itertools.product(range(8), range(3)):
        other = X.copy()
        other[unit == unit[run] if column == 2 else run, column] *= -1
        assert size(other) <= size(X) * (1 + 1e-6)


def test_blocks_are_balanced_as_far_as_they_can_be():
    made = plan(numbers(3), 12, blocks=3)
    assert made.table.groupby("block").size().tolist() == [4, 4, 4]
    assert (made.table.groupby("block")[["A", "B", "C"]].sum() == 0).all(axis=None)
    assert made.table["block"].tolist() == sorted(made.table["block"])


def test_runs_that_exist_are_complemented():
    """Law: a log that never varied B gets it varied, and nothing is spent on A alone."""
    log = pd.DataFrame({"A": [-1, 1, -1, 1], "B": [-1, -1, -1, -1]})
    made = plan(numbers(2), 4, existing=log)
    assert (made.table["B"] == 1).sum() >= 2
    both = pd.concat([made.table[["A", "B"]], log])
    assert len(made.existing) == 4
    assert np.linalg.matrix_rank(np.column_stack([np.ones(8), both])) == 3
    assert made.precision.set_index("term").loc["B", "df"] > 0


@pytest.mark.slow
def test_a_bayesian_plan_has_more_terms_than_runs():
    """DuMouchel & Jones 1994: main effects stay well estimated, and pairs are spread over the runs."""
    made = plan(numbers(6), 12, "two-factor", kind="bayesian", starts=20)
    X = matrix(made, "main")
    assert np.linalg.det(X.T @ X) ** (1 / 7) / 12 > 0.85
    assert made.separation.rung >= 2
    assert set(made.precision["term"]) == set("ABCDEF")


@pytest.mark.slow
def test_an_i_optimal_plan_predicts_better_than_a_d_optimal_one():
    """Law: of the two, each wins by its own criterion."""
    by_i, by_d = (plan(numbers(3), 17, "quadratic", kind=kind, starts=20) for kind in ("i-optimal", "d-optimal"))
    assert by_i.efficiency["I"] < by_d.efficiency["I"]
    assert by_i.efficiency["D"] < by_d.efficiency["D"]


def test_the_mean_variance_of_prediction_agrees_with_a_simulation():
    """Truth: the mean of f'(X'X)^-1 f over 200,000 settings drawn evenly from the cube, within 1 %."""
    made = plan(numbers(2), 9, "quadratic")
    C = np.linalg.inv(quadratic(coded(made)).T @ quadratic(coded(made)))
    points = quadratic(np.random.default_rng(2).uniform(-1, 1, size=(200_000, 2)))
    assert made.efficiency["I"] == pytest.approx(np.einsum("ij,jk,ik->i", points, C, points).mean(), rel=0.01)


def test_without_a_number_there_are_four_runs_to_spare():
    assert plan(numbers(3), starts=2).n_runs == 8
    assert plan(numbers(2), model="quadratic", starts=2).n_runs == 10


def test_a_bayesian_plan_counts_what_the_log_settles_of_main_effects():
    """Eight corners of A, B and C tell the mean and three of six unknowns, whatever they tell of interactions."""
    log = pd.DataFrame(itertools.product((-1, 1), repeat=3), columns=["A", "B", "C"]).assign(D=0, E=0)
    assert plan(numbers(5), model="two-factor", kind="bayesian", existing=log, starts=2).n_runs == 2 + 4
    with refused(
        UsageError,
        "1 run beside 8 existing runs cannot settle the 16 unknowns of the model (the mean, 15 effects); ask for at least "
        "9 runs.",
    ):
        plan(numbers(5), 1, "two-factor", existing=log)


def test_seeds_repeat_a_plan_and_order():
    one, two = (plan(RADIO, 12, seed=3, starts=50) for _ in range(2))
    assert one.table.equals(two.table)


def test_fewer_runs_than_unknowns_are_refused_with_ways_out():
    with refused(
        UsageError,
        "12 runs cannot settle the 21 unknowns of the model (the mean, 20 effects); ask for at least 21 runs, "
        "kind='bayesian' or model='main', which has 7.",
    ):
        plan(RADIO, 12, "two-factor")
    with refused(
        UsageError, "3 runs cannot settle the 5 unknowns of the model (the mean, 4 effects); ask for at least 5 runs."
    ):
        plan(numbers(4), 3)
    with refused(
        UsageError,
        "6 runs cannot settle the 7 unknowns of the model (the mean, 4 effects, 2 block differences); ask for at least 7 "
        "runs.",
    ):
        plan(numbers(4), 6, blocks=3)


@pytest.mark.parametrize(
    ("rules", "message"),
    [
        (
            ["air >= 600"],
            "No settings keep the limit 'air >= 600' within the factors' ranges; loosen it or widen a range.",
        ),
        (
            ["A >= 0.5", "A + B <= -0.9"],
            "No settings keep all limits together; without 'A >= 0.5' there are some, so loosen that one.",
        ),
        (
            ["A <= 0", "B + C == 3"],
            "No settings keep the limit 'B + C == 3' within the factors' ranges; loosen it or widen a range.",
        ),
        (
            ["A >= 0.42", "A <= 0.45"],
            "A can hardly vary: 'A >= 0.42' and 'A <= 0.45' leave it from 0.42 to 0.45; make that its range, or loosen the "
            "limit.",
        ),
        (
            ["A + B + C == 0", "A >= 0.42", "A <= 0.45"],
            "Hardly any settings keep 'A + B + C == 0', 'A >= 0.42' and 'A <= 0.45'; loosen one of them.",
        ),
        (["abs(A + B - 0.45) < 0.02"], "Hardly any settings keep 'abs(A + B - 0.45) < 0.02'; loosen it."),
    ],
)
def test_limits_that_leave_nothing_or_hardly_anything_are_named(rules, message):
    """By hand; of ranges from -1 to 1 a grid of eleven has 0.4 and 0.6, and their sums too."""
    with refused(UsageError, message):
        plan([*numbers(3), RADIO[1], RADIO[2]], 12, limits=list(map(Limit, rules)), derived=[AIR])


def test_a_level_that_limits_make_unreachable_is_named():
    with refused(
        UsageError,
        "driver cannot be bamboo: no such settings keep 'driver != \"bamboo\" or vents > 6'; plan with paper and poly, or "
        "loosen the limit.",
    ):
        plan(RADIO, 12, limits=[Limit('driver != "bamboo" or vents > 6')])


def test_the_ends_that_limits_cut_off_are_told():
    """And no others: B can be anything while A is at its least. Two settings are enough to plan with."""
    factors = [*numbers(2), Factor("holes", "count", low=0, high=6)]
    made = plan(factors, 8, limits=[Limit("A + B <= 0.4"), Limit("A <= 0.6"), Limit("holes >= 5")], starts=2)
    assert made.notes == (
        "A is planned from -1 to 0.6 only: 'A + B <= 0.4' and 'A <= 0.6' rule out the rest of its range.",
        "Holes is planned from 5 to 6 only: 'holes >= 5' rules out the rest of its range.",
    )


@pytest.mark.slow
def test_each_of_many_shares_may_be_all_of_it():
    """Of seven in tenths there are 11^7 combinations, of which a random part is looked at; none is ruled out."""
    shares = [Factor(name, low=0, high=1) for name in "abcdefg"]
    rule = " + ".join(factor.name for factor in shares) + " == 1"
    found = region(Coding(tuple(shares)), (), [Limit(rule)], 1)
    assert found.notes == ()


def test_the_ends_told_are_those_that_the_plan_uses():
    """Closed form: with B at its least, -1, A may go up to 0.73; the candidates in between are 0.6 and 0.8."""
    made = plan(numbers(2), 8, limits=[Limit("A + B <= -0.27")], seed=3, starts=20)
    rule = "'A + B <= -0.27' rules out the rest of its range."
    assert [note for note in made.notes if rule in note] == [
        f"{name} is planned from -1 to 0.73 only: {rule}" for name in ("A", "B")
    ]
    assert made.table[["A", "B"]].max().max() <= 0.73


def test_a_range_with_steps_ends_at_its_last_step_that_is_left():
    """Without wax the length may go down to 225, which the search finds; of the 11 candidates the lowest left is 230."""
    factors = [Factor("length", low=220, high=300, step=5), Factor("wax", low=0, high=2)]
    made = plan(factors, 8, limits=[Limit("length - wax * 3 >= 225")], starts=5)
    assert (
        "Length is planned from 225 to 300 only: 'length - wax * 3 >= 225' rules out the rest of its range."
        in made.notes
    )
    assert made.table["length"].min() == 225


def test_a_quantity_without_a_value_is_named():
    with refused(
        UsageError,
        "ratio has no finite value at some settings, so 'ratio' cannot be planned for; add a limit that keeps away from them.",
    ):
        plan(
            [Factor("A", low=-1, high=1, step=0.5), Factor("B", low=1, high=2, step=0.5)],
            6,
            ["A", "B", "ratio"],
            derived=[Derived("ratio", "B / (A * A - 0.25)")],
        )


def test_a_factor_that_limits_fix_is_refused():
    with refused(UsageError, "A cannot vary: 'A >= 1' leaves it at 1; loosen the limit."):
        plan(numbers(2), 6, limits=[Limit("A >= 1")])
    told = "A can hardly vary: 'A >= 0.95' leaves it from 0.95 to 1; make that its range, or loosen the limit."
    with refused(UsageError, told):
        plan(numbers(2), 6, limits=[Limit("A >= 0.95")])


def test_terms_that_no_plan_within_the_limits_tells_apart_are_named():
    message = "No plan of 8 runs within the limits can estimate A and B; leave out one of them, such as 'B'."
    with refused(UsageError, message):
        plan(numbers(2), 8, ["A", "B"], limits=[Limit("A == B")], starts=2)


def test_what_a_search_did_not_find_is_not_called_impossible():
    """All eight combinations of two settings and four levels are a plan; one start does not get there."""
    factors = [*numbers(1), Factor("p", kind="ordered", levels=list("wxyz"))]
    with refused(
        UsageError,
        "The search found no plan of 8 runs that can estimate A, p and A:p; ask for more runs, or for more starts.",
    ):
        plan(factors, 8, "two-factor", kind="i-optimal", starts=1)
    assert plan(factors, 8, "two-factor", kind="i-optimal", starts=40).table["p"].value_counts().eq(2).all()


def test_a_model_by_name_leaves_out_what_follows_from_the_rest():
    """Where A + B + C make 0, a model of main effects has two;"""
    made = plan(numbers(4, step=1), 8, limits=[Limit("A + B + C == 0")], starts=2)
    assert made.precision["term"].tolist() == ["B", "C", "D"]
    assert (
        "A follows from B and C ('A + B + C == 0'), so effects of B and C are told with A moving along." in made.notes
    )
    assert not {"A", "A:B", "A^2"} & {*made.confounded["term"], *made.confounded["with"], *made.correlations().index}
    asked = plan(numbers(3, step=1), 8, ["A", "C"], limits=[Limit("A + B + C == 0")], starts=2)
    assert (
        "B follows from A and C ('A + B + C == 0'), so effects of A and C are told with B moving along." in asked.notes
    )
    quadratic = plan(numbers(3, step=1), 8, "quadratic", limits=[Limit("A + B + C == 0")], starts=2)
    assert quadratic.precision["term"].tolist() == ["B", "C", "B:C", "B^2", "C^2"]
    wishes = wishes_for(numbers(3), 30, [Limit("A + B + C == 0")], False, ())
    assert min(wish["runs"] for wish in wishes if wish["model"] == "main") == 4  # one more than the unknowns


def test_a_run_that_exists_outside_the_range_is_named():
    log = pd.DataFrame({"variant": ["7"], "A": [3.0], "B": [0.0]})
    with refused(DataError, "Existing run '7': A is 3; it must be a number from -1 to 1."):
        plan(numbers(2), 6, existing=log)


def test_reference_objects_in_the_log_are_left_out():
    log = pd.DataFrame({"A": [-1.0, None], "B": [1.0, None]})
    assert len(plan(numbers(2), 6, existing=log, starts=1).existing) == 1
    log["A"] = [-1.0, 3.0]
    with refused(DataError, "Existing run 2: A is 3; it must be a number from -1 to 1."):
        plan(numbers(2), 6, existing=log)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            {"blocks": 2, "session_runs": 5},
            "12 runs in 2 blocks make blocks of 6, but a session holds 5; use blocks=3.",
        ),
        ({"session_runs": 1}, "12 runs in 1 block make blocks of 12, but a session holds 1; let it hold 2 or more."),
        ({"blocks": 9}, "blocks is 9; with 12 runs it must be 1 to 6."),
        (
            {"kind": "d-optimul"},
            "kind is 'd-optimul'; it must be d-optimal, i-optimal, bayesian, full, fraction, plackett-burman, fold-over, "
            "definitive, central-composite, face-centred, box-behnken, latin-hypercube or maximin. Did you mean 'd-optimal'?",
        ),
        (
            {"replicates": 3, "blocks": 2, "session_runs": 12, "starts": 1},
            "36 runs in 2 blocks make blocks of 18, but a session holds 12; use blocks=3.",
        ),
        ({"limits": [Limit("D > 0")]}, "Limit 'D > 0' uses 'D', which is no factor; there are A, B and C."),
        ({"existing": pd.DataFrame({"B": [0]})}, "The table has no column for A and C."),
        ({"units": 3}, "units is 3, but no factor needs a rebuild; leave units out."),
        ({"scatter": -1.0}, "scatter is -1.0; it must be more than 0."),
        ({"starts": 0}, "starts is 0; it must be a whole number from 1 to 1000000."),
        ({"fold": ["A"]}, "fold belongs to kind='fold-over', not to 'd-optimal'."),
    ],
)
def test_contradictions_are_refused_in_one_sentence(options, message):
    with pytest.raises(UsageError) as told:
        plan(numbers(3), 12, **options)
    assert str(told.value) == message


def test_too_few_units_are_refused():
    with refused(
        UsageError,
        "units is 1; the terms that only change with a rebuild need 2, and 12 runs can use 12 at most.",
    ):
        plan(RADIO, 12, units=1)


def test_a_factor_outside_the_model_does_not_stand_in_the_way():
    """Closed form: 8 runs for two terms are orthogonal, whatever a third factor does; its column changes nothing."""
    made = plan(numbers(3), 8, ["A", "B"], kind="d-optimal", starts=4, seed=3)
    X = matrix(made, ["A", "B"])
    assert np.allclose(X.T @ X, 8 * np.eye(3))


def test_shares_that_add_up_are_planned_at_the_points_of_the_lattice():
    """Kiefer (1961, Annals of Mathematical Statistics 32, 298-325): for a quadratic model of three shares the D-optimal plan is
    the lattice of Scheffe (1958), each share alone and each two in halves. 1 = a + b + c, so c and its square follow.
    """
    terms = ["a", "b", "a^2", "b^2", "a:b"]
    made = plan([Factor(name, low=0, high=1) for name in "abc"], 6, terms, limits=[Limit("a + b + c == 1")], starts=3)
    points = np.round(made.table[["a", "b", "c"]].to_numpy(), 9)
    lattice = {tuple(point) for point in itertools.product([0, 0.5, 1], repeat=3) if sum(point) == 1}
    assert {tuple(point) for point in points} == lattice


@pytest.mark.slow
def test_shares_of_unlike_ranges_are_planned_at_the_corners_of_what_the_rule_leaves():
    """Closed form: a straight model has its D-optimal runs at corners, where two of three shares are at an end of their range.
    Of ranges 0 to 0.6, 0.23 to 0.71 and 0.11 to 0.57 six corners add up to 1.
    """
    shares = [Factor("a", low=0, high=0.6), Factor("b", low=0.23, high=0.71), Factor("c", low=0.11, high=0.57)]
    rule = [Limit("a + b + c == 1")]
    made = plan(shares, 5, ["a", "b"], limits=rule, starts=4)
    corners = {
        (0.6, 0.23, 0.17),
        (0.6, 0.29, 0.11),
        (0.2, 0.23, 0.57),
        (0.18, 0.71, 0.11),
        (0, 0.71, 0.29),
        (0, 0.43, 0.57),
    }
    assert {tuple(row) for row in made.table[["a", "b", "c"]].round(9).to_numpy().tolist()} <= corners
    spread = plan(shares, 8, kind="maximin", model=["a", "b"], limits=rule).table[["a", "b", "c"]]
    assert spread.sum(axis=1).to_numpy() == pytest.approx(np.ones(8), abs=1e-12)
    assert len(spread.drop_duplicates()) == 8


def test_settings_that_must_add_up_are_planned_and_judged_on_their_line():
    """Closed form: along the line A^2 is 1/3 on average, C^2 too, and all else is 0, so that the mean variance of prediction is
    C00 + C11 / 3 + C22 / 3 of (X'X)^-1. No setting drawn at random keeps A + B = 0.
    """
    limits = [Limit("A + B == 0")]
    made = plan(numbers(3), 8, ["A", "C"], kind="i-optimal", limits=limits, starts=5)
    X = np.column_stack([np.ones(8), made.table[["A", "C"]]])
    variances = np.diag(np.linalg.inv(X.T @ X))
    assert made.efficiency["I"] == pytest.approx(variances @ [1, 1 / 3, 1 / 3], rel=0.02)  # 4000 draws
    assert (made.prediction_spread()["error"] ** 2).mean() == pytest.approx(made.efficiency["I"], rel=0.05)
    filled = plan(numbers(3), 6, kind="maximin", model=["A", "C"], limits=limits)
    assert (filled.table["A"] + filled.table["B"]).to_numpy() == pytest.approx(np.zeros(6))
