"""Trade-offs: variants where no outcome improves without loss in another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from doe.advise.belief import Belief
from doe.advise.space import Codes
from doe.advise.worth import desirability, overall
from doe.model.patience import checkpoint

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.floating[Any]]

WEIGHT_MULTIPLES = (0.25, 0.5, 1.0, 2.0, 4.0)
"""Multiples of an outcome's weight that the choice is tried with."""


def undominated(scores: Floats) -> npt.NDArray[np.bool_]:
    """Tell which rows are beaten by no other row.

    Parameters
    ----------
    scores : ndarray of shape (..., n_variants, n_outcomes)
        Higher is better. A row is beaten by one that is as good everywhere and better somewhere.

    Returns
    -------
    ndarray of bool of shape (..., n_variants)
    """
    if scores.ndim > 2:
        return np.stack([undominated(world) for world in scores])
    checkpoint()
    # in this order no row is beaten by a later one, so whatever is still there when its turn comes is on the front
    waiting = np.lexsort([*scores.T, scores.sum(axis=1)])[::-1]
    on_front = np.zeros(len(scores), dtype=bool)
    while len(waiting):
        first, rest = scores[waiting[0]], scores[waiting]
        on_front[waiting[(rest == first).all(axis=1)]] = True
        waiting = waiting[(rest > first).any(axis=1)]
    return on_front


def front_frame(belief: Belief, codes: Codes) -> pd.DataFrame:
    """Return the front among the variants read and some within reach.

    Parameters
    ----------
    belief : Belief
    codes : ndarray of shape (n_variants, n_factors)
        Variants that could be built.

    Returns
    -------
    DataFrame
        ``variant`` (empty where not built), one column per factor, ``worth``, ``chance_on_front`` (share of the
        possible worlds in which it is on the front), and ``<outcome>, <outcome>_low, <outcome>_high`` for each outcome.
    """
    import pandas as pd

    built = belief.variant_values
    values = [np.hstack([one, two]) for one, two in zip(built, belief.values(codes), strict=True)]
    everything = np.vstack([belief.variant_codes, codes])
    names = [*belief.variants, *("" for _ in codes)]
    means = np.stack([value.mean(axis=0) for value in values], axis=1)
    scores = np.stack(
        [desirability(outcome, column) for outcome, column in zip(belief.outcomes, means.T, strict=True)], axis=1
    )
    chosen = np.flatnonzero(undominated(scores))
    chance = _chance_on_front(belief, values)
    mine = [value[:, chosen] for value in values]
    rows = [{"variant": names[place], **belief.space.settings(everything[place])} for place in chosen]
    columns: dict[str, Any] = {"worth": belief.worth(mine).mean(axis=0), "chance_on_front": chance[chosen]}
    for outcome, value in zip(belief.outcomes, mine, strict=True):
        low, high = np.quantile(value, [0.025, 0.975], axis=0)
        columns |= {outcome.name: value.mean(axis=0), f"{outcome.name}_low": low, f"{outcome.name}_high": high}
    frame = pd.DataFrame(rows).assign(**columns)
    return frame.sort_values("worth", ascending=False, ignore_index=True)


def weights_frame(belief: Belief, codes: Codes) -> pd.DataFrame:
    """Return how the choice moves when one outcome counts less or more than now.

    Parameters
    ----------
    belief : Belief
    codes : ndarray of shape (n_variants, n_factors)
        Variants that could be built.

    Returns
    -------
    DataFrame
        ``outcome, weight`` (as a multiple of its own weight), ``variant`` (best of those built then), ``worth``, and one column
        per factor for the best design within reach, with ``design_worth``.
    """
    import pandas as pd

    designs, rows = belief.values(codes), []
    for place, outcome in enumerate(belief.outcomes):
        for multiple in WEIGHT_MULTIPLES:
            weights = [one.weight * (multiple if one is outcome else 1.0) for one in belief.outcomes]
            built = _mean_worth(belief, belief.variant_values, weights)
            planned = _mean_worth(belief, designs, weights)
            best, design = int(built.argmax()), int(planned.argmax())
            row = {"outcome": belief.outcomes[place].name, "weight": multiple, "variant": belief.variants[best]}
            row |= {"worth": float(built[best]), **belief.space.settings(codes[design])}
            rows.append({**row, "design_worth": float(planned[design])})
    return pd.DataFrame(rows)


def _mean_worth(belief: Belief, values: Sequence[Floats], weights: Sequence[float]) -> Floats:
    parts = [desirability(outcome, value) for outcome, value in zip(belief.outcomes, values, strict=True)]
    result: Floats = overall(parts, weights).mean(axis=0)
    return result


def _chance_on_front(belief: Belief, values: list[Floats], most: int = 48) -> Floats:
    parts = [desirability(outcome, value[:most]) for outcome, value in zip(belief.outcomes, values, strict=True)]
    worlds = np.stack(parts, axis=2)
    result: Floats = undominated(worlds).mean(axis=0)
    return result
