"""Variance components by restricted maximum likelihood, for any crossed or nested groupings with few levels each.

The criterion is the profiled REML deviance of Bates, Maechler, Bolker & Walker (2015, J. Stat. Softw. 67, 1, sec. 3.4),
evaluated from cross-products: the largest simple grouping is eliminated level by level, the rest by one small Cholesky
factorisation, so the cost of a step does not depend on the number of readings. A component at zero is an ordinary result.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import optimize

from doe.model.patience import checkpoint

Array = npt.NDArray[Any]

_CHUNK = 50_000
_FLOOR = 1e-14
_LEAST_RATIO, _MOST_RATIO = 1e-7, 1e8
_STEEP, _FAR = 1e3, 1e6
"""Ratios beyond which the search goes on over their logs, since slopes fade with the ratio, and beyond which readings are taken
for equal."""
_LEAST_WITHIN = 1e-7
"""Share of all squares that is taken to be the readings' own where they are equal to the last digit."""
_FIRST_RATIO = 0.1
"""Where the search over variance ratios starts."""

HELD_OFF_ZERO = frozenset({"variant", "session"})


@dataclass(frozen=True, slots=True)
class Bounded:
    """What to expect of a source that is to be held off infinity, and of which nothing else is known.

    Attributes
    ----------
    scale : float
        Median of its standard deviation, over that of readings.
    """

    scale: float = 1.0


Expected = float | Bounded


@dataclass(frozen=True, slots=True)
class Grouping:
    """One source of scatter: every group has an offset of its own.

    Attributes
    ----------
    name : str
        Such as ``"session"``.
    index : ndarray of int, shape (n_rows,)
        Group of each row, from 0.
    size : int
        Number of groups.
    covariates : ndarray of shape (n_rows, n_offsets) or None
        What the offsets are multiplied by; None for plain offsets. Several columns may be correlated.
    """

    name: str
    index: npt.NDArray[np.intp]
    size: int
    covariates: Array | None = None

    @property
    def width(self) -> int:
        """Offsets per group."""
        return 1 if self.covariates is None else self.covariates.shape[1]

    @property
    def n_parameters(self) -> int:
        """Elements of the lower triangle of the relative covariance factor."""
        return self.width * (self.width + 1) // 2


@dataclass(frozen=True, slots=True)
class Reml:
    """A fitted mixed model.

    Attributes
    ----------
    names : tuple of str
        Names of the groupings.
    theta : tuple of ndarray
        Per grouping the relative covariance factor, shape (n_offsets, n_offsets), in units of the residual sd.
    sigma : float
        Residual standard deviation, in outcome units.
    coefficients : ndarray of shape (n_columns,)
        Fixed effects.
    covariance : ndarray of shape (n_columns, n_columns)
        Their covariance, given the variance components.
    deviance : float
        REML criterion at the optimum (minus twice the restricted log-likelihood).
    df_parameters : ndarray of shape (n_free, n_free)
        Covariance of the free variance parameters (interior theta, then sigma).
    gradients : ndarray of shape (n_free, n_columns, n_columns)
        Derivative of `covariance` by each free variance parameter.
    """

    names: tuple[str, ...]
    theta: tuple[Array, ...]
    sigma: float
    coefficients: Array
    covariance: Array
    deviance: float
    df_parameters: Array
    gradients: Array

    def variance_of(self, name: str) -> Array:
        """Covariance matrix of the offsets of one grouping, in squared outcome units; zeros if it was not fitted."""
        if name not in self.names:
            return np.zeros((1, 1))
        factor = self.theta[self.names.index(name)] * self.sigma
        return np.asarray(factor @ factor.T)

    def sd_of(self, name: str) -> float:
        """Return the standard deviation of the first offset of one grouping, in outcome units."""
        return float(np.sqrt(self.variance_of(name)[0, 0]))


