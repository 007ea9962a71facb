"""What a move is expected to bring, before its minutes are counted.

A move is a set of readings of one variant, built for it or there already. It brings two things, both in worth. It
*improves* by as much as the variant may be better than the best one, over all possible worlds in which it is: a single
reading would rarely prove that, so whoever counts only what one move will have proved is too timid to build. And
it *teaches*: its readings shift what is believed about every variant, its own and the others', by as much as the joint
draws say; the shift is taken as linear in the readings, which is exact for Gaussian beliefs (Frazier, P., Powell, W. and
Dayanik, S. (2009). The knowledge-gradient policy for correlated normal beliefs. INFORMS Journal on Computing 21, 599-613.
doi:10.1287/ijoc.1080.0314).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

Floats = npt.NDArray[np.floating[Any]]


def covariance(one: Floats, other: Floats) -> Floats:
    """Covariance over draws of every column of one array with every column of another.

    Parameters
    ----------
    one : ndarray of shape (n_draws, n_one)
    other : ndarray of shape (n_draws, n_other)

    Returns
    -------
    ndarray of shape (n_one, n_other)
    """
    result: Floats = (one - one.mean(axis=0)).T @ (other - other.mean(axis=0)) / len(one)
    return result


def reading_covariance(values: list[Floats], noise: Floats) -> Floats:
    """Covariance of the readings of each move, its noise included.

    Parameters
    ----------
    values : list of ndarray of shape (n_draws, n_moves)
        True value that each move reads, one array per outcome.
    noise : ndarray of shape (n_outcomes, n_moves)
        Variance of the mean of its readings.

    Returns
    -------
    ndarray of shape (n_moves, n_outcomes, n_outcomes)
    """
    centred = [value - value.mean(axis=0) for value in values]
    count = len(values)
    result = np.empty((values[0].shape[1], count, count))
    for i in range(count):
        for j in range(i, count):
            result[:, i, j] = result[:, j, i] = np.einsum("dn,dn->n", centred[i], centred[j]) / len(values[0])
        floor = 1e-9 * result[:, i, i] + 1e-18
        result[:, i, i] += np.maximum(noise[i], floor)
    return result


def shifts(alternatives: Floats, values: list[Floats], root: Floats) -> Floats:
    """How far the readings of each move shift the believed worth of each alternative.

    Parameters
    ----------
    alternatives : ndarray of shape (n_draws, n_alternatives)
        Worth.
    values : list of ndarray of shape (n_draws, n_moves)
        True value that each move reads, one array per outcome.
    root : ndarray of shape (n_moves, n_outcomes, n_outcomes)
        Inverse of the lower Cholesky factor of `reading_covariance`.

    Returns
    -------
    ndarray of shape (n_outcomes, n_alternatives, n_moves)
        Shift per standard normal deviate, one independent deviate for each outcome.
    """
    together = np.stack([covariance(alternatives, value) for value in values])
    result: Floats = np.einsum("nij,jan->ian", root, together)
    return result


def own_shifts(worths: Floats, values: list[Floats], root: Floats) -> Floats:
    """Like `shifts`, for the worth of the very variant that each move reads; shape (n_outcomes, n_moves)."""
    centred = worths - worths.mean(axis=0)
    together = np.stack([np.einsum("dn,dn->n", centred, value - value.mean(axis=0)) for value in values])
    result: Floats = np.einsum("nij,jn->in", root, together / len(worths))
    return result


def inverse_root(covariances: Floats) -> Floats:
    """Inverse of the lower Cholesky factor of each matrix, shape (n_moves, n_outcomes, n_outcomes)."""
    result: Floats = np.linalg.inv(np.linalg.cholesky(covariances))
    return result


def expected_excess(mean: Floats, spread: Floats) -> Floats:
    """Return the expected positive part of a normal deviate, elementwise (equation 15 of the reference).

    References
    ----------
    Jones, D., Schonlau, M. and Welch, W. (1998). Efficient global optimization of expensive black-box functions.
    Journal of Global Optimization 13, 455-492. doi:10.1023/A:1008306431147
    """
    safe = np.maximum(spread, 1e-12)
    z = mean / safe
    result: Floats = mean * ndtr(z) + safe * np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    return result


def expected_improvement(worths: Floats, best: Floats) -> Floats:
    """Return by how much variants are expected to be better than the best one, worse counting as nothing.

    Parameters
    ----------
    worths : ndarray of shape (n_draws, n_variants)
    best : ndarray of shape (n_draws, 1)
        Worth of the best variant as believed now, in the same worlds.

    Returns
    -------
    ndarray of shape (n_variants,)

    References
    ----------
    Jones, D., Schonlau, M. and Welch, W. (1998), as for `expected_excess`; here over joint draws, so that what the two have
    in common cancels and a lucky reading of the best is no bar.
    """
    result: Floats = np.maximum(worths - best, 0.0).mean(axis=0)
    return result


def expected_best(means: Floats, shift: Floats, nodes: Floats) -> Floats:
    """Return the expected worth of the best alternative once the readings are in.

    Parameters
    ----------
    means : ndarray of shape (n_alternatives,) or (n_alternatives, n_moves)
        Worth believed now.
    shift : ndarray of shape (n_outcomes, n_alternatives, n_moves)
    nodes : ndarray of shape (n_nodes, n_outcomes)

    Returns
    -------
    ndarray of shape (n_moves,)
    """
    start = (means[:, None] if means.ndim == 1 else means).astype(np.float32)
    shift = shift.astype(np.float32)
    total = np.zeros(shift.shape[2])
    for node in nodes.astype(np.float32):
        total += (start + np.tensordot(node, shift, axes=1)).max(axis=0)
    return total / len(nodes)
