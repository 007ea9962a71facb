"""Which terms are active: Bayesian model averaging over sparse models with effect heredity.

Each model holds a set of terms. Its coefficients have independent normal priors with standard deviation gamma times the
scatter, the mean is flat, the scatter has the prior 1/sigma; the evidence is then closed (Box & Meyer 1993, J. Qual. Technol.
25, 94-105; Chipman 1996; O'Hagan & Forster, Bayesian Inference, 2nd ed. 2004, ch. 11):

    p(y | M, gamma) ~ gamma**-k |X'X + I / gamma**2|**-1/2 (S + S0)**-(n - 1 + df0)/2,   S = y'y - b'(X'X + I / gamma**2) b

Models are factorised many at a time, element by element over the batch, from the Gram matrix alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import betaln, logsumexp

from doe.coding import Term
from doe.fit.priors import Prior
from doe.fit.whiten import Problem

Array = npt.NDArray[Any]

BEAM = 150
LARGEST = 8
EXHAUSTIVE = 4_000
_KEPT_MASS = 1 - 1e-5
_KEPT_MODELS = 300
_KEPT_PER_TERM = 6
_LEADING = 1_500


@dataclass(frozen=True, slots=True)
class Posterior:
    """The models that matter, with everything that follows in closed form.

    Attributes
    ----------
    problem : Problem
        What was searched.
    included : ndarray of bool, shape (n_models, n_terms)
        Terms of each model.
    scales : ndarray of shape (n_models,)
        Prior scale gamma of each; the same set of terms appears once per scale.
    weights : ndarray of shape (n_models,)
        Posterior probabilities, adding to 1; most probable first.
    coefficients : ndarray of shape (n_models, n_columns)
        Posterior means, in outcome units per column of equal prior; 0 where absent.
    columns : ndarray of int, shape (n_models, n_most)
        Columns of each model, padded with the number of columns.
    covariances : ndarray of shape (n_models, n_most, n_most)
        Posterior scale matrices of the t distributions over `columns`, in squared outcome units; 0 where padded.
    variances : ndarray of shape (n_models,)
        Posterior scale of the row variance, in squared outcome units.
    df : float
        Degrees of freedom of the t distributions.
    activity : ndarray of shape (n_terms,)
        Probability that each term is active, over all models visited.
    covered : float
        Estimated share of the posterior mass that the visited models hold.
    n_visited : int
        Sets of terms whose evidence was computed.
    is_exhaustive : bool
        Whether all models up to the size limit were visited.
    sensitivity : ndarray of shape (n_scales, n_terms)
        Activity under each prior scale alone.
    log_evidence : float
        Log of the evidence of all visited models together; comparable between searches of the same values.
    """

    problem: Problem
    included: npt.NDArray[np.bool_]
    scales: Array
    weights: Array
    coefficients: Array
    columns: npt.NDArray[np.intp]
    covariances: Array
    variances: Array
    df: float
    activity: Array
    covered: float
    n_visited: int
    is_exhaustive: bool
    sensitivity: Array
    log_evidence: float


class Search:
    """A search over sets of terms for one whitened problem.

    Parameters
    ----------
    problem : Problem
        Whitened data.
    prior : Prior
        Beliefs.
    floor : float
        Sum of squares added for what replicate readings say about the least scatter, in squared outcome units.
    """

    def __init__(self, problem: Problem, prior: Prior, floor: float = 0.0) -> None:
        self.problem, self.prior = problem, prior
        self.n_terms = len(problem.terms)
        places = {term: place for place, term in enumerate(problem.terms)}
        self.parents = np.zeros((self.n_terms, self.n_terms), dtype=bool)
        for place, term in enumerate(problem.terms):
            for parent in term.parents:
                if parent in places:
                    self.parents[place, places[parent]] = True
        self.needed = self.parents.sum(axis=1) if prior.heredity == "strong" else self.parents.any(axis=1).astype(int)
        self.n_parents = self.parents.sum(axis=1)
        self._parents_float = self.parents.T.astype(np.float32)
        self.kinds = _kinds(problem.terms)
        self._kinds_float = self.kinds.T.astype(np.float32)
        self.counts = [float(n) for n in self.kinds.sum(axis=1)]
        self.log_orphan = np.log([prior.orphan, 1.0 - prior.orphan]) if prior.orphan > 0 else np.array([-np.inf, 0.0])
        self.widths = np.array(
            [problem.slices[term.name].stop - problem.slices[term.name].start for term in problem.terms]
        )
        self.starts = np.array([problem.slices[term.name].start for term in problem.terms])
        self.most_columns = max(1, min(problem.n_rows - 2, 14))
        self.df = problem.n_rows - 1 + (prior.scale_df if floor > 0 else 0.0)
        self.rest = floor
        self.scales = np.asarray(prior.scales, dtype=float)
        rng = np.random.default_rng(20_240_229)  # hash keys only; no result depends on them
        self.keys = rng.integers(1, 2**63, size=self.n_terms, dtype=np.uint64)
        n_columns = len(problem.cross)
        self.gram = np.zeros((n_columns + 2, n_columns + 2))
        self.gram[:n_columns, :n_columns] = problem.gram
        self.gram[n_columns + 1, :n_columns] = self.gram[:n_columns, n_columns + 1] = problem.cross
        self.gram[n_columns + 1, n_columns + 1] = problem.total + floor
        self.blank = n_columns
        self.least_rss = 1e-12 * self.gram[n_columns + 1, n_columns + 1] + 1e-300

    def columns_of(self, included: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
        """Column numbers of each model, padded with the blank column, shape (n_models, most)."""
        if np.all(self.widths == 1):
            sizes = included.sum(axis=1)
            most = int(sizes.max(initial=0))
            rows, terms = np.nonzero(included)
            padded = np.full((len(included), most), self.blank, dtype=np.intp)
            firsts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
            padded[rows, np.arange(len(rows)) - np.repeat(firsts, sizes)] = self.starts[terms]
            return padded
        spread = np.repeat(included, self.widths, axis=1)
        sizes = spread.sum(axis=1)
        rows, columns = np.nonzero(spread)
        padded = np.full((len(included), int(sizes.max(initial=0))), self.blank, dtype=np.intp)
        firsts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        padded[rows, np.arange(len(rows)) - np.repeat(firsts, sizes)] = columns
        return padded

    def log_evidence(self, included: npt.NDArray[np.bool_]) -> Array:
        """Log evidence of each model under each prior scale, shape (n_models, n_scales), up to a constant."""
        columns = self.columns_of(included)
        counts = (columns != self.blank).sum(axis=1)
        log_determinant, rss = batch_factorised(self.gram, columns, self.blank, 1.0 / self.scales**2)
        log_gamma = np.log(self.scales)[None, :]
        return np.asarray(-counts[:, None] * log_gamma - 0.5 * log_determinant - 0.5 * self.df * np.log(rss))

    def log_prior(self, included: npt.NDArray[np.bool_]) -> Array:
        """Log prior of each model, shape (n_models,); minus infinity where heredity is broken.

        Within each kind of term the number of active ones among those that heredity allows is beta-binomial, so the prior
        learns from the clear effects how common effects are (Scott & Berger 2010, Ann. Statist. 38, 2587-2619).
        """
        present = included.astype(np.float32) @ self._parents_float
        is_full = present == self.n_parents
        counts = (is_full.astype(np.float32) @ self._kinds_float).astype(float)
        active = ((is_full & included).astype(np.float32) @ self._kinds_float).astype(float)
        total = np.zeros(len(included))
        for place, (a, b) in enumerate(self.prior.shapes(int(self.counts[0]))):
            mine = active[:, place]
            total += betaln(a + mine, b + counts[:, place] - mine) - betaln(a, b)
        if self.prior.heredity == "strong":
            return np.where((included & ~is_full).any(axis=1), -np.inf, total)
        is_orphan = ~is_full & (present > 0)
        total += (is_orphan & included).sum(axis=1) * self.log_orphan[0]
        total += (is_orphan & ~included).sum(axis=1) * self.log_orphan[1]
        return np.where((included & ~is_full & ~is_orphan).any(axis=1), -np.inf, total)

    def additions(self, included: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
        """Models and terms that heredity allows to be added to them, each resulting set once."""
        present = included.astype(np.float32) @ self._parents_float
        can_add = ~included & (present >= self.needed)
        sizes = included @ self.widths
        can_add &= (sizes[:, None] + self.widths[None, :]) <= self.most_columns
        rows, terms = np.nonzero(can_add)
        _, first = np.unique(self.hashes(included)[rows] + self.keys[terms], return_index=True)
        return rows[first], terms[first]

    def grown(self, included: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.bool_], Array]:
        """All models with one term more, each once, and their log posteriors by scale, shape (n_grown, n_scales).

        A child's factor is its parent's with one block more, so only the parents are inverted: with A the parent's ridge
        system, the added columns have the pivot block ``P = G_tt + ridge - G_t' A^-1 G_t`` and lower the residual sum by
        ``r' P^-1 r``, ``r = c_t - G_t' A^-1 c``.
        """
        rows, terms = self.additions(included)
        if len(rows) == 0:
            return np.zeros((0, self.n_terms), dtype=bool), np.zeros((0, len(self.scales)))
        models = included[rows]
        models[np.arange(len(rows)), terms] = True
        evidence = np.empty((len(rows), len(self.scales)))
        columns = self.columns_of(included)
        counts = (columns != self.blank).sum(axis=1)
        beside = self.gram[columns][:, :, : self.blank]
        right = self.gram[self.blank + 1][columns]
        for place, gamma in enumerate(self.scales):
            ridge = 1.0 / gamma**2
            log_determinant, rss, solved, residual = self._parents_solved(columns, beside, right, ridge)
            for width in np.unique(self.widths[terms]):
                mine = self.widths[terms] == width
                at = self.starts[terms[mine], None] + np.arange(width)
                parent = rows[mine]
                log_pivot, drop = _added_block(self.gram, beside, solved, residual, parent, at, ridge)
                evidence[mine, place] = (
                    -(counts[parent] + width) * np.log(gamma)
                    - 0.5 * (log_determinant[parent] + log_pivot)
                    - 0.5 * self.df * np.log(np.maximum(rss[parent] - drop, self.least_rss))
                )
        return models, self.log_prior(models)[:, None] + evidence

    def _parents_solved(
        self, columns: npt.NDArray[np.intp], beside: Array, right: Array, ridge: float
    ) -> tuple[Array, Array, Array, Array]:
        """Invert the parents' ridge systems, and solve them for every column and for the values."""
        most = columns.shape[1]
        block = self.gram[columns[:, :, None], columns[:, None, :]]
        block[:, np.arange(most), np.arange(most)] += np.where(columns == self.blank, 1.0, ridge)
        lower = np.linalg.cholesky(block) if most else block
        log_determinant = 2.0 * np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1)
        inverse = np.linalg.inv(block) if most else block
        solved = inverse @ beside
        rss = self.gram[self.blank + 1, self.blank + 1] - np.einsum("mi,mij,mj->m", right, inverse, right)
        residual = self.gram[self.blank + 1, : self.blank] - np.einsum("mic,mi->mc", solved, right)
        return log_determinant, rss, solved, residual

    def hashes(self, included: npt.NDArray[np.bool_]) -> npt.NDArray[np.uint64]:
        """One number per set of terms."""
        return np.asarray((included * self.keys).sum(axis=1, dtype=np.uint64))


