"""Verdicts: the four sentences a term can earn, by stated rules. Everything that shows a verdict takes it from here.

* *moves it*: the term is active with probability `CLAIM` or more and its 95 % interval leaves zero out, or it is active with
  probability `SURE` or more though how far it moves the outcome on average is open (it bends, or acts differently with others);
  and no other main effect has always gone with it.
* *tangled with X*: another main effect has always (or nearly) gone with it; or it and X are active together or in turn with
  probability `CLAIM`, but neither is by itself.
* *too small to matter*: the 95 % interval, given that the term is active, lies inside plus or minus what matters.
* *can't tell yet*: anything else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.coding import Term
from doe.fit.tangled import RELATED, Tie
from doe.model.wording import CANT_TELL, MOVES, TANGLED, TOO_SMALL, Verdict

Array = npt.NDArray[Any]

CLAIM = 0.85
"""Probability from which a term with a direction is claimed; chosen on rehearsals kept for tuning, where 0.90 left more true
effects unclaimed at the same precision."""

SURE = 0.95
"""From here on a term is active whichever way: a factor that bends the outcome, or turns another's effect round, does
something, though its average swing may be nothing."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict with its partner.

    Attributes
    ----------
    verdict : str
        One of the four.
    tangled_with : str
        What it cannot be told from, several joined by commas; empty otherwise.
    """

    verdict: Verdict
    tangled_with: str = ""


def judge(
    terms: Sequence[Term], activity: Array, low: Array, high: Array, matters: float | None,
    *, related: Array, either: Array, ties: Sequence[Tie],
) -> list[Judged]:  # fmt: skip
    """Give each term its verdict.

    Parameters
    ----------
    terms : sequence of Term
    activity, low, high : ndarray of shape (n_terms,)
        Probability that the term is active; ends of its 95 % interval given that it is.
    matters : float or None
        Smallest change that matters, in outcome units.
    related : ndarray of shape (n_terms, n_terms)
        Canonical correlations.
    either : ndarray of shape (n_terms, n_terms)
        Probability that one or the other of two terms is active.
    ties : sequence of Tie
        Main effects that always went together, with each other or with the session.
    """
    bound: dict[str, list[str]] = {}
    for tie in ties:
        bound.setdefault(tie.first, []).append(tie.second)
        bound.setdefault(tie.second, []).append(tie.first)
    return [
        _judge_one(place, terms, activity, (low[place], high[place]), matters, related, either, bound)
        for place in range(len(terms))
    ]


def _judge_one(
    place: int, terms: Sequence[Term], activity: Array, interval: tuple[float, float], matters: float | None,
    related: Array, either: Array, bound: dict[str, list[str]],
) -> Judged:  # fmt: skip
    name, (low, high) = terms[place].name, interval
    if not np.isfinite(low):
        return Judged(CANT_TELL)
    if name in bound:
        return Judged(TANGLED, ", ".join(bound[name]))
    is_small = matters is not None and -matters < low and high < matters
    if is_small:
        return Judged(TOO_SMALL)
    if activity[place] >= (CLAIM if low > 0 or high < 0 else SURE):
        return Judged(MOVES)
    partners = _partners(place, terms, activity, related, either)
    if partners:
        return Judged(TANGLED, ", ".join(partners))
    return Judged(CANT_TELL)


def _partners(place: int, terms: Sequence[Term], activity: Array, related: Array, either: Array) -> list[str]:
    if activity[place] >= CLAIM or activity[place] < 1 - CLAIM:
        return []
    close = np.flatnonzero((related[place] >= RELATED) & (either[place] >= CLAIM) & (activity < CLAIM))
    order = close[np.argsort(-activity[close], kind="stable")]
    return [terms[other].name for other in order if other != place and activity[other] >= 1 - CLAIM][:3]


def either_active(included: npt.NDArray[np.bool_], weights: Array) -> Array:
    """Probability that one or the other of each two terms is active, shape (n_terms, n_terms)."""
    absent = (~included).astype(float)
    return np.asarray(1.0 - absent.T @ (absent * weights[:, None]))
