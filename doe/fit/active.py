"""Which terms are active: Bayesian model averaging over sparse models with effect heredity.

Each model holds a set of terms. Its coefficients have independent normal priors with standard deviation gamma times the
scatter, the mean is flat, the scatter has the prior 1/sigma; the evidence is then closed (Box & Meyer 1993, J. Qual. Technol.
25, 94-105; Chipman 1996; O'Hagan & Forster, Bayesian Inference, 2nd ed. 2004, ch. 11):

    p(y | M, gamma) ~ gamma**-k |X'X + I / gamma**2|**-1/2 (S + S0)**-(n - 1 + df0)/2,   S = y'y - b'(X'X + I / gamma**2) b

Which models are looked at is decided in `growing`, what is believed of each beforehand in `term_space`; their evidence comes
from the Gram matrix alone (`swept`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.fit.growing import BEAM, Visited, engine_for, visit
from doe.fit.priors import Prior
from doe.fit.whiten import Problem
from doe.model.patience import checkpoint

Array = npt.NDArray[Any]
Sets = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]

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
    engine = engine_for(problem, prior or Prior(), floor)
    visited = visit(engine, beam)
    checkpoint()
    included, weights, sensitivity, log_evidence = _weighed(visited)
    scales, models = np.divmod(_kept(weights, included), len(included))
    kept, gammas = included[models], engine.sweeper.scales[scales]
    columns = _columns_of(kept, engine.sweeper.widths, len(problem.cross))
    coefficients, covariances, rss = _moments(problem, columns, gammas, engine.sweeper.total)
    variances = rss / engine.sweeper.df
    return Posterior(
        problem=problem,
        included=kept,
        scales=gammas,
        weights=weights[scales, models] / weights[scales, models].sum(),
        coefficients=coefficients,
        columns=columns,
        covariances=covariances * variances[:, None, None],
        variances=variances,
        df=engine.sweeper.df,
        activity=np.minimum(weights.sum(axis=1) @ sensitivity, 1.0),
        covered=visited.covered,
        n_visited=len(included),
        is_exhaustive=visited.is_exhaustive,
        sensitivity=sensitivity,
        log_evidence=log_evidence,
    )


def _weighed(visited: Visited) -> tuple[Sets, Array, Array, float]:
    """Return sets, their posterior probabilities by scale, activity under each scale, and the log evidence of all."""
    scores = visited.scores
    peaks = scores.max(axis=1, keepdims=True)
    weights = np.exp(scores - peaks)
    totals = weights.sum(axis=1, keepdims=True)
    weights /= totals
    sensitivity = weights @ visited.models.astype(float)
    by_scale = peaks + np.log(totals)
    together = np.logaddexp.reduce(by_scale, axis=None)
    weights *= np.exp(by_scale - together)
    return visited.models, weights, sensitivity, float(together - np.log(len(scores)))


def _kept(weights: Array, included: Sets) -> Index:
    """Choose the models to keep: nearly all the mass, and for each term the best models that hold it."""
    flat = weights.ravel()
    count = min(_LEADING, len(flat))
    leading = np.argpartition(-flat, count - 1)[:count]
    leading = leading[np.argsort(-flat[leading], kind="stable")]
    enough = int(np.searchsorted(np.cumsum(flat[leading]), _KEPT_MASS)) + 1
    kept = leading[: min(enough, _KEPT_MODELS)]
    held = included[leading % len(included)]
    ranks = np.cumsum(held, axis=0, dtype=np.int32)
    first = np.flatnonzero((held & (ranks <= _KEPT_PER_TERM)).any(axis=1))
    extra = np.concatenate([leading[first], _best_holding(weights, included, np.flatnonzero(~held.any(axis=0)))])
    return np.concatenate([kept, np.setdiff1d(extra, kept)])


def _best_holding(weights: Array, included: Sets, terms: Index) -> Index:
    """Best model, with its scale, that holds each of some terms, numbered as in ``weights.ravel()``."""
    best = np.where(included[:, terms].T, weights.max(axis=0), -1.0).argmax(axis=1)
    return np.asarray(weights[:, best].argmax(axis=0) * len(included) + best)


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