@dataclass(frozen=True, slots=True)
class Solved:
    """The augmented system, factorised at some theta.

    Attributes
    ----------
    log_determinant : float
        Of the random part.
    rss : float
        Penalised residual sum of squares.
    lower : ndarray of shape (n_random + n_columns + 1, n_random + n_columns + 1)
        Factor of offsets (the eliminated ones excepted), fixed effects and observations.
    cross : ndarray of shape (n_groups, n_random + n_columns + 1)
        Products of the eliminated grouping with the scaled columns.
    diagonal : ndarray of shape (n_groups,)
        Diagonal of the eliminated grouping.
    n_random : int
        Offsets in `lower`.
    """

    log_determinant: float
    rss: float
    lower: Array
    cross: Array
    diagonal: Array
    n_random: int

    @property
    def fixed(self) -> Array:
        """Factor of the fixed effects, shape (n_columns, n_columns)."""
        return self.lower[self.n_random : -1, self.n_random : -1]

    @property
    def log_fixed(self) -> float:
        """Log determinant of the fixed part."""
        return float(2.0 * np.log(np.diag(self.fixed)).sum())


class Crossproducts:
    """Sums of products of all columns; all that the criterion needs of the rows.

    Parameters
    ----------
    X : ndarray of shape (n_rows, n_columns)
        Fixed effects, of full column rank.
    y : ndarray of shape (n_rows,)
        Cell means, best with a location near zero.
    groupings : sequence of Grouping
        Sources of scatter.
    counts : ndarray of shape (n_rows,), optional
        Readings behind each row.
    within : float
        Sum of squares of the readings about the rows' means.
    """

    def __init__(
        self,
        X: Array,
        y: Array,
        groupings: Sequence[Grouping],
        counts: Array | None = None,
        within: float = 0.0,
    ) -> None:
        counts = np.ones(len(y)) if counts is None else counts
        simple = [grouping for grouping in groupings if grouping.covariates is None]
        self.first = max(simple, key=lambda grouping: grouping.size, default=None)
        self.rest = [grouping for grouping in groupings if grouping is not self.first]
        self.groupings = ([self.first] if self.first else []) + self.rest
        self.triangles = [np.tril_indices(grouping.width) for grouping in self.groupings]
        self.is_plain = all(grouping.width == 1 for grouping in self.groupings)
        self.owners = np.repeat(np.arange(len(self.rest)), [grouping.size for grouping in self.rest])
        self.n_fixed = X.shape[1]
        self.n_random = sum(grouping.size * grouping.width for grouping in self.rest)
        self.n_readings = float(counts.sum())
        self.within = within
        width = self.n_random + self.n_fixed + 1
        self.inner = np.zeros((width, width))
        size = self.first.size if self.first else 0
        self.weights, self.cross = np.zeros(size), np.zeros((size, width))
        for start in range(0, len(y), _CHUNK):
            self._add(slice(start, start + _CHUNK), X, y, counts)

    def _add(self, rows: slice, X: Array, y: Array, counts: Array) -> None:
        block = np.hstack([*(_indicators(grouping, rows) for grouping in self.rest), X[rows], y[rows, None]])
        weighted = block * counts[rows, None]
        self.inner += block.T @ weighted
        if self.first is not None:
            index = self.first.index[rows]
            self.weights += np.bincount(index, counts[rows], self.first.size)
            order = np.argsort(index, kind="stable")
            groups, starts = np.unique(index[order], return_index=True)
            self.cross[groups] += np.add.reduceat(weighted[order], starts, axis=0)

    def with_least_scatter(self) -> Crossproducts:
        """Return the same with some scatter of readings at least.

        Where replicates are equal the ratio of builds to readings has no top, and at the bound of the search the scatter of
        builds would be divided by the degrees of freedom of all readings.
        """
        held = copy(self)
        replicates = 1.0 - max(grouping.size for grouping in self.groupings) / self.n_readings
        held.within += _LEAST_WITHIN * max(replicates, 0.0) * float(self.inner[-1, -1])
        return held

    @property
    def n_parameters(self) -> int:
        """Number of variance parameters beside sigma."""
        return sum(grouping.n_parameters for grouping in self.groupings)

    def factors(self, theta: Array) -> list[Array]:
        """Split a flat parameter vector into one lower-triangular factor per grouping."""
        factors, start = [], 0
        for grouping, triangle in zip(self.groupings, self.triangles, strict=True):
            factor = np.zeros((grouping.width, grouping.width))
            factor[triangle] = theta[start : start + grouping.n_parameters]
            start += grouping.n_parameters
            factors.append(factor)
        return factors

    def diagonal_places(self) -> npt.NDArray[np.bool_]:
        """Mark the parameters on a diagonal, which cannot be negative."""
        marks = []
        for grouping in self.groupings:
            rows, columns = np.tril_indices(grouping.width)
            marks.append(rows == columns)
        return np.concatenate(marks) if marks else np.zeros(0, dtype=bool)

    def solve(self, theta: Array) -> Solved:
        """Factorise the augmented system at `theta`."""
        checkpoint()
        inner, cross, log_determinant, diagonal = self.inner, self.cross, 0.0, np.ones(0)
        if self.n_random:
            inner, cross = self._scaled(theta)
        if self.first is not None:
            square = theta[0] ** 2
            diagonal = square * self.weights + 1.0
            log_determinant += float(np.log(diagonal).sum())
            inner = inner - cross.T @ (cross * (square / diagonal)[:, None])
        inner = inner.copy() if inner is self.inner else inner
        inner[-1, -1] += _FLOOR * self.inner[-1, -1] + 1e-300  # a perfect fit has a factor too
        lower = np.linalg.cholesky(inner)
        logs = np.log(np.diag(lower))
        log_determinant += 2.0 * float(logs[: self.n_random].sum())
        rss = float(lower[-1, -1] ** 2) + self.within
        return Solved(log_determinant, rss, lower, cross, diagonal, self.n_random)

    def _scaled(self, theta: Array) -> tuple[Array, Array]:
        """Put the offsets' columns on the scale on which they have unit variance, and add that variance."""
        places, skipped = np.arange(self.n_random), 0 if self.first is None else 1
        if self.is_plain:
            scale = np.ones(len(self.inner))
            scale[: self.n_random] = theta[skipped:][self.owners]
            inner, cross = self.inner * np.outer(scale, scale), self.cross * scale
        else:
            wide = np.eye(len(self.inner))
            wide[: self.n_random, : self.n_random] = self._block_scale(self.factors(theta)[skipped:])
            inner, cross = wide.T @ self.inner @ wide, self.cross @ wide
        inner[places, places] += 1.0
        return inner, cross

    def _block_scale(self, factors: list[Array]) -> Array:
        """Block-diagonal matrix of the relative covariance factors."""
        scale = np.zeros((self.n_random, self.n_random))
        start = 0
        for grouping, factor in zip(self.rest, factors, strict=True):
            for row, column in zip(*np.tril_indices(grouping.width), strict=True):
                places = start + np.arange(grouping.size) * grouping.width
                scale[places + row, places + column] = factor[row, column]
            start += grouping.size * grouping.width
        return scale

    @property
    def df(self) -> float:
        """Readings less fixed effects."""
        return float(self.n_readings - self.n_fixed)

    def profiled(self, theta: Array) -> float:
        """Profiled REML deviance at `theta`."""
        return self._profiled(self.solve(theta))

    def _profiled(self, solved: Solved) -> float:
        logs = solved.log_determinant + solved.log_fixed
        return float(logs + self.df * (1.0 + np.log(2.0 * np.pi * solved.rss / self.df)))

    def profiled_with_slope(self, ratios: Array) -> tuple[float, Array]:
        """Profiled deviance and its gradient by the variance ratios (theta squared); plain or one-covariate groupings only.

        The gradient is ``(q - tr C) / ratio - u'u / (ratio sigma^2)`` per grouping, with C the groupings' block of the
        inverse and u the predicted offsets on their unit scale (Searle, Casella & McCulloch, Variance Components, 1992, ch. 7).
        """
        theta = np.sqrt(ratios)
        solved = self.solve(theta)
        lower_inverse = np.linalg.inv(solved.lower[:-1, :-1])
        inverse = lower_inverse.T @ lower_inverse
        solution = lower_inverse.T @ solved.lower[-1, :-1]
        kept, squares = np.diag(inverse)[: self.n_random], solution[: self.n_random] ** 2
        traces, lengths, start = [], [], 0
        if self.first is not None:
            scaled = solved.cross * (theta[0] / solved.diagonal)[:, None]
            offsets = scaled[:, -1] - scaled[:, :-1] @ solution
            spread = (scaled[:, :-1] @ inverse) * scaled[:, :-1]
            traces.append(float((1.0 / solved.diagonal).sum() + spread.sum()))
            lengths.append(float(offsets @ offsets))
        for grouping in self.rest:
            traces.append(float(kept[start : start + grouping.size].sum()))
            lengths.append(float(squares[start : start + grouping.size].sum()))
            start += grouping.size
        sizes = np.array([grouping.size for grouping in self.groupings], dtype=float)
        slope = (sizes - np.array(traces) - np.array(lengths) * self.df / solved.rss) / ratios
        return self._profiled(solved), np.asarray(slope)

    def deviance(self, parameters: Array) -> float:
        """REML deviance at theta and sigma, not profiled."""
        solved, sigma = self.solve(parameters[:-1]), parameters[-1]
        logs = solved.log_determinant + solved.log_fixed
        return float(logs + self.df * np.log(2.0 * np.pi * sigma**2) + solved.rss / sigma**2)

    def covariance(self, parameters: Array) -> Array:
        """Covariance of the fixed effects at theta and sigma."""
        inverse = np.linalg.inv(self.solve(parameters[:-1]).fixed)
        return np.asarray(parameters[-1] ** 2 * inverse.T @ inverse)


