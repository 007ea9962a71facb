from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import halfcauchy, rayleigh

from doe.fit.degrees import satterthwaite
from doe.fit.reml import Bounded, Crossproducts, Grouping, Reml, _derivatives, _is_no_worse, fit_reml
from doe.fit.small_sample import kenward_roger_covariance
from tests.strategies import examples


def _simulated(seed: int, n_variants: int = 20, n_raters: int = 3) -> tuple[np.ndarray, np.ndarray, list[Grouping]]:
    rng = np.random.default_rng(seed)
    variant = np.repeat(np.arange(n_variants), n_raters)
    rater, session = np.tile(np.arange(n_raters), n_variants), variant // 4
    x = rng.normal(size=(n_variants, 2))[variant]
    y = x[:, 0] + rng.normal(0, 0.5, n_variants)[variant] + rng.normal(0, 0.7, n_raters)[rater]
    y = y + rng.normal(0, 0.4, session.max() + 1)[session] + rng.normal(0, 0.3, len(variant))
    X = np.column_stack([np.ones(len(y)), x])
    groupings = [
        Grouping("variant", variant, n_variants),
        Grouping("session", session, session.max() + 1),
        Grouping("rater", rater, n_raters),
    ]
    return X, y, groupings


def _dense_deviance(X: np.ndarray, y: np.ndarray, groupings: list[Grouping], theta: np.ndarray) -> float:
    """Textbook criterion from the full covariance matrix, profiled over sigma (Patterson & Thompson 1971)."""
    V = np.eye(len(y))
    for grouping, ratio in zip(groupings, theta, strict=True):
        Z = np.eye(grouping.size)[grouping.index]
        V += ratio**2 * Z @ Z.T
    inverse = np.linalg.inv(V)
    information = X.T @ inverse @ X
    b = np.linalg.solve(information, X.T @ inverse @ y)
    df = len(y) - X.shape[1]
    rss = float((y - X @ b) @ inverse @ (y - X @ b))
    logs = np.linalg.slogdet(V)[1] + np.linalg.slogdet(information)[1]
    return float(logs + df * (1 + np.log(2 * np.pi * rss / df)))


@examples(30)
@given(st.lists(st.floats(0, 3), min_size=3, max_size=3), st.integers(0, 5))
def test_criterion_equals_the_dense_formula(theta: list[float], seed: int):
    """Cross-products and elimination change nothing."""
    X, y, groupings = _simulated(seed)
    products = Crossproducts(X, y, groupings)
    by_name = dict(zip(["variant", "session", "rater"], theta, strict=True))
    ordered = np.array([by_name[grouping.name] for grouping in products.groupings])
    expected = _dense_deviance(X, y, list(products.groupings), ordered)
    assert products.profiled(ordered) == pytest.approx(expected, abs=1e-6)


@examples(20)
@given(st.lists(st.floats(0.05, 4), min_size=3, max_size=3), st.integers(0, 5))
def test_slope_equals_differences(ratios: list[float], seed: int):
    """The closed gradient is the criterion's own."""
    products = Crossproducts(*_simulated(seed))
    at = np.array(ratios)
    _, slope = products.profiled_with_slope(at)
    for place in range(3):
        step = np.zeros(3)
        step[place] = 1e-5 * at[place]
        up, down = (products.profiled(np.sqrt(at + sign * step)) for sign in (1, -1))
        assert slope[place] == pytest.approx((up - down) / (2 * step[place]), rel=2e-3, abs=2e-3)


def test_cells_stand_for_their_readings():
    """Readings under equal conditions may be given as counts, means and a sum of squares."""
    X, y, groupings = _simulated(3)
    rng = np.random.default_rng(0)
    again = np.repeat(np.arange(len(y)), 3)
    noise = rng.normal(0, 0.2, len(again))
    values = y[again] + noise
    means = np.bincount(again, values) / 3
    in_rows = [Grouping(one.name, one.index[again], one.size) for one in groupings]
    whole = fit_reml(Crossproducts(X[again], values, in_rows))
    within = float(np.sum((values - means[again]) ** 2))
    cells = fit_reml(Crossproducts(X, means, groupings, np.full(len(y), 3.0), within))
    assert cells.deviance == pytest.approx(whole.deviance, abs=1e-6)
    np.testing.assert_allclose(cells.coefficients, whole.coefficients, rtol=1e-6)
    np.testing.assert_allclose(satterthwaite(cells, np.eye(3)), satterthwaite(whole, np.eye(3)), rtol=1e-3)
    np.testing.assert_allclose(
        kenward_roger_covariance(X, groupings, np.full(len(y), 3.0), 2.0 * len(y), cells),
        kenward_roger_covariance(X[again], in_rows, np.ones(len(again)), 0.0, whole),
        rtol=1e-5,
    )


