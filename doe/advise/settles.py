"""Which doubtful terms the readings of a move would help to settle."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from doe.advise.belief import Belief

Floats = npt.NDArray[np.floating[Any]]

DOUBTFUL = (0.08, 0.92)
MOST_TERMS = 2
LEAST_NATS = 0.04


def settled_terms(belief: Belief, values: list[Floats], noise: Floats) -> list[tuple[str, float]]:
    """Rank doubtful terms by what one reading tells about whether they matter.

    Parameters
    ----------
    belief : Belief
    values : list of ndarray of shape (n_draws,)
        True value that the move reads, one per outcome.
    noise : ndarray of shape (n_outcomes,)
        Variance of its readings.

    Returns
    -------
    list of (term, information)
        In nats, most telling first, at most two terms; empty where nothing much would be learnt.

    Notes
    -----
    The information between "the term is in the model" and the readings, taking the readings as normal within either
    case: the part of the discrimination criterion that concerns one term (Meyer, R. D., Steinberg, D. M. and Box, G.
    (1996). Follow-up designs to resolve confounding in multifactor experiments. Technometrics 38, 303-313).
    """
    found: dict[str, float] = {}
    for draws, value, var in zip(belief.draws, values, noise, strict=True):
        for place, term in enumerate(draws.terms):
            inside = draws.included[:, place]
            share = float(inside.mean())
            if not DOUBTFUL[0] < share < DOUBTFUL[1]:
                continue
            gap = float(value[inside].mean() - value[~inside].mean())
            within = share * value[inside].var() + (1 - share) * value[~inside].var() + float(var)
            information = 0.5 * float(np.log1p(share * (1 - share) * gap**2 / max(within, 1e-18)))
            found[term.name] = max(found.get(term.name, 0.0), information)
    ranked = sorted(found.items(), key=lambda item: -item[1])
    return [(name, information) for name, information in ranked if information >= LEAST_NATS][:MOST_TERMS]
