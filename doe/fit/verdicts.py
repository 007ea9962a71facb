"""Verdicts: the four sentences a term can earn, by stated rules. Everything that shows a verdict takes it from here.

* *moves it*: the term is active with probability `CLAIM` or more and its 95 % interval leaves zero out, or it is active with
  probability `SURE` or more though how far it moves the outcome on average is open (it bends, or acts differently with others);
  and no other main effect has always gone with it.
* *tangled with X*: another main effect has always (or nearly) gone with it; or it and X are active together or in turn with
  probability `CLAIM`, but neither is by itself.
* *too small to matter*: the 95 % interval, given that the term is active, lies inside plus or minus what matters; and so do
  those of its bend and of all interactions it has a part in, or these are active with probability below `EXCLUDED`. A factor
  that is best in the middle changes nothing from end to end, and is not small for that.
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

EXCLUDED = 0.01
"""A bend or an interaction below this probability stands in no factor's way to being too small. Simulated: 2,700 logs of 10 to
32 builds that scatter by 0.1 to 0.4, one factor of no effect and one that is worse by 0.6, 0.9 or 1.4 at either end, where 0.5
matters (30 seeds of each case). Without the rule the bent one was called too small in 384, 401 and 404 of 900, with it in 11,
1 and 0; the idle one in 1,046 of 2,700, and in 1,005. In 540 histories as in `doe.rehearse.histories` (matters a fifth of the
range) 1,101 of 1,144 such verdicts remain, 8 of 16 wrong ones, as interactions count. At 0 only 90 would: what is hardly ever
visited has wide intervals, which say nothing of the factor."""


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
    small = _small(terms, activity, low, high, matters)
    return [
        _judge_one(
            place, terms, activity, (low[place], high[place]),
            is_small=bool(small[place]), related=related, either=either, bound=bound,
        )
        for place in range(len(terms))
    ]  # fmt: skip


def _small(terms: Sequence[Term], activity: Array, low: Array, high: Array, matters: float | None) -> Array:
    """Tell which terms are too small to matter, shape (n_terms,); a term is not while a larger one built on it is open."""
    if matters is None:
        return np.zeros(len(terms), dtype=bool)
    inside = (-matters < low) & (high < matters)
    is_open = (activity >= EXCLUDED) & ~inside
    in_the_way = {parent.name for term, is_one in zip(terms, is_open, strict=True) if is_one for parent in term.parents}
    return np.asarray(inside & np.array([term.name not in in_the_way for term in terms], dtype=bool))


def _judge_one(
    place: int, terms: Sequence[Term], activity: Array, interval: tuple[float, float],
    *, is_small: bool, related: Array, either: Array, bound: dict[str, list[str]],
) -> Judged:  # fmt: skip
    name, (low, high) = terms[place].name, interval
    if not np.isfinite(low):
        return Judged(CANT_TELL)
    if name in bound:
        return Judged(TANGLED, ", ".join(bound[name]))
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