def test_the_small_sample_covariance_is_half_its_curvature_wider():
    """Kenward & Roger (1997, eq. 2 and 3): where V is linear in the variances, their adjustment is minus twice the bias.

    So minus the second derivatives of ``(X'V^-1 X)^-1``, here by differences, weighed with the covariance of the variances by
    the expected information of error contrasts. An unbalanced part of a crossed log, drift in its sessions.
    """
    rng = np.random.default_rng(8)
    X, y, groupings = _simulated(4, 8, 3)
    kept = np.sort(rng.permutation(len(y))[:17])
    X, y = X[kept], y[kept]
    groupings = [Grouping(one.name, one.index[kept], one.size) for one in groupings[:2]]
    groupings.append(Grouping("drift", groupings[1].index, 2, rng.uniform(-1, 1, (17, 1))))
    variances = np.array([0.3, 0.2, 0.4, 0.09])
    ratios = np.sqrt(variances[:3] / variances[3])
    none = np.zeros((0, 0))
    outer = [np.eye(one.size)[one.index] * (1.0 if one.covariates is None else one.covariates) for one in groupings]
    parts = [*(Z @ Z.T for Z in outer), np.eye(17)]

    def covariance(at: np.ndarray) -> np.ndarray:
        V = sum(variance * part for variance, part in zip(at, parts, strict=True))
        return np.asarray(np.linalg.inv(X.T @ np.linalg.solve(V, X)))

    contrasts = np.linalg.svd(X)[0][:, 3:]
    inside = [contrasts.T @ part @ contrasts for part in parts]
    whole = sum(variance * part for variance, part in zip(variances, inside, strict=True))
    shares = [np.linalg.solve(whole, part) for part in inside]
    W = np.linalg.inv([[np.trace(a @ b) / 2 for b in shares] for a in shares])
    step, expected = 1e-3 * np.diag(variances), covariance(variances)
    for i, j in np.ndindex(4, 4):
        corners = [covariance(variances + a * step[i] + b * step[j]) * a * b for a in (1, -1) for b in (1, -1)]
        expected = expected - W[i, j] * sum(corners) / (4 * step[i, i] * step[j, j])
    model = Reml(("variant", "session", "drift"), tuple(np.array([[ratio]]) for ratio in ratios), 0.3,
                 np.zeros(3), covariance(variances), 0.0, none, np.zeros((0, 0, 0)))  # fmt: skip
    found = kenward_roger_covariance(X, groupings, np.ones(17), 0.0, model)
    np.testing.assert_allclose(found, expected, rtol=1e-4)
    assert (np.diag(found) > 1.05 * np.diag(model.covariance)).any()