def _kinds(terms: Sequence[Term]) -> npt.NDArray[np.bool_]:
    """Mark main effects, interactions and curvature, shape (3, n_terms)."""
    mains = np.array([term.is_main for term in terms], dtype=bool)
    squares = np.array([term.is_square for term in terms], dtype=bool)
    return np.array([mains, ~mains & ~squares, squares])


def batch_factorised(gram: Array, columns: npt.NDArray[np.intp], blank: int, ridge: Array) -> tuple[Array, Array]:
    """Factorise many small ridge systems at once.

    Parameters
    ----------
    gram : ndarray of shape (n_columns + 2, n_columns + 2)
        Cross-products, then a blank row, then the row of products with the values.
    columns : ndarray of int, shape (n_models, n_most)
        Columns of each model, padded with `blank`.
    blank : int
        Number of the blank column.
    ridge : ndarray of shape (n_scales,)
        What is added to the diagonal under each prior scale.

    Returns
    -------
    log_determinant, rss : ndarray of shape (n_models, n_scales)
        Log determinant of ``X'X + ridge``, and the penalised residual sum of squares.
    """
    n_models, most = columns.shape
    is_blank = columns == blank
    values = blank + 1
    rows: list[list[Array]] = []
    log_determinant = np.zeros((len(ridge), n_models))
    for i in range(most):
        row: list[Array] = []
        for j in range(i):
            entry = gram[columns[:, i], columns[:, j]][None, :] - _product(row, rows[j][:j])
            row.append(entry / rows[j][j])
        pivot = gram[columns[:, i], columns[:, i]][None, :] + np.where(is_blank[:, i], 1.0, ridge[:, None])
        pivot = np.maximum(pivot - _product(row, row), 1e-12)
        log_determinant += np.log(pivot)
        row.append(np.sqrt(pivot))
        rows.append(row)
    last: list[Array] = []
    for j in range(most):
        entry = gram[values, columns[:, j]][None, :] - _product(last, rows[j][:j])
        last.append(entry / rows[j][j])
    rss = np.maximum(gram[values, values] - _product(last, last), 1e-12 * gram[values, values] + 1e-300)
    return log_determinant.T, np.broadcast_to(rss, log_determinant.shape).T


