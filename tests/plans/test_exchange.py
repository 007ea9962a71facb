import itertools

import numpy as np
import pytest

from doe.coding import Coding
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.plans import exchange
from doe.plans.arrangement import arrange
from doe.plans.candidates import region
from doe.plans.exchange import begin, improve, score, sweep_once
from doe.plans.layout import Layout
from doe.plans.optimal import optimal_task
from doe.plans.search import draw_starts

MIXED = [
    Factor("x", low=-1, high=1),
    Factor("y", low=0, high=4, step=1),
    Factor("c", kind="categorical", levels=["a", "b", "d"]),
    Factor("r", low=0, high=1, way="rebuild"),
]


def made(criterion="D", n_runs=30, units=None, blocks=1, n_starts=6):
    coding = Coding(tuple(MIXED))
    terms = coding.terms("quadratic")
    layout, area = Layout(coding, terms), region(coding, terms, (), 1)
    arrangement = arrange(n_runs, blocks, units, 0)
    task = optimal_task(area, layout, arrangement, np.empty((0, layout.n_columns)), criterion=criterion)
    return task, draw_starts(area, arrangement, n_starts, np.random.default_rng(5))


def plain_score(task, values):
    """The criterion of one plan from its definition, the engine's ridge left out."""
    X = np.hstack([task.layout.rows(values), task.beside])
    M = X.T @ X + task.fixed
    if np.linalg.cond(M) > 1e12:
        return -np.inf
    return np.linalg.slogdet(M)[1] if task.moments is None else -np.trace(np.linalg.inv(M) @ task.moments)


@pytest.mark.parametrize("criterion", ["D", "I"])
@pytest.mark.parametrize("blocks", [1, 2])
def test_updates_by_rank_two_agree_with_inverting_from_scratch(criterion, blocks):
    """Law: after a whole pass D = M^-1 and B = D W D, to rounding."""
    task, values = made(criterion, blocks=blocks)
    batch = begin(task, values)
    sweep_once(task, batch)
    fresh = begin(task, batch.values)
    assert np.allclose(batch.X, fresh.X)
    assert np.allclose(batch.D, fresh.D, rtol=1e-4, atol=1e-6)
    if criterion == "I":
        assert np.allclose(batch.B, fresh.B, rtol=1e-4, atol=1e-6)


@pytest.mark.parametrize("criterion", ["D", "I"])
@pytest.mark.parametrize("units", [None, 6])
def test_no_single_setting_improves_a_finished_plan(criterion, units):
    """Law of coordinate exchange: at the end every setting is the best of its candidates, all others held."""
    task, values = made(criterion, units=units, n_starts=2)
    for plan in improve(task, values, 60):
        best = plain_score(task, plan)
        for run in range(task.n_runs):
            for factor, candidates in enumerate(task.candidates):
                rows = next(rows for rows in task.groups[factor] if run in rows) if factor in task.groups else [run]
                for setting in candidates:
                    other = plan.copy()
                    other[rows, factor] = setting
                    gain = plain_score(task, other) - best
                    assert gain < (1e-4 if criterion == "D" else 1e-4 * abs(best))


@pytest.mark.parametrize(
    ("criterion", "way", "units"), [("D", "either", None), ("I", "either", None), ("D", "rebuild", 3)]
)
def test_no_two_settings_improve_a_finished_plan_where_limits_tie_them(criterion, way, units):
    """Law: where three shares must add up to 1, two of a row, or of all rows of a unit, have their best settings together."""
    coding = Coding(tuple(Factor(name, low=0, high=1, way=way) for name in "abc"))
    terms = coding.terms(["a", "b"])
    layout, area = Layout(coding, terms), region(coding, terms, [Limit("a + b + c == 1")], 1)
    arrangement = arrange(6, 1, units, 0)
    task = optimal_task(area, layout, arrangement, np.empty((0, 3)), criterion=criterion)
    for plan in improve(task, draw_starts(area, arrangement, 1, np.random.default_rng(4)), 60):
        best = plain_score(task, plan)
        for rows, pair in itertools.product(arrangement.rows_of_units(), itertools.combinations(range(3), 2)):
            for settings in itertools.product(*(task.candidates[place] for place in pair)):
                other = plan.copy()
                other[np.ix_(rows, pair)] = settings
                if task.allowed(other).all():
                    assert plain_score(task, other) - best < (1e-4 if criterion == "D" else 1e-4 * abs(best))


@pytest.mark.parametrize(
    ("rule", "tied"), [("a + b + c == 1", {(0, 1), (0, 2), (1, 2)}), ("b == c", {(1, 2)}), ("a + b + c <= 1", set())]
)
def test_factors_that_hardly_move_alone_are_tied(rule, tied):
    coding = Coding(tuple(Factor(name, low=0, high=1) for name in "abc"))
    assert set(region(coding, coding.terms("main"), [Limit(rule)], 1).tied) == tied


@pytest.mark.parametrize("criterion", ["D", "I"])
@pytest.mark.parametrize("n_rows", [1, 2, 5])
def test_replacing_rows_together_gains_what_inverting_from_scratch_tells(criterion, n_rows):
    """Closed form: |M| and tr(M^-1 W) of the plan with the rows replaced, for several trials; one that is no number is out."""
    task, values = made(criterion, n_starts=3)
    batch = begin(task, values)
    rng = np.random.default_rng(2)
    X = batch.X[:, :n_rows]
    Z = X[:, None] + np.array([0.0, 0.3, 1.0, np.nan])[:, None, None] * rng.normal(size=(3, 1, n_rows, task.size))
    gains = exchange._gains_together(batch, X, Z)
    for plan, trial in np.ndindex(3, 3):
        replaced = batch.X[plan].copy()
        replaced[:n_rows] = Z[plan, trial]
        now, then = (X.T @ X + task.fixed + exchange.RIDGE * np.eye(task.size) for X in (batch.X[plan], replaced))
        if criterion == "D":
            expected = np.exp(np.linalg.slogdet(then)[1] - np.linalg.slogdet(now)[1]) - 1
        else:
            traces = [np.trace(np.linalg.inv(M) @ task.moments) for M in (now, then)]
            expected = 1 - traces[1] / traces[0]
        assert gains[plan, trial] == pytest.approx(expected, rel=1e-6, abs=1e-9)
    assert np.isneginf(gains[:, 3]).all()


def test_a_pass_never_makes_a_plan_worse():
    for criterion in ("D", "I"):
        task, values = made(criterion)
        batch = begin(task, values)
        before = np.array([plain_score(task, plan) for plan in batch.values])
        sweep_once(task, batch)
        after = np.array([plain_score(task, plan) for plan in batch.values])
        assert (after >= before - 1e-6 * np.abs(before)).all()


def test_a_rebuild_factor_stays_the_same_on_each_unit():
    task, values = made(units=6)
    (rows_of_units,) = task.groups.values()
    for plan in improve(task, values):
        for rows in rows_of_units:
            assert len(np.unique(plan[rows, 3])) == 1


def test_scores_are_those_of_the_definition():
    for criterion in ("D", "I"):
        task, values = made(criterion)
        assert np.allclose(score(task, values), [plain_score(task, plan) for plan in values], rtol=1e-5)


def test_a_singular_plan_scores_as_impossible():
    task, values = made()
    values[:, :, 0] = 1.0
    assert np.isneginf(score(task, values)).all()


def test_batches_are_small_enough_for_the_cache():
    task, _ = made()
    assert exchange.batch_size(task) * task.size**2 * 8 <= exchange._BATCH_BYTES