def fit_reml(
    products: Crossproducts,
    *,
    off_zero: bool = False,
    with_df: bool = True,
    expected: Mapping[str, Expected] | None = None,
) -> Reml:
    """Estimate the variance components and the fixed effects.

    Parameters
    ----------
    products : Crossproducts
        The data; more readings than fixed effects.
    off_zero : bool
        Keep builds and sessions off zero by the weak penalty of Chung, Rabe-Hesketh, Dorie, Gelman & Liu (2013,
        Psychometrika 78, 685-709), minus log theta. For predictions, where scatter that happens to be estimated at zero
        would promise too much; not for classical tables.
    with_df : bool
        Whether to work out what Satterthwaite's degrees of freedom need.
    expected : mapping of str to float or Bounded, optional
        Name of a grouping -> its variance to expect, over that of readings: where they tell nothing, that is the estimate, and
        much more has to be shown by them. A Rayleigh prior on its relative standard deviation with the mode there: the
        penalty of `off_zero` with a scale of its own. `Bounded` holds the scatter off infinity only, by the mirror image of
        that penalty above its scale: together the half-Cauchy prior of Gelman (2006, Bayesian Analysis 1, 515-534) on
        theta, the mode taken on the log scale; two sessions alone say next to nothing against any ratio, however
        large. Only with `off_zero`, and plain groupings.

    Returns
    -------
    Reml
    """
    theta = _optimum(products, off_zero, expected or {}, is_polished=with_df)
    if len(theta) and np.abs(theta).max() > math.sqrt(_FAR):
        products = products.with_least_scatter()
        theta = _optimum(products, off_zero, expected or {}, is_polished=with_df)
    solved = products.solve(theta)
    sigma = float(np.sqrt(solved.rss / products.df))
    inverse = np.linalg.inv(solved.fixed)
    coefficients = inverse.T @ solved.lower[-1, solved.n_random : -1]
    parameters = np.append(theta, sigma)
    df_parameters, gradients = (
        _uncertainty(products, parameters) if with_df else (np.zeros((0, 0)), np.zeros((0, 0, 0)))
    )
    return Reml(
        names=tuple(grouping.name for grouping in products.groupings),
        theta=tuple(products.factors(theta)),
        sigma=sigma,
        coefficients=coefficients,
        covariance=sigma**2 * inverse.T @ inverse,
        deviance=products.profiled(theta),
        df_parameters=df_parameters,
        gradients=gradients,
    )


