"""Trade-offs: variants where no outcome improves without loss in another."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from doe.advise.belief import Belief
from doe.advise.space import Codes
from doe.advise.worth import desirability

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.floating[Any]]


def undominated(scores: Floats) -> npt.NDArray[np.bool_]:
    """Tell which rows are beaten by no other row.

    Parameters
    ----------
    scores : ndarray of shape (n_variants, n_outcomes)
        Higher is better. A row is beaten by one that is as good everywhere and better somewhere.

    Returns
    -------
    ndarray of bool of shape (n_variants,)
    """
    keep = np.ones(len(scores), dtype=bool)
    for place in range(len(scores)):
        if keep[place]:
            beaten = (scores <= scores[place]).all(axis=1) & (scores < scores[place]).any(axis=1)
            keep &= ~beaten
    return keep


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
    rows = []
    for place in chosen:
        row: dict[str, Any] = {"variant": names[place], **belief.space.settings(everything[place])}
        row["worth"] = float(belief.worth([value[:, [place]] for value in values]).mean())
        row["chance_on_front"] = float(chance[place])
        for outcome, value in zip(belief.outcomes, values, strict=True):
            low, high = np.quantile(value[:, place], [0.025, 0.975])
            row |= {outcome.name: float(value[:, place].mean())}
            row |= {f"{outcome.name}_low": float(low), f"{outcome.name}_high": float(high)}
        rows.append(row)
    return pd.DataFrame(rows).sort_values("worth", ascending=False, ignore_index=True)


def _chance_on_front(belief: Belief, values: list[Floats], most: int = 48) -> Floats:
    parts = [desirability(outcome, value[:most]) for outcome, value in zip(belief.outcomes, values, strict=True)]
    worlds = np.stack(parts, axis=2)
    result: Floats = np.mean([undominated(world) for world in worlds], axis=0)
    return result