def _added_block(
    gram: Array, beside: Array, solved: Array, residual: Array, parent: npt.NDArray[np.intp], at: npt.NDArray[np.intp],
    ridge: float,
) -> tuple[Array, Array]:  # fmt: skip
    """Log determinant of the pivot block of added columns, and by how much they lower the residual sum.

    Parameters
    ----------
    parent : ndarray of int, shape (n_grown,)
    at : ndarray of int, shape (n_grown, width)
        Columns added to each.
    """
    width = at.shape[1]
    if width == 1:
        column = at[:, 0]
        explained = (beside[parent, :, column] * solved[parent, :, column]).sum(axis=1)
        pivot = np.maximum(gram[column, column] + ridge - explained, 1e-12)
        return np.log(pivot), residual[parent, column] ** 2 / pivot
    left = beside[parent[:, None], :, at]
    pivot = gram[at[:, :, None], at[:, None, :]] - left @ solved[parent[:, None], :, at].transpose(0, 2, 1)
    pivot[:, np.arange(width), np.arange(width)] += ridge + 1e-12
    r = residual[parent[:, None], at]
    return np.linalg.slogdet(pivot)[1], (r * np.linalg.solve(pivot, r[:, :, None])[:, :, 0]).sum(axis=1)


def _product(a: list[Array], b: list[Array]) -> Array | float:
    total: Array | float = 0.0
    for x, y in zip(a, b, strict=False):
        total = total + x * y
    return total


