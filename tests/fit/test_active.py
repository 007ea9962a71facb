from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import logsumexp

from doe.coding import Coding
from doe.fit import growing
from doe.fit.active import search
from doe.fit.builds import Builds
from doe.fit.growing import engine_for
from doe.fit.priors import Prior, prior_columns
from doe.fit.term_space import distinct
from doe.fit.whiten import Problem, whiten
from doe.model.factor import Factor
from tests.fit.logs import FACTORS, random_settings
from tests.strategies import examples


def _problem(seed: int, n_factors: int = 4, n_rows: int = 16, model: str = "two-factor", n_active: int = 1) -> Problem:
    rng = np.random.default_rng(seed)
    factors = tuple(Factor(f"f{place}", low=0, high=4, step=1) for place in range(n_factors))
    coding = Coding(factors)
    matrix = coding.matrix(random_settings(n_rows, rng, factors), coding.terms(model))
    y = 1.5 * matrix.values[:, :n_active].sum(axis=1) + rng.normal(0, 0.5, n_rows)
    mixing = rng.normal(size=(n_rows, n_rows)) / 8
    return whiten(
        Builds(y, np.eye(n_rows) * 0.2, np.eye(n_rows) * 0.05 + mixing @ mixing.T), matrix, coding, replicated=True
    )


def _slow_log_evidence(problem: Problem, places: list[int], gamma: float, floor: float, df: float) -> float:
    """One model at a time, by dense matrices: Box & Meyer (1993), with the mean projected out."""
    X, y = problem.gram[np.ix_(places, places)], problem.cross[places]
    A = X + np.eye(len(places)) / gamma**2
    rss = problem.total + floor - y @ np.linalg.solve(A, y) if places else problem.total + floor
    return -len(places) * np.log(gamma) - 0.5 * np.linalg.slogdet(A)[1] - 0.5 * df * np.log(rss)


@examples(25)
@given(st.integers(0, 50), st.sets(st.integers(0, 9), max_size=6))
def test_batched_evidence_equals_one_model_at_a_time(seed: int, places: set[int]):
    problem = _problem(seed)
    sweeper = engine_for(problem, Prior(), 0.3).sweeper
    included = np.zeros((2, len(problem.terms)), dtype=bool)
    included[1, sorted(places)] = True
    swept = sweeper.sweep(included)
    ours = sweeper.log_evidence(swept)[:, 1]
    assert sweeper.df == 16 - 1 + Prior().scale_df  # what replicates say of the least scatter counts with it
    for column, gamma in enumerate(sweeper.scales):
        expected = _slow_log_evidence(problem, sorted(places), float(gamma), 0.3, sweeper.df)
        assert ours[column] == pytest.approx(expected, abs=1e-8)
    rest = [place for place in range(len(problem.terms)) if place not in places]
    looked = sweeper.look(swept, np.ones(len(rest), dtype=np.intp), np.array(rest))
    for row, place in enumerate(rest):
        expected = _slow_log_evidence(problem, sorted({*places, place}), float(sweeper.scales[1]), 0.3, sweeper.df)
        assert looked[1, row] == pytest.approx(expected, abs=1e-8)


def _dense_log_evidence(X: np.ndarray, y: np.ndarray, gamma: float, floor: float, df: float) -> float:
    """The same from the covariance of the values, ``I + gamma**2 XX'``, which is regular whatever the rank of X.

    Matrix determinant lemma and Woodbury identity (Golub & Van Loan, Matrix Computations, 4th ed., sec. 2.1.4).
    """
    V = np.eye(len(y)) + gamma**2 * X @ X.T
    return -0.5 * np.linalg.slogdet(V)[1] - 0.5 * df * np.log(y @ np.linalg.solve(V, y) + floor)


