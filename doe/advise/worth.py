"""Worth: outcome values turned into 0..1 by their goals, and one number out of several."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.model.errors import UsageError
from doe.model.outcome import Outcome

Floats = npt.NDArray[np.floating[Any]]

SHARE_THAT_MATTERS = 0.05
"""Worth that counts as a difference where no outcome says what `matters`."""


def goal_outcomes(outcomes: Sequence[Outcome]) -> tuple[Outcome, ...]:
    """Return the outcomes that take part in worth: those with a goal and a weight.

    Raises
    ------
    UsageError
        If there is none.
    """
    chosen = tuple(outcome for outcome in outcomes if outcome.goal is not None and outcome.weight > 0)
    if not chosen:
        names = ", ".join(outcome.name for outcome in outcomes) or "none defined"
        raise UsageError(
            f"No outcome has a goal ({names}), so no variant can be called better than another; "
            "set a goal of raise, lower, hit or within on one of them."
        )
    return chosen


def desirability(outcome: Outcome, values: Any) -> Floats:
    """Turn values of one outcome into 0..1 by its goal.

    Parameters
    ----------
    outcome : Outcome
        With a goal; `inner` is worth 1, beyond `outer` it is worth 0, in between a straight line.
    values : array-like of any shape
        In the outcome's unit. Beyond the ends of a grading scale they count as the ends.

    Returns
    -------
    ndarray of the same shape, of the same floating type

    References
    ----------
    Derringer, G. and Suich, R. (1980). Simultaneous optimization of several response variables. Journal of Quality
    Technology 12, 214-219, equations 1 and 2 with r = s = t = 1. doi:10.1080/00224065.1980.11980968
    """
    given = np.asarray(values)
    numbers = given if given.dtype.kind == "f" else given.astype(float)
    (low_zero, high_zero), (low_full, high_full) = outcome.outer, outcome.inner
    result: Floats | None = None
    if math.isfinite(low_zero):
        result = np.asarray(numbers - low_zero)
        result *= 1 / (low_full - low_zero)
    if math.isfinite(high_zero):
        falling = np.asarray(high_zero - numbers)
        falling *= 1 / (high_zero - high_full)
        result = falling if result is None else np.minimum(result, falling, out=result)
    if result is None:
        return np.ones_like(numbers)
    return np.clip(result, 0, 1, out=result)


def overall(desirabilities: Sequence[Floats], weights: Sequence[float]) -> Floats:
    """Weighted geometric mean, zero wherever one part is zero.

    Parameters
    ----------
    desirabilities : sequence of ndarray
        One per outcome, all of the same shape.
    weights : sequence of float
        One per outcome, in any unit; at least one above zero.

    References
    ----------
    Derringer and Suich (1980), equation 3; the weights as in Derringer, G. (1994), A balancing act: optimizing a
    product's properties, Quality Progress 27(6), 51-58.
    """
    if len(desirabilities) == 1:
        return desirabilities[0]
    total = float(sum(weights))
    if _are_alike(weights):
        return _root(_product(desirabilities), len(desirabilities))
    result = np.ones_like(desirabilities[0])
    for part, weight in zip(desirabilities, weights, strict=True):
        result *= part ** (weight / total)
    return result


def _are_alike(weights: Sequence[float]) -> bool:
    return all(weight == weights[0] for weight in weights)


def _product(desirabilities: Sequence[Floats]) -> Floats:
    product = desirabilities[0].copy()
    for part in desirabilities[1:]:
        product *= part
    return product


def _root(product: Floats, degree: int) -> Floats:
    """Take a root, the usual ones by functions of their own, which are several times as fast as a power."""
    if degree <= 3:
        return np.sqrt(product) if degree == 2 else np.cbrt(product)
    result: Floats = product ** (1 / degree)
    return result


def worth(outcomes: Sequence[Outcome], values: Mapping[str, Any] | Sequence[Any]) -> Floats:
    """Overall worth of outcome values.

    Parameters
    ----------
    outcomes : sequence of Outcome
        All with a goal (see `goal_outcomes`).
    values : mapping of outcome name to array-like, or sequence in the order of `outcomes`
        All of one shape, in the outcomes' units.

    Returns
    -------
    ndarray of that shape, 0..1
    """
    columns = [values[outcome.name] for outcome in outcomes] if isinstance(values, Mapping) else list(values)
    parts = [desirability(outcome, column) for outcome, column in zip(outcomes, columns, strict=True)]
    return overall(parts, [outcome.weight for outcome in outcomes])


def best_worth(outcomes: Sequence[Outcome], values: Sequence[Floats]) -> Floats:
    """Return the largest worth of each row, shape (n_rows,): that of `worth`, with a root for each row, not for each value.

    Parameters
    ----------
    outcomes : sequence of Outcome
        All with a goal.
    values : sequence of ndarray of shape (n_rows, n_variants)
        One per outcome.
    """
    parts = [desirability(outcome, column) for outcome, column in zip(outcomes, values, strict=True)]
    weights = [outcome.weight for outcome in outcomes]
    if len(parts) > 1 and _are_alike(weights):
        return _root(_product(parts).max(axis=1), len(parts))
    result: Floats = overall(parts, weights).max(axis=1)
    return result


def change_that_matters(outcome: Outcome) -> float:
    """Return the change of an outcome that counts, in its own unit: what it says `matters`, or a share of its range."""
    ramps = [abs(goal - end) for goal, end in zip(outcome.inner, outcome.outer, strict=True)]
    ramp = min(value for value in ramps if math.isfinite(value))
    return _step(outcome, ramp)


def worth_that_matters(outcomes: Sequence[Outcome], values: Sequence[float]) -> float:
    """Return the change of worth that one `matters` of an outcome makes, near where the best variant stands.

    The smallest over the outcomes that still can improve, since a difference that matters in one of them matters. Where less
    than one `matters` is left to the goal, it is the last one before the goal: what is left may be small, what matters is not.
    An outcome without `matters` counts as mattering from `SHARE_THAT_MATTERS` of its range on.

    Parameters
    ----------
    outcomes : sequence of Outcome
        All with a goal.
    values : sequence of float
        Outcome values of the best variant, in the order of `outcomes`.
    """
    steps = []
    for place, outcome in enumerate(outcomes):
        step = _step_to_goal(outcome, values[place])
        if step is not None:
            ends = [[*values[:place], value, *values[place + 1 :]] for value in step]
            before, after = worth(outcomes, [np.array(column) for column in zip(*ends, strict=True)])
            steps.append(float(after - before))
    useful = [step for step in steps if step > 1e-9]
    return min(useful) if useful else SHARE_THAT_MATTERS


def _step_to_goal(outcome: Outcome, value: float) -> tuple[float, float] | None:
    """Return the ends of one step that matters, from the value on or up to the goal; None where the goal is met."""
    low, high = outcome.inner
    if low <= value <= high:
        return None
    sign, goal, worst = (1.0, low, outcome.outer[0]) if value < low else (-1.0, high, outcome.outer[1])
    ramp = abs(goal - worst)
    step = _step(outcome, ramp)
    way = min(max(sign * (value - worst), 0.0), ramp - step)
    return worst + sign * way, worst + sign * (way + step)


def _step(outcome: Outcome, ramp: float) -> float:
    return min(outcome.matters if outcome.matters is not None else SHARE_THAT_MATTERS * ramp, ramp)