def search(problem: Problem, prior: Prior | None = None, *, floor: float = 0.0, beam: int = BEAM) -> Posterior:
    """Average over sparse models.

    Parameters
    ----------
    problem : Problem
        Whitened data with candidate terms.
    prior : Prior, optional
        Beliefs; the documented default otherwise.
    floor : float
        See `Search`.
    beam : int
        Models grown at each size where not all can be visited.

    Returns
    -------
    Posterior
    """
    engine = Search(problem, prior or Prior(), floor)
    included, scores, is_exhaustive, covered = _visited(engine, beam)
    included, scores = _with_each_term(engine, included, scores)
    weights = _normalised(scores)
    activity = np.asarray(weights.sum(axis=1) @ included)
    by_scale = _normalised_columns(scores)
    sensitivity = by_scale.T @ included
    flat = weights.ravel()
    order = _kept(flat, included, len(engine.scales))
    models, scales = np.divmod(order, len(engine.scales))
    kept = included[models]
    columns = engine.columns_of(kept)
    coefficients, covariances, rss = _moments(engine, columns, engine.scales[scales])
    variances = rss / engine.df
    return Posterior(
        problem=problem,
        included=kept,
        scales=engine.scales[scales],
        weights=flat[order] / flat[order].sum(),
        coefficients=coefficients,
        columns=columns,
        covariances=covariances * variances[:, None, None],
        variances=variances,
        df=float(engine.df),
        activity=np.minimum(activity, 1.0),
        covered=covered,
        n_visited=len(included),
        is_exhaustive=is_exhaustive,
        sensitivity=sensitivity,
        log_evidence=float(logsumexp(scores) - np.log(len(engine.scales))),
    )


def _visited(engine: Search, beam: int) -> tuple[npt.NDArray[np.bool_], Array, bool, float]:
    """Grow models size by size; returns models, log posteriors by scale, whether all were visited, mass covered."""
    current = np.zeros((1, engine.n_terms), dtype=bool)
    visited, scores = [current], [_log_posterior(engine, current)]
    is_exhaustive, n_visited = True, 1
    for _ in range(LARGEST):
        grown, score = engine.grown(current)
        if len(grown) == 0:
            break
        visited.append(grown)
        scores.append(score)
        n_visited += len(grown)
        if n_visited > EXHAUSTIVE and len(grown) > beam:
            is_exhaustive = False
            best = np.argpartition(-score.max(axis=1), beam)[:beam]
            grown = grown[best]
        current = grown
    models, score = np.concatenate(visited), np.concatenate(scores)
    if is_exhaustive:
        return models, score, True, 1.0
    return _with_neighbours(engine, models, score)