def _indicators(grouping: Grouping, rows: slice) -> Array:
    index = grouping.index[rows]
    covariates = np.ones((len(index), 1)) if grouping.covariates is None else grouping.covariates[rows]
    block = np.zeros((len(index), grouping.size, grouping.width))
    block[np.arange(len(index)), index] = covariates
    return block.reshape(len(index), -1)


def _optimum(products: Crossproducts, off_zero: bool, expected: Mapping[str, Expected], *, is_polished: bool) -> Array:
    if products.n_parameters == 0:
        return np.zeros(0)
    if products.is_plain:
        theta = _searched_ratios(products, off_zero, expected, is_polished=is_polished)
        if off_zero:
            return theta
        is_free = theta > 0
    else:
        theta = _searched_factors(products)
        is_free = (theta != 0) | ~products.diagonal_places()
    return _polished(products, theta, is_free) if is_polished else theta


def _searched_ratios(
    products: Crossproducts, off_zero: bool, expected: Mapping[str, Expected], *, is_polished: bool
) -> Array:
    """Search over variance ratios, where the criterion has a slope at zero; ratios that end there are zero.

    Draws need no digits beyond the fourth; what is polished afterwards starts from as many as there are.
    """
    names = [grouping.name for grouping in products.groupings]
    held = np.array([float(off_zero and (name in HELD_OFF_ZERO or name in expected)) for name in names])
    wanted = [expected.get(name) if off_zero else None for name in names]
    pull = np.array([1.0 / one if isinstance(one, float) else 0.0 for one in wanted])
    bounded = np.array([float(isinstance(one, Bounded)) for one in wanted])
    scale = np.array([one.scale**2 if isinstance(one, Bounded) else 1.0 for one in wanted])

    def criterion(ratios: Array) -> tuple[float, Array]:
        value, slope = products.profiled_with_slope(ratios)
        value += float(pull @ ratios - held @ np.log(ratios) + 2.0 * bounded @ np.log1p(ratios / scale))
        return value, slope + pull - held / ratios + 2.0 * bounded / (scale + ratios)

    found = optimize.minimize(
        criterion,
        np.full(products.n_parameters, _FIRST_RATIO),
        jac=True,
        method="L-BFGS-B",
        bounds=[(_LEAST_RATIO, _MOST_RATIO)] * products.n_parameters,
        options={"ftol": 1e-11, "gtol": 1e-6} if is_polished else {"ftol": 1e-8, "gtol": 1e-4},
    )
    ratios = np.asarray(found.x, dtype=float)
    if ratios.max() > _STEEP:
        ratios = _searched_logs(criterion, ratios)
    return np.where(ratios > 10 * _LEAST_RATIO, np.sqrt(ratios), 0.0)