@examples(40)
@given(
    st.integers(0, 10_000),
    st.sets(st.integers(0, 9), min_size=1, max_size=7),
    st.sampled_from(["", "twin", "sum", "zero"]),
)
def test_evidence_holds_where_columns_depend_on_each_other(seed: int, places: set[int], flaw: str):
    """Random data; fewer rows than columns, a column twice, a sum of two, a column of zeros; small and large scales."""
    rng = np.random.default_rng(seed)
    X, y = rng.normal(size=(rng.integers(5, 16), 10)), rng.normal(size=16)
    y = y[: len(X)]
    chosen = sorted(places)
    if flaw:
        X[:, chosen[-1]] = {"twin": X[:, chosen[0]], "sum": X[:, 8] + X[:, 9], "zero": 0.0}[flaw]
    X, y = X - X.mean(axis=0), y - y.mean()
    problem = replace(_problem(0), gram=X.T @ X, cross=X.T @ y, total=float(y @ y), n_rows=len(y))
    sweeper = engine_for(problem, Prior(scales=(0.5, 3.0, 30.0)), 0.2).sweeper
    included = np.zeros((1, 10), dtype=bool)
    included[0, chosen[:-1]] = True
    swept = sweeper.sweep(included)
    looked = sweeper.look(swept, np.zeros(1, dtype=np.intp), np.array(chosen[-1:]))[:, 0]
    grown = sweeper.log_evidence(sweeper.add(swept, np.array(chosen[-1:])))[:, 0]
    np.testing.assert_array_equal(looked, grown)
    expected = [_dense_log_evidence(X[:, chosen], y, gamma, 0.2, sweeper.df) for gamma in (0.5, 3.0, 30.0)]
    np.testing.assert_allclose(looked, expected, rtol=1e-9, atol=1e-9)


def test_distinct_hashes_are_found_once_each():
    """As the general library finds them, and the first place of each."""
    hashes = np.random.default_rng(4).integers(1, 2**63, size=500, dtype=np.uint64)[np.r_[:500, 3:200, 7]]
    assert sorted(distinct(hashes)) == sorted(np.unique(hashes, return_index=True)[1])
    assert list(distinct(hashes[:1])) == [0]
    assert len(distinct(hashes[:0])) == 0


@pytest.mark.parametrize(("n_active", "beam"), [(1, 60), (5, 10)])
def test_search_agrees_with_full_enumeration(monkeypatch: pytest.MonkeyPatch, n_active: int, beam: int):
    """With a narrow beam forced on, activity stays within what the search itself says it has missed."""
    problem = _problem(7, n_factors=5, n_rows=20, n_active=n_active)
    prior = Prior()
    engine = engine_for(problem, prior, 0.0)
    mains, weights, sets = range(5), [], []
    for size in range(6):
        for chosen in itertools.combinations(mains, size):
            allowed = [
                p for p, t in enumerate(problem.terms) if not t.is_main and all(int(f[1:]) in chosen for f in t.factors)
            ]
            for extra in range(len(allowed) + 1):
                for pairs in itertools.combinations(allowed, extra):
                    if size + extra <= growing.LARGEST:
                        included = np.zeros(len(problem.terms), dtype=bool)
                        included[[*chosen, *pairs]] = True
                        sets.append(included)
    every = np.array(sets)
    weights = np.exp(engine.score(every))
    expected = (weights / weights.sum()).sum(axis=0) @ every
    monkeypatch.setattr(growing, "EXHAUSTIVE", 10)
    found = search(problem, prior, beam=beam)
    assert not found.is_exhaustive
    np.testing.assert_allclose(found.activity, expected, atol=0.005)
    assert found.covered > 0.99


@pytest.mark.parametrize("heredity", ["strong", "weak"])
def test_a_small_space_is_visited_whole_and_each_set_once(heredity: str):
    """Against a list of all sets that heredity allows: as many, the same evidence together, the same activity."""
    problem, prior = _problem(6, n_factors=3), Prior(heredity=heredity)
    engine = engine_for(problem, prior, 0.0)
    every = np.array(list(itertools.product([False, True], repeat=len(problem.terms))))
    every = every[np.isfinite(engine.space.log_prior(every))]
    scores = engine.score(every)
    found = search(problem, prior)
    assert found.is_exhaustive
    assert found.n_visited == len(every)
    assert found.log_evidence == pytest.approx(logsumexp(scores) - np.log(len(scores)), abs=1e-10)
    np.testing.assert_allclose(found.activity, np.exp(scores - logsumexp(scores)).sum(axis=0) @ every, atol=1e-10)


@pytest.mark.parametrize(("n_factors", "is_whole"), [(8, True), (9, False)])
def test_a_space_with_sets_beyond_the_largest_is_not_said_to_be_visited_whole(n_factors: int, is_whole: bool):
    """Of eight main effects all 2^8 sets are visited; of nine the one that holds them all is beyond `LARGEST`."""
    found = search(_problem(5, n_factors, n_rows=30, model="main"))
    assert found.is_exhaustive == is_whole
    assert found.n_visited == 2**n_factors - (not is_whole)


def test_prior_mass_of_all_models_is_one():
    """Strong heredity: over all sets of terms the prior adds to one, so no model is counted twice or left out."""
    problem = _problem(1, n_factors=3, model="quadratic")
    space = engine_for(problem, Prior(), 0.0).space
    sets = np.array(list(itertools.product([False, True], repeat=space.n_terms)))
    assert np.exp(space.log_prior(sets)).sum() == pytest.approx(1.0, abs=1e-9)


