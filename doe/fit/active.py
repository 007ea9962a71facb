"""Which terms are active: Bayesian model averaging over sparse models with effect heredity.

Each model holds a set of terms. Its coefficients have independent normal priors with standard deviation gamma times the
scatter, the mean is flat, the scatter has the prior 1/sigma; the evidence is then closed (Box & Meyer 1993, J. Qual. Technol.
25, 94-105; Chipman 1996; O'Hagan & Forster, Bayesian Inference, 2nd ed. 2004, ch. 11):

    p(y | M, gamma) ~ gamma**-k |X'X + I / gamma**2|**-1/2 (S + S0)**-(n - 1 + df0)/2,   S = y'y - b'(X'X + I / gamma**2) b

Models grow from each other, one term at a time, from the Gram matrix alone (`swept`); which are looked at, and with what
prior, is decided in `term_space`.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from doe.fit.priors import Prior
from doe.fit.swept import Sweeper, Swept
from doe.fit.term_space import TermSpace
from doe.fit.whiten import Problem

Array = npt.NDArray[Any]
Sets = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]
Hashes = npt.NDArray[np.uint64]

BEAM = 400
LARGEST = 8
EXHAUSTIVE = 4_000
_GROWTH = 4  # larger sets that a set leads to, roughly
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


def search(problem: Problem, prior: Prior | None = None, *, floor: float = 0.0, beam: int = BEAM) -> Posterior:
    """Average over sparse models.

    Parameters
    ----------
    problem : Problem
        Whitened data with candidate terms.
    prior : Prior, optional
        Beliefs; the documented default otherwise.
    floor : float
        Sum of squares added for what replicate readings say about the least scatter, in squared outcome units.
    beam : int
        Models grown at each size where not all can be visited.

    Returns
    -------
    Posterior
    """
    engine = _engine(problem, prior or Prior(), floor)
    visited, is_exhaustive, covered = _visited(engine, beam)
    _with_each_term(engine, visited)
    included, scores = visited.models, visited.score
    weights = _normalised(scores)
    activity = np.asarray((weights @ np.ones(scores.shape[1])) @ included)
    sensitivity = _normalised_columns(scores).T @ included
    flat = weights.ravel()
    order = _kept(flat, included, scores.shape[1])
    models, scales = np.divmod(order, scores.shape[1])
    kept, gammas = included[models], engine.sweeper.scales[scales]
    columns = _columns_of(kept, engine.sweeper.widths, len(problem.cross))
    coefficients, covariances, rss = _moments(problem, columns, gammas, engine.sweeper.total)
    variances = rss / engine.sweeper.df
    return Posterior(
        problem=problem,
        included=kept,
        scales=gammas,
        weights=flat[order] / flat[order].sum(),
        coefficients=coefficients,
        columns=columns,
        covariances=covariances * variances[:, None, None],
        variances=variances,
        df=engine.sweeper.df,
        activity=np.minimum(activity, 1.0),
        covered=covered,
        n_visited=len(included),
        is_exhaustive=is_exhaustive,
        sensitivity=sensitivity,
        log_evidence=float(logsumexp(scores) - np.log(scores.shape[1])),
    )


@dataclass(frozen=True, slots=True)
class Engine:
    """What a search needs: the sets to look at, and the evidence of each."""

    space: TermSpace
    sweeper: Sweeper

    def score(self, included: Sets) -> Array:
        """Log posterior of sets by scale, shape (n_sets, n_scales)."""
        evidence = self.sweeper.log_evidence(self.sweeper.sweep(included))
        return np.asarray(self.space.log_prior(included)[:, None] + evidence)

    def grown(self, swept: Swept, hashes: Hashes, *, once: bool) -> Grown:
        """Grow sets by one term."""
        rows, terms = self.space.additions(swept.included, hashes, once=once)
        models = swept.included[rows]
        models[np.arange(len(rows)), terms] = True
        evidence = self.sweeper.look(swept, rows, terms)
        is_strong = self.space.is_strong
        prior = self.space.grown_prior(swept.included, rows, terms) if is_strong else self.space.log_prior(models)
        return Grown(models, prior[:, None] + evidence, hashes[rows] + self.space.keys[terms], rows, terms)


@dataclass(frozen=True, slots=True)
class Grown:
    """Sets with one term more: what they hold, their log posteriors by scale, their hashes, and what each grew from."""

    models: Sets
    score: Array
    hashes: Hashes
    rows: Index
    terms: Index


def _engine(problem: Problem, prior: Prior, floor: float) -> Engine:
    df = float(problem.n_rows - 1 + (prior.scale_df if floor > 0 else 0.0))
    sweeper = Sweeper(problem, np.asarray(prior.scales, dtype=float), floor, df)
    return Engine(TermSpace(problem.terms, sweeper.widths, prior, problem.n_rows), sweeper)


@dataclass(slots=True)
class _Visited:
    """All sets visited so far."""

    models: Sets
    score: Array
    hashes: Hashes

    def join(self, models: Sets, score: Array, hashes: Hashes) -> None:
        self.models = np.concatenate([self.models, models])
        self.score = np.concatenate([self.score, score])
        self.hashes = np.concatenate([self.hashes, hashes])

    def lacks(self, hashes: Hashes) -> Sets:
        """Mark hashes that are not among the visited."""
        known = np.sort(self.hashes)
        return np.asarray(known[np.minimum(np.searchsorted(known, hashes), len(known) - 1)] != hashes)


def _visited(engine: Engine, beam: int) -> tuple[_Visited, bool, float]:
    """Grow models size by size; returns them, whether all were visited, and the mass covered."""
    swept = engine.sweeper.none()
    hashes = engine.space.hashes(swept.included)
    levels = [(swept.included, engine.score(swept.included), hashes)]
    is_complete, n_visited = True, 1
    for size in range(LARGEST):
        grown = engine.grown(swept, hashes, once=is_complete)
        if len(grown.rows) == 0:
            break
        levels.append((grown.models, grown.score, grown.hashes))
        n_visited += len(grown.rows)
        if size == LARGEST - 1:
            is_complete = is_complete and len(engine.space.additions(grown.models, grown.hashes, once=True)[0]) == 0
            break
        rows, terms, hashes = grown.rows, grown.terms, grown.hashes
        if len(rows) > beam and n_visited + _GROWTH * len(rows) > EXHAUSTIVE:
            is_complete = False
            best = np.argpartition(-_best(grown.score), beam)[:beam]
            rows, terms, hashes = rows[best], terms[best], hashes[best]
        swept = engine.sweeper.add(swept, rows, terms)
    visited = _Visited(*(np.concatenate(parts) for parts in zip(*levels, strict=True)))
    return visited, is_complete, 1.0 if is_complete else _with_neighbours(engine, visited)


def _with_neighbours(engine: Engine, visited: _Visited, most: int = 40) -> float:
    """Look one term around the best models until nothing new weighs anything; returns the mass covered."""
    covered = 0.0
    for _ in range(3):
        best = np.argpartition(-_best(visited.score), min(most, len(visited.score) - 1))[:most]
        around, fresh, hashes = _neighbours(engine, visited.models[best])
        is_new = visited.lacks(hashes)
        if not is_new.any():
            return 1.0 - 1e-6
        before = len(visited.score)
        visited.join(around[is_new], fresh[is_new], hashes[is_new])
        covered = 1.0 - float(_normalised(visited.score)[before:].sum())
        if covered > 1.0 - 1e-3:
            break
    return covered


def _neighbours(engine: Engine, models: Sets) -> tuple[Sets, Array, Hashes]:
    """Models that differ by a dropped or a swapped term, with their log posteriors and hashes."""
    rows, terms = np.nonzero(models)
    dropped = models[rows]
    dropped[np.arange(len(rows)), terms] = False
    hashes, first = np.unique(engine.space.hashes(dropped), return_index=True)
    prior = engine.space.log_prior(dropped[first])
    allowed = np.isfinite(prior)
    dropped, hashes = dropped[first][allowed], hashes[allowed]
    swept = engine.sweeper.sweep(dropped)
    grown = engine.grown(swept, hashes, once=False)
    around = np.concatenate([dropped, grown.models])
    scores = np.concatenate([prior[allowed][:, None] + engine.sweeper.log_evidence(swept), grown.score])
    unique, first = np.unique(np.concatenate([hashes, grown.hashes]), return_index=True)
    return around[first], scores[first], unique


def _with_each_term(engine: Engine, visited: _Visited) -> None:
    """Add, for each term, the best model joined by the term and its parents, so that it can be estimated if active."""
    space = engine.space
    best = visited.models[int(np.argmax(_best(visited.score)))]
    joined = best[None, :] | np.eye(space.n_terms, dtype=bool) | space.parents
    joined = joined[joined @ space.widths <= max(space.most_columns, int(space.widths.max(initial=1)))]
    joined = joined[np.isfinite(space.log_prior(joined))]
    hashes, first = np.unique(space.hashes(joined), return_index=True)
    is_new = visited.lacks(hashes)
    if is_new.any():
        joined = joined[first[is_new]]
        visited.join(joined, engine.score(joined), hashes[is_new])


def _best(score: Array) -> Array:
    """Best log posterior of each model over the scales; column by column, since rows are short."""
    return np.asarray(functools.reduce(np.maximum, score.T))


def _kept(flat: Array, included: Sets, n_scales: int) -> Index:
    """Choose the models to keep: nearly all the mass, and for each term the best models that hold it."""
    count = min(_LEADING, len(flat))
    leading = np.argpartition(-flat, count - 1)[:count]
    leading = leading[np.argsort(-flat[leading], kind="stable")]
    enough = int(np.searchsorted(np.cumsum(flat[leading]), _KEPT_MASS)) + 1
    kept = leading[: min(enough, _KEPT_MODELS)]
    held = included[leading // n_scales]
    ranks = np.cumsum(held, axis=0, dtype=np.int32)
    first = np.flatnonzero((held & (ranks <= _KEPT_PER_TERM)).any(axis=1))
    rare = [int(np.argmax(np.where(np.repeat(included[:, term], n_scales), flat, -1.0))) for term in _absent(held)]
    extra = np.concatenate([leading[first], np.array(rare, dtype=np.intp)])
    return np.concatenate([kept, np.setdiff1d(extra, kept)])


def _absent(held: Sets) -> Index:
    """Terms that none of the sets hold."""
    return np.flatnonzero(~held.any(axis=0))


def _normalised(scores: Array) -> Array:
    weights = np.exp(scores - scores.max())
    return np.asarray(weights / weights.sum())


def _normalised_columns(scores: Array) -> Array:
    weights = np.exp(scores - scores.max(axis=0))
    return np.asarray(weights / weights.sum(axis=0))


def _columns_of(included: Sets, widths: Index, blank: int) -> Index:
    """Column numbers of each model, padded with `blank`, shape (n_models, most)."""
    spread = np.repeat(included, widths, axis=1)
    sizes = spread.sum(axis=1)
    rows, columns = np.nonzero(spread)
    padded = np.full((len(included), int(sizes.max(initial=0))), blank, dtype=np.intp)
    firsts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    padded[rows, np.arange(len(rows)) - np.repeat(firsts, sizes)] = columns
    return padded


def _moments(problem: Problem, columns: Index, scales: Array, total: float) -> tuple[Array, Array, Array]:
    """Posterior means, unscaled covariances and residual sums of squares of the kept models."""
    n_models, most = columns.shape
    blank = len(problem.cross)
    gram = np.zeros((blank + 1, blank + 1))
    gram[:blank, :blank] = problem.gram
    block = gram[columns[:, :, None], columns[:, None, :]]
    is_blank = columns == blank
    block[:, np.arange(most), np.arange(most)] += np.where(is_blank, 1.0, 1.0 / scales[:, None] ** 2)
    inverse = np.linalg.inv(block) if most else block
    inverse[is_blank] = 0.0
    right = np.append(problem.cross, 0.0)[columns]
    solution = np.einsum("mij,mj->mi", inverse, right)
    rss = total - np.einsum("mi,mi->m", solution, right)
    coefficients = np.zeros((n_models, blank + 1))
    coefficients[np.arange(n_models)[:, None], columns] = solution
    return coefficients[:, :-1], inverse, np.maximum(rss, 1e-12 * total + 1e-300)