def _searched_logs(criterion: Callable[[Array], tuple[float, Array]], ratios: Array) -> Array:
    """Search on from where the search over ratios stopped, over the logs of those that are not zero."""
    free = np.flatnonzero(ratios > 10 * _LEAST_RATIO)

    def by_logs(logs: Array) -> tuple[float, Array]:
        trial = ratios.copy()
        trial[free] = np.exp(logs)
        value, slope = criterion(trial)
        return value, slope[free] * trial[free]

    bounds = [(math.log(_LEAST_RATIO), math.log(_MOST_RATIO))] * len(free)
    found = optimize.minimize(by_logs, np.log(ratios[free]), jac=True, method="L-BFGS-B", bounds=bounds)
    result = ratios.copy()
    result[free] = np.exp(found.x)
    return result


def _searched_factors(products: Crossproducts) -> Array:
    """Search over relative covariance factors, for correlated offsets."""
    is_diagonal = products.diagonal_places()
    first = np.where(is_diagonal, 1.0, 0.0)
    bounds = [(0.0, 1e4) if diagonal else (-1e4, 1e4) for diagonal in is_diagonal]
    found = optimize.minimize(products.profiled, first, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-11})
    theta = np.asarray(found.x, dtype=float)
    return np.where(is_diagonal & (theta < 1e-4), 0.0, theta)


