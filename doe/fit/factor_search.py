"""Which factors are active, in the model space of Box & Meyer (1993): a factor brings all its interactions with it.

The search of `active` lets single terms in and out; here a model is a set of active factors with every interaction among
them up to an order. For screening plans, where the question is which few factors matter and interactions are many.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.model.errors import UsageError

Array = npt.NDArray[Any]

_MOST_SETS = 200_000


@dataclass(frozen=True, slots=True)
class ActiveFactors:
    """Posterior over sets of active factors.

    Attributes
    ----------
    sets : tuple of tuple of int
        Factor numbers of each set, most probable first.
    probabilities : ndarray of shape (n_sets,)
        Posterior probability of each set.
    activity : ndarray of shape (n_factors,)
        Probability that each factor is active.
    """

    sets: tuple[tuple[int, ...], ...]
    probabilities: Array
    activity: Array


def active_factors(
    X: Array, y: Array, *, probability: float = 0.25, gamma: float = 2.0, order: int = 3, largest: int = 5
) -> ActiveFactors:
    """Average over all sets of active factors.

    The evidence of a set with f factors and t terms is (Box & Meyer 1993, J. Qual. Technol. 25, 94-105, eq. 3)

        (p / (1 - p))**f * gamma**-t * |X0'X0|**1/2 |G + X'X|**-1/2 * (S / S0)**-(n - 1)/2

    Parameters
    ----------
    X : ndarray of shape (n_runs, n_factors)
        Settings coded to -1 and 1.
    y : ndarray of shape (n_runs,)
        Observations, one per run, without replicate structure.
    probability : float
        Prior probability that a factor is active.
    gamma : float
        Standard deviation of a coefficient, in units of the scatter.
    order : int
        Highest order of interactions that an active set brings.
    largest : int
        Most factors in a set.

    Raises
    ------
    UsageError
        If there are more sets than can be looked at.
    """
    n_runs, n_factors = X.shape
    sets = [chosen for size in range(largest + 1) for chosen in itertools.combinations(range(n_factors), size)]
    if len(sets) > _MOST_SETS:
        raise UsageError(f"{n_factors} factors make {len(sets)} sets; lower 'largest' (it is {largest}).")
    terms = [term for size in range(1, order + 1) for term in itertools.combinations(range(n_factors), size)]
    places = {term: place for place, term in enumerate(terms)}
    columns = np.column_stack([X[:, list(term)].prod(axis=1) for term in terms])
    centred, values = columns - columns.mean(axis=0), y - y.mean()
    members = [[places[term] for term in _terms_of(chosen, order)] for chosen in sets]
    counts = np.array([len(member) for member in members])
    log_determinant, rss = np.empty(len(sets)), np.empty(len(sets))
    for row, member in enumerate(members):
        X_ = centred[:, member]
        system = X_.T @ X_ + np.eye(len(member)) / gamma**2
        log_determinant[row] = np.linalg.slogdet(system)[1]
        right = X_.T @ values
        rss[row] = values @ values - right @ np.linalg.solve(system, right)
    log_odds = np.log(probability / (1.0 - probability))
    scores = np.array([len(chosen) for chosen in sets]) * log_odds - counts * np.log(gamma)
    scores = scores - 0.5 * log_determinant - 0.5 * (n_runs - 1) * np.log(rss)
    weights = np.exp(scores - scores.max())
    weights /= weights.sum()
    order_ = np.argsort(-weights, kind="stable")
    activity = np.array([sum(weights[row] for row, chosen in enumerate(sets) if f in chosen) for f in range(n_factors)])
    return ActiveFactors(tuple(sets[row] for row in order_), weights[order_], activity)


def _terms_of(chosen: Sequence[int], order: int) -> list[tuple[int, ...]]:
    return [term for size in range(1, order + 1) for term in itertools.combinations(chosen, size)]