def test_prior_of_grown_sets_equals_that_of_the_sets_themselves():
    """Counts carried on from the smaller set change nothing."""
    problem = _problem(2, n_factors=4, model="quadratic")
    space = engine_for(problem, Prior(), 0.0).space
    rng = np.random.default_rng(1)
    sets = rng.random((40, space.n_terms)) < 0.4
    sets &= ~(sets & (sets.astype(int) @ space.parents.T.astype(int) < space.n_parents))
    missing = space.missing(sets)
    rows, terms = space.additions(sets, missing, space.hashes(sets), once=False)
    grown = sets[rows]
    grown[np.arange(len(rows)), terms] = True
    np.testing.assert_allclose(space.grown_prior(sets, missing, rows, terms), space.log_prior(grown), atol=1e-12)


def test_weak_heredity_prior_adds_to_one():
    problem = _problem(1, n_factors=3, model="two-factor")
    space = engine_for(problem, Prior(heredity="weak"), 0.0).space
    sets = np.array(list(itertools.product([False, True], repeat=space.n_terms)))
    assert np.exp(space.log_prior(sets)).sum() == pytest.approx(1.0, abs=1e-9)


def test_moments_equal_ridge_regression():
    """Kept coefficients are the ridge solution of their model, absent ones are zero."""
    problem = _problem(3)
    found = search(problem)
    for model in range(5):
        places = np.flatnonzero(found.included[model])
        A = problem.gram[np.ix_(places, places)] + np.eye(len(places)) / found.scales[model] ** 2
        np.testing.assert_allclose(
            found.coefficients[model][places], np.linalg.solve(A, problem.cross[places]), atol=1e-9
        )
        assert np.all(found.coefficients[model][~found.included[model]] == 0)


def test_every_term_is_held_by_some_model():
    """So that an effect can be estimated given that it is active."""
    found = search(_problem(5, n_factors=6, n_rows=24, model="quadratic"))
    assert found.included.any(axis=0).all()


def test_terms_of_several_columns_are_swept_as_one():
    """A driver of four levels and its interactions: looking at a term equals sweeping it, and the dense formula."""
    rng = np.random.default_rng(2)
    factors = (*FACTORS[:3], Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo", "silk"]))
    coding = Coding(factors)
    matrix = coding.matrix(random_settings(20, rng, factors), coding.terms("two-factor"))
    y = rng.normal(size=20)
    problem = whiten(Builds(y, np.eye(20) * 0.3, np.eye(20) * 0.2), matrix, coding, replicated=True)
    sweeper = engine_for(problem, Prior(), 0.1).sweeper
    terms = [term.name for term in problem.terms]
    start = np.zeros((1, len(terms)), dtype=bool)
    start[0, [terms.index("wool"), terms.index("driver")]] = True
    swept = sweeper.sweep(start)
    grown = start.copy()
    grown[0, terms.index("wool:driver")] = True
    looked = sweeper.look(swept, np.array([0]), np.array([terms.index("wool:driver")]))
    np.testing.assert_allclose(looked, sweeper.log_evidence(sweeper.sweep(grown)), atol=1e-9)
    names = ("wool", "driver", "wool:driver")
    places = [column for name in names for column in range(*problem.slices[name].indices(99))]
    expected = _slow_log_evidence(problem, places, float(sweeper.scales[0]), 0.1, sweeper.df)
    assert looked[0, 0] == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(("n_rows", "most"), [(3, 1), (6, 4), (8, 6)])
def test_no_set_has_more_columns_than_builds_can_tell(n_rows: int, most: int):
    """Beside the mean, one build at least is left over."""
    problem = _problem(5, n_factors=9, n_rows=n_rows, model="main", n_active=9)
    assert search(problem).included.sum(axis=1).max() == most


@pytest.mark.parametrize("n_levels", [2, 3, 4, 6])
def test_levels_of_a_category_are_exchangeable(n_levels: int):
    """Each level's effect has prior variance 1, whatever the coding singles out."""
    factor = Factor("driver", kind="categorical", levels=[f"level {place}" for place in range(n_levels)])
    coding = Coding((factor,))
    effects = coding.axes["driver"].contrasts @ prior_columns(coding, coding.term("driver"))
    np.testing.assert_allclose(np.diag(effects @ effects.T), 1.0, atol=1e-12)
    np.testing.assert_allclose(effects.sum(axis=0), 0.0, atol=1e-12)
