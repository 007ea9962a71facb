"""Newton's method for the two likelihoods of rated and compared outcomes, both concave in their parameters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.model.patience import checkpoint

Array = npt.NDArray[Any]

_ROUNDS = 60
FARTHEST = 15.0


@dataclass(frozen=True, slots=True)
class Optimum:
    """The top of a log-likelihood.

    Attributes
    ----------
    parameters : ndarray of shape (n_parameters,)
    covariance : ndarray of shape (n_parameters, n_parameters)
        Inverse of the observed information.
    log_likelihood : float
    is_finite : bool
        False where the likelihood has no top within reach: some event always, or never, happened.
    """

    parameters: Array
    covariance: Array
    log_likelihood: float
    is_finite: bool


def climb(function: Callable[[Array], tuple[float, Array, Array]], start: Array) -> Optimum:
    """Maximise a log-likelihood by damped Newton steps.

    Parameters
    ----------
    function : callable
        Parameters -> log-likelihood, gradient, and information (minus the Hessian).
    start : ndarray of shape (n_parameters,)
        A point of finite likelihood.
    """
    x = start
    value, gradient, information = function(x)
    for _ in range(_ROUNDS):
        checkpoint()
        step = np.linalg.lstsq(information, gradient, rcond=1e-12)[0]
        step *= min(1.0, 5.0 / max(float(np.abs(step).max(initial=0.0)), 1e-300))
        moved = value
        for _ in range(30):
            moved, next_gradient, next_information = function(x + step)
            if moved >= value - 1e-12:
                break
            step = step / 2
        else:
            break
        gain, x, value, gradient, information = moved - value, x + step, moved, next_gradient, next_information
        if np.abs(x).max(initial=0.0) > FARTHEST or (gain < 1e-10 and np.abs(step).max(initial=0.0) < 1e-9):
            break
    is_finite = bool(np.abs(x).max(initial=0.0) <= FARTHEST)
    return Optimum(x, np.linalg.pinv(information, rcond=1e-12, hermitian=True), value, is_finite)
