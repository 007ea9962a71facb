"""When to stop: nothing within reach is likely to be better by what matters, or nothing fits the hours left."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from doe.model import wording
from doe.model.names import unit_text
from doe.model.numbers import minutes_in

Floats = npt.NDArray[np.floating[Any]]

STOP_BELOW = 0.10
"""Stop once the chance that something within reach is better by what matters is below this."""

MODEL_DOUBT = 0.096
"""Chance that something better exists which no possible world holds. Measured, not derived: in rehearsals on seeds kept for
tuning, this much made the first statement below `STOP_BELOW` right nine times in ten (it allows one world in 320)."""


def chance_left(best: Floats, promised: Floats, matters: float) -> float | None:
    """Return the chance that something within reach beats the best variant by what matters.

    The share of possible worlds in which it does, and on top the chance that the model leaves out what matters
    (`MODEL_DOUBT`): whoever stops at the first moment that looks like the end stops at the model's most sanguine moment.
    Where the best is worth so much that nothing can be better, there is nothing to leave out.

    Parameters
    ----------
    best : ndarray of shape (n_draws,)
        Worth of the variant to keep, world by world.
    promised : ndarray of shape (n_draws, n_promised)
        Worth of what could be built.
    matters : float
        Difference of worth that counts.

    Returns
    -------
    float or None
        None where nothing could be built in the time left: then nothing is said of what more time would bring.
    """
    if not promised.shape[1]:
        return None
    is_beaten = promised.max(axis=1) - best > matters
    has_room = best < 1 - matters
    return float(np.mean(np.where(is_beaten, 1.0, MODEL_DOUBT * has_room)))


def is_too_short(hours: float | None, cheapest_minutes: float | None) -> bool:
    """Tell whether not even the cheapest move fits the hours left."""
    return hours is not None and cheapest_minutes is not None and cheapest_minutes > minutes_in(hours)


def nothing_worth_building(variant: str, worth: str) -> str:
    """Say first, in plain words, what to do where stopping is advised; the chance comes after it."""
    return f"nothing within reach is likely to be worth building: keep variant {variant}, worth {worth}."


def stop_sentence(
    chance: float | None,
    variant: str | None,
    worth: str,
    *,
    matters: float,
    hours: float | None,
    cheapest_minutes: float | None,
    unit: str | None = None,
) -> str | None:
    """Say why work should stop and what to keep, or return None.

    Parameters
    ----------
    chance : float or None
        See `chance_left`.
    variant : str or None
        Variant to keep.
    worth : str
        Its worth with interval, as text.
    matters : float
        Difference of worth that counts.
    hours : float or None
        Bench hours left.
    cheapest_minutes : float or None
        Minutes of the cheapest move; None where there is no move at all.
    unit : str, optional
        The only unit that was looked at.
    """
    keep = f"keep variant {variant}, worth {worth}" if variant is not None else "no variant has been read yet"
    if cheapest_minutes is None:
        where = "a unit or a new one" if unit is None else unit_text(unit)
        other = "loosen a limit" if unit is None else "allow other units, or loosen a limit"
        return f"no variant that keeps the limits is within reach of {where}; {other}; {keep}."
    if hours is not None and is_too_short(hours, cheapest_minutes):
        return (
            f"{wording.duration(60 * hours)} left, and the cheapest move takes "
            f"{wording.duration(cheapest_minutes)}; {keep}."
        )
    if variant is not None and chance is not None and chance < STOP_BELOW:
        better = f"better by {wording.number(matters, 2)} of worth"
        told = f"The chance that anything within reach is {better} is {wording.percent(chance)}."
        if chance == 0:
            told = f"As far as is known it meets every goal in full, so nothing can be {better}."
        return f"{nothing_worth_building(variant, worth)} {told}"
    return None