def _with_neighbours(
    engine: Search, models: npt.NDArray[np.bool_], score: Array, most: int = 40
) -> tuple[npt.NDArray[np.bool_], Array, bool, float]:
    """Look one term around the best models until nothing new weighs anything."""
    covered = 0.0
    for _ in range(3):
        best = np.argsort(-score.max(axis=1), kind="stable")[:most]
        around, fresh = _neighbours(engine, models[best])
        is_new = ~np.isin(engine.hashes(around), engine.hashes(models))
        around, fresh = around[is_new], fresh[is_new]
        if len(around) == 0:
            return models, score, False, 1.0 - 1e-6
        both = np.concatenate([score, fresh])
        gained = float(_normalised(both)[len(score) :].sum())
        models, score = np.concatenate([models, around]), both
        covered = 1.0 - gained
        if gained < 1e-3:
            break
    return models, score, False, covered


def _neighbours(engine: Search, models: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.bool_], Array]:
    """Models that differ by a dropped or a swapped term, with their log posteriors."""
    rows, terms = np.nonzero(models)
    dropped = models[rows]
    dropped[np.arange(len(rows)), terms] = False
    _, first = np.unique(engine.hashes(dropped), return_index=True)
    dropped = dropped[first]
    dropped = dropped[np.isfinite(engine.log_prior(dropped))]
    swapped, score = engine.grown(dropped)
    around, scores = np.concatenate([dropped, swapped]), np.concatenate([_log_posterior(engine, dropped), score])
    _, first = np.unique(engine.hashes(around), return_index=True)
    return around[first], scores[first]


def _with_each_term(engine: Search, models: npt.NDArray[np.bool_], score: Array) -> tuple[npt.NDArray[np.bool_], Array]:
    """Add, for each term, the best model joined by the term and its parents, so that it can be estimated if active."""
    best = models[int(np.argmax(score.max(axis=1)))]
    joined = best[None, :] | np.eye(engine.n_terms, dtype=bool) | engine.parents
    joined = joined[joined @ engine.widths <= max(engine.most_columns, int(engine.widths.max(initial=1)))]
    joined = joined[np.isfinite(engine.log_prior(joined))]
    joined = joined[~np.isin(engine.hashes(joined), engine.hashes(models))]
    _, first = np.unique(engine.hashes(joined), return_index=True)
    if len(first) == 0:
        return models, score
    joined = joined[first]
    return np.concatenate([models, joined]), np.concatenate([score, _log_posterior(engine, joined)])


def _kept(flat: Array, included: npt.NDArray[np.bool_], n_scales: int) -> npt.NDArray[np.intp]:
    """Choose the models to keep: nearly all the mass, and for each term the best models that hold it."""
    order = np.argsort(-flat, kind="stable")
    enough = int(np.searchsorted(np.cumsum(flat[order]), _KEPT_MASS)) + 1
    kept = order[: min(enough, _KEPT_MODELS)]
    leading = included[order[:_LEADING] // n_scales]
    ranks = np.cumsum(leading, axis=0, dtype=np.int32)
    first = np.flatnonzero((leading & (ranks <= _KEPT_PER_TERM)).any(axis=1))
    rare = [order[int(np.argmax(included[order // n_scales, term]))] for term in np.flatnonzero(~leading.any(axis=0))]
    extra = np.concatenate([order[first], np.array(rare, dtype=np.intp)])
    return np.concatenate([kept, np.setdiff1d(extra, kept)])


def _log_posterior(engine: Search, included: npt.NDArray[np.bool_]) -> Array:
    return engine.log_prior(included)[:, None] + engine.log_evidence(included)


def _normalised(scores: Array) -> Array:
    weights = np.exp(scores - scores.max())
    return np.asarray(weights / weights.sum())


def _normalised_columns(scores: Array) -> Array:
    weights = np.exp(scores - scores.max(axis=0))
    return np.asarray(weights / weights.sum(axis=0))


def _moments(engine: Search, columns: npt.NDArray[np.intp], scales: Array) -> tuple[Array, Array, Array]:
    """Posterior means, unscaled covariances and residual sums of squares of the kept models."""
    n_models, most = columns.shape
    block = engine.gram[columns[:, :, None], columns[:, None, :]]
    is_blank = columns == engine.blank
    block[:, np.arange(most), np.arange(most)] += np.where(is_blank, 1.0, 1.0 / scales[:, None] ** 2)
    inverse = np.linalg.inv(block) if most else block
    inverse[is_blank] = 0.0
    right = engine.gram[engine.blank + 1][columns]
    solution = np.einsum("mij,mj->mi", inverse, right)
    total = engine.gram[engine.blank + 1, engine.blank + 1]
    rss = total - np.einsum("mi,mi->m", solution, right)
    coefficients = np.zeros((n_models, engine.blank + 1))
    coefficients[np.arange(n_models)[:, None], columns] = solution
    return coefficients[:, :-1], inverse, np.maximum(rss, 1e-12 * total + 1e-300)