def _polished(products: Crossproducts, theta: Array, is_free: npt.NDArray[np.bool_], rounds: int = 2) -> Array:
    """Newton steps on the interior parameters; the quasi-Newton search stops a few digits short."""
    free = np.flatnonzero(is_free)
    for _ in range(rounds if len(free) else 0):

        def criterion(values: Array, base: Array = theta) -> float:
            trial = base.copy()
            trial[free] = values
            return products.profiled(trial)

        gradient, hessian = _derivatives(criterion, theta[free], _sizes(theta[free]))
        try:
            step = np.linalg.solve(hessian, gradient)
        except np.linalg.LinAlgError:
            return theta
        trial = theta.copy()
        trial[free] = theta[free] - step
        if not _is_no_worse(products, trial, theta):
            return theta
        theta = trial
    return theta


def _is_no_worse(products: Crossproducts, trial: Array, theta: Array) -> bool:
    if not np.all(np.isfinite(trial)) or np.any(trial[products.diagonal_places()] < 0):
        return False
    try:
        return products.profiled(trial) <= products.profiled(theta) + 1e-9
    except np.linalg.LinAlgError:  # a step so far out that the system has no factor any more
        return False


def _derivatives(function: object, x: Array, sizes: Array, relative: float = 2e-3) -> tuple[Array, Array]:
    """Gradient and Hessian by central differences, in steps of a share of `sizes`."""
    call = function
    assert callable(call)
    steps = relative * sizes
    count = len(x)
    centre = call(x)
    gradient, hessian = np.zeros(count), np.zeros((count, count))
    shifts = np.diag(steps)
    for a in range(count):
        up, down = call(x + shifts[a]), call(x - shifts[a])
        up2, down2 = call(x + shifts[a] / 2), call(x - shifts[a] / 2)
        wide, narrow = (up - down) / (2 * steps[a]), (up2 - down2) / steps[a]
        gradient[a] = (4 * narrow - wide) / 3
        wide = (up - 2 * centre + down) / steps[a] ** 2
        narrow = (up2 - 2 * centre + down2) / (steps[a] / 2) ** 2
        hessian[a, a] = (4 * narrow - wide) / 3
        for b in range(a):
            corners = (
                call(x + shifts[a] + shifts[b])
                - call(x + shifts[a] - shifts[b])
                - call(x - shifts[a] + shifts[b])
                + call(x - shifts[a] - shifts[b])
            )
            hessian[a, b] = hessian[b, a] = corners / (4 * steps[a] * steps[b])
    return gradient, hessian


def _sizes(theta: Array) -> Array:
    """Sizes to take steps by: ratios near zero are told apart on the scale of a twentieth of a reading's scatter."""
    return np.maximum(np.abs(theta), 0.05)


def _uncertainty(products: Crossproducts, parameters: Array) -> tuple[Array, Array]:
    """Covariance of the interior variance parameters, and how the fixed effects' covariance moves with them."""
    is_free = np.append((parameters[:-1] != 0) | ~products.diagonal_places(), True)
    free = np.flatnonzero(is_free)
    sizes = np.append(_sizes(parameters[:-1]), parameters[-1])[free]  # sigma is in outcome units, whatever these are

    def placed(values: Array) -> Array:
        trial = parameters.copy()
        trial[free] = values
        return trial

    _, hessian = _derivatives(lambda values: products.deviance(placed(values)), parameters[free], sizes)
    gradients = []
    for place in range(len(free)):
        step = np.zeros(len(free))
        step[place] = 1e-4 * sizes[place]
        up, down = (products.covariance(placed(parameters[free] + sign * step)) for sign in (1.0, -1.0))
        gradients.append((up - down) / (2 * step[place]))
    together = np.outer(sizes, sizes)  # or else rounding is judged by the parameter with the steepest slope
    return 2.0 * together * np.linalg.pinv(hessian * together, hermitian=True), np.array(gradients)
