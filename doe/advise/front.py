"""Trade-offs: variants where no outcome improves without loss in another; those that hardly differ are told as one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from doe.advise.belief import Belief
from doe.advise.space import Codes
from doe.advise.standing import ROOM_FOR_DESIGNS, with_room
from doe.advise.worth import change_that_matters, desirability, overall, worth_that_matters
from doe.model.names import interval_columns
from doe.model.patience import checkpoint

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.intp]

SHARE_ALIKE = 0.5
"""Share of what matters up to which two variants count as alike, in every outcome."""

WEIGHT_MULTIPLES = (0.25, 0.5, 1.0, 2.0, 4.0)
"""Multiples of an outcome's weight that the choice is tried with."""

_WORLDS = 48
"""Possible worlds that the chance on the front is counted over."""


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
        ``variant`` (empty where not built), one column per factor, ``mean worth``, ``<outcome>, <outcome> low, <outcome>
        high`` for each outcome, ``more alike`` (how many more of the front could be built that differ from it by less than
        `SHARE_ALIKE` of what matters, in worth and in every outcome), ``differs in`` (the factors in which those differ from
        it), and ``chance on front`` (share of the possible worlds in which it or one alike is on the front). No factor's name
        has a blank, so none meets these.
    """
    import pandas as pd

    built, designs = belief.variant_values, belief.values(codes)
    values = [np.hstack(pair) for pair in zip(built, designs, strict=True)]
    everything = np.vstack([belief.variant_codes, codes])
    names = [*belief.variants, *("" for _ in codes)]
    means = np.stack([value.mean(axis=0) for value in values], axis=1)
    scores = np.stack(
        [desirability(outcome, column) for outcome, column in zip(belief.outcomes, means.T, strict=True)], axis=1
    )
    worlds = _on_front_by_world(belief, values)
    expected = belief.worth(values).mean(axis=0)
    groups = _told_as_one(belief, np.flatnonzero(undominated(scores)), means, expected, everything)
    chosen = np.array([group[0] for group in groups], dtype=np.intp)
    rows = [{"variant": names[place], **belief.space.settings(everything[place])} for place in chosen]
    chance = [worlds[:, group].any(axis=1).mean() for group in groups]
    columns: dict[str, Any] = {"mean worth": expected[chosen], "chance on front": chance}
    roomy = [np.hstack(pair) for pair in zip(with_room(built), with_room(designs, ROOM_FOR_DESIGNS), strict=True)]
    for outcome, value, mean in zip(belief.outcomes, roomy, means.T, strict=True):
        low, high = np.quantile(value[:, chosen], [0.025, 0.975], axis=0)
        columns |= dict(zip(interval_columns(outcome.name), (mean[chosen], low, high), strict=True))
    columns |= {
        "more alike": [len(group) - 1 for group in groups],
        "differs in": [_differing(belief, everything[group]) for group in groups],
    }
    frame = pd.DataFrame(rows).assign(**columns)
    return frame.sort_values("mean worth", ascending=False, ignore_index=True)


def _told_as_one(belief: Belief, places: Ints, means: Floats, worth: Floats, codes: Codes) -> list[list[int]]:
    """Group the variants of the front: each built one by itself, with the unbuilt ones that are like it; then the others.

    The first of a group is told. Of those that could be built it is the one that changes fewest factors of a built one.
    """
    measures = np.column_stack([means, worth])
    n_built = len(belief.variants)
    changed = np.array([int((belief.variant_codes != codes[place]).sum(axis=1).min()) for place in places])
    order = places[np.lexsort([places, changed])]  # built variants first: they change nothing
    at_best = means[worth[:n_built].argmax()]
    matters = [change_that_matters(outcome) for outcome in belief.outcomes]
    steps = SHARE_ALIKE * np.array([*matters, worth_that_matters(belief.outcomes, at_best.tolist())])
    groups: list[list[int]] = []
    for place in order.tolist():
        for group in groups if place >= n_built else ():
            if (np.abs(measures[group[0]] - measures[place]) < steps).all():
                group.append(place)
                break
        else:
            groups.append([place])
    return groups


def _differing(belief: Belief, codes: Codes) -> str:
    names = [factor.name for factor in belief.space.coding.factors]
    return ", ".join(name for name, column in zip(names, codes.T, strict=True) if len(set(column.tolist())) > 1)


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
        ``outcome, times as much`` (as it counts now), ``variant`` (best of those built then), ``variant worth``, and one column
        per factor for the best design within reach, with ``design worth``.
    """
    import pandas as pd

    designs, rows = belief.values(codes), []
    for outcome in belief.outcomes:
        for multiple in WEIGHT_MULTIPLES:
            weights = [one.weight * (multiple if one is outcome else 1.0) for one in belief.outcomes]
            built = _mean_worth(belief, belief.variant_values, weights)
            planned = _mean_worth(belief, designs, weights)
            best, design = belief.best_place(built), int(planned.argmax())
            row = {"outcome": outcome.name, "times as much": multiple, "variant": belief.variants[best]}
            row |= {"variant worth": float(built[best]), **belief.space.settings(codes[design])}
            rows.append({**row, "design worth": float(planned[design])})
    return pd.DataFrame(rows)


def _mean_worth(belief: Belief, values: Sequence[Floats], weights: Sequence[float]) -> Floats:
    parts = [desirability(outcome, value) for outcome, value in zip(belief.outcomes, values, strict=True)]
    result: Floats = overall(parts, weights).mean(axis=0)
    return result


def _on_front_by_world(belief: Belief, values: list[Floats]) -> npt.NDArray[np.bool_]:
    parts = [desirability(outcome, value[:_WORLDS]) for outcome, value in zip(belief.outcomes, values, strict=True)]
    return undominated(np.stack(parts, axis=2))