def test_a_component_at_zero_is_an_ordinary_result():
    """R 4.2.2, lmerTest 3.1-3 on the same data: unit at 0, df as below (within 1 %)."""
    rng = np.random.default_rng(1)
    variant, rater = np.repeat(np.arange(30), 3), np.tile(np.arange(3), 30)
    x = rng.choice([-1, 1], (30, 6))
    y = x[variant] @ np.array([1, 0, 0, 0.5, 0, 0]) + rng.normal(0, 0.5, 3)[rater]
    y = y + rng.normal(0, 0.4, 90) + rng.normal(0, 0.3, 30)[variant]
    X = np.column_stack([np.ones(90), x[variant]])
    groupings = [
        Grouping("variant", variant, 30),
        Grouping("rater", rater, 3),
        Grouping("session", variant // 5, 6),
        Grouping("unit", variant // 6, 5),
    ]
    model = fit_reml(Crossproducts(X, y - y.mean(), groupings))
    assert model.sd_of("unit") == 0.0
    assert model.sd_of("variant") == pytest.approx(0.27284, abs=5e-5)
    assert model.sd_of("session") == pytest.approx(0.07566, abs=5e-5)
    assert model.sd_of("rater") == pytest.approx(0.16823, abs=5e-5)
    df = satterthwaite(model, np.eye(7))
    np.testing.assert_allclose(
        df, [3.381087, 22.972755, 22.321222, 22.994645, 21.196213, 22.999716, 21.838527], rtol=0.01
    )


def test_a_perfect_fit_has_a_result():
    """Observations without any scatter end neither in a warning nor in a failure."""
    X, _, groupings = _simulated(1)
    model = fit_reml(Crossproducts(X, X @ np.array([1.0, 2.0, 3.0]), groupings))
    np.testing.assert_allclose(model.coefficients, [1, 2, 3], atol=1e-5)
    assert model.sigma < 1e-4


def test_scatter_held_off_zero_stays_off_zero():
    """Chung et al. (2013): the penalised estimate is never at zero, and near the plain one where that is clear."""
    X, y, groupings = _simulated(4)
    plain = fit_reml(Crossproducts(X, y, groupings))
    held = fit_reml(Crossproducts(X, y, groupings), off_zero=True)
    assert held.sd_of("variant") > 0
    assert held.sd_of("variant") == pytest.approx(plain.sd_of("variant"), rel=0.35)


def _units(n_units: int, seed: int, sd: float) -> tuple[np.ndarray, np.ndarray, list[Grouping]]:
    """Four readings of each unit; the second column of X is what only a rebuild changes."""
    rng = np.random.default_rng(seed)
    unit = np.repeat(np.arange(n_units), 4)
    y = sd * rng.normal(size=n_units)[unit] + rng.normal(size=len(unit))
    return np.column_stack([np.ones(len(unit)), (unit % 2) - 0.5]), y, [Grouping("unit", unit, n_units)]


@pytest.mark.parametrize("scale", [1.0, 6.0])
@pytest.mark.parametrize("n_units", [2, 3, 12])
def test_scatter_of_sessions_has_a_half_cauchy_prior(n_units: int, scale: float):
    """The optimum of the textbook criterion and minus twice the log density of log theta, by a search along a line."""
    X, y, groupings = _units(n_units, 2, 1.0)
    X, groupings = X[:, :1], [Grouping("session", groupings[0].index, n_units)]
    model = fit_reml(Crossproducts(X, y, groupings), off_zero=True, expected={"session": Bounded(scale)})

    def penalised(log_theta: float) -> float:
        theta = np.exp([log_theta])
        return _dense_deviance(X, y, groupings, theta) - 2 * (halfcauchy.logpdf(theta[0], scale=scale) + log_theta)

    found = minimize_scalar(penalised, bounds=(-6.0, 6.0), method="bounded", options={"xatol": 1e-8})
    assert np.log(model.theta[0][0, 0]) == pytest.approx(found.x, abs=2e-3)


def test_two_sessions_far_apart_are_not_taken_for_anything_whatever():
    """Two groups tell one difference. Without a bound above, its ratio ran off to the end of the search."""
    rng = np.random.default_rng(1)
    session = np.repeat([0, 1], 8)
    y = 10.0 * session + rng.standard_normal(16)
    products = Crossproducts(np.ones((16, 1)), y, [Grouping("session", session, 2)])
    held = fit_reml(products, off_zero=True, expected={"session": Bounded()}).theta[0][0, 0] ** 2
    plain = fit_reml(products).theta[0][0, 0] ** 2
    assert 0.2 * plain < held < 1.5 * plain


@pytest.mark.parametrize("expected", [0.01, 0.0625, 1.0])
def test_scatter_that_nothing_tells_of_is_what_is_expected(expected: float):
    """Two units, each with its own setting: the setting takes their difference up, and the criterion is flat."""
    X, y, groupings = _units(2, 1, 3.0)
    model = fit_reml(Crossproducts(X, y, groupings), off_zero=True, with_df=False, expected={"unit": expected})
    assert model.theta[0][0, 0] ** 2 == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("n_units", [3, 6, 30])
def test_expected_scatter_is_a_rayleigh_prior(n_units: int):
    """The optimum of the textbook criterion and minus twice the log density, by a search along a line."""
    X, y, groupings = _units(n_units, 2, 1.0)
    expected = 0.0625
    model = fit_reml(Crossproducts(X, y, groupings), off_zero=True, expected={"unit": expected})

    def penalised(theta: float) -> float:
        return _dense_deviance(X, y, groupings, np.array([theta])) - 2 * rayleigh.logpdf(theta, scale=expected**0.5)

    found = minimize_scalar(penalised, bounds=(1e-6, 10.0), method="bounded", options={"xatol": 1e-7})
    assert model.theta[0][0, 0] == pytest.approx(found.x, rel=1e-3)


def test_many_units_overrule_what_is_expected():
    X, y, groupings = _units(200, 3, 2.0)
    model = fit_reml(Crossproducts(X, y, groupings), off_zero=True, expected={"unit": 0.0625})
    assert model.theta[0][0, 0] == pytest.approx(2.0, rel=0.25)


def test_derivatives_by_differences_are_exact_for_a_cubic():
    """x^3 + 2 x y - y^2 at (1, 2): gradient (7, -2), second derivatives 6, 2 and -2."""
    gradient, hessian = _derivatives(
        lambda at: at[0] ** 3 + 2 * at[0] * at[1] - at[1] ** 2, np.array([1.0, 2.0]), np.array([1.0, 3.0])
    )
    np.testing.assert_allclose(gradient, [7.0, -2.0], atol=1e-9)
    np.testing.assert_allclose(hessian, [[6.0, 2.0], [2.0, -2.0]], atol=1e-7)


def test_a_newton_step_out_of_the_world_is_not_taken():
    """Where the criterion is flat a step can be huge; then the system has no factor any more, and the search's end stands."""
    products = Crossproducts(*_simulated(1))
    theta = fit_reml(products).theta
    end = np.array([factor[0, 0] for factor in theta])
    for far in (2e8, 1e12, np.nan, -0.1):
        assert not _is_no_worse(products, np.where(np.arange(3) == 1, far, end), end)
    assert _is_no_worse(products, end, end)
    with pytest.raises(np.linalg.LinAlgError):
        products.profiled(np.where(np.arange(3) == 1, 1e100, end))  # how far is enough depends on how a machine rounds


@pytest.mark.parametrize("scatter", [0.0, 1e-9, 1e-5, 1e-3])
@pytest.mark.parametrize("n_readings", [2, 3])
@pytest.mark.parametrize("off_zero", [False, True])
def test_replicates_that_are_equal_leave_all_scatter_to_the_builds(scatter: float, n_readings: int, off_zero: bool):
    """A balanced one-way layout, closed form: the variance of the groups is that of their means, less that of a mean.

    The weak penalty that holds it off zero makes it (n - 1) / (n - 2) times as large for n groups, the mode of what it leaves.
    """
    rng = np.random.default_rng(3)
    own = rng.normal(0, 0.5, 12)
    y = np.repeat(own, n_readings) + scatter * rng.standard_normal(12 * n_readings)
    grouping = Grouping("variant", np.repeat(np.arange(12), n_readings), 12)
    found = fit_reml(Crossproducts(np.ones((len(y), 1)), y, [grouping]), off_zero=off_zero)
    expected = np.var(y.reshape(12, -1).mean(axis=1), ddof=1) * (11 / 10 if off_zero else 1.0)
    assert found.variance_of("variant")[0, 0] == pytest.approx(expected, rel=0.02)
    assert found.sigma < 2 * scatter + 0.001


@pytest.mark.parametrize("scale", [1e-9, 1e-5, 1e-2, 1e5])
def test_degrees_of_freedom_do_not_depend_on_the_unit(scale: float):
    X, y, groupings = _simulated(2)
    contrast = np.array([[0.0, 1.0, 0.0]])
    plain, scaled = (satterthwaite(fit_reml(Crossproducts(X, one, groupings)), contrast) for one in (y, scale * y))
    np.testing.assert_allclose(scaled, plain, rtol=1e-3)
