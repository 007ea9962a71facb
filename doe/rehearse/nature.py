"""Drawing truths: how a family of benches behaves, for any factors and outcomes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, get_args

import numpy as np

from doe.advise.space import make_space
from doe.coding import Coding
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.rehearse.truth import Effect, Scatter, Shape, Together, Truth

Family = Literal["main", "interaction", "curved", "together", "noisy", "nothing"]

FAMILIES: tuple[Family, ...] = get_args(Family)
WHERE_SOMETHING_MATTERS: tuple[Family, ...] = ("main", "interaction", "curved", "together", "noisy")


def draw_truth(
    family: Family,
    outcome: Outcome,
    active: Sequence[Factor],
    rng: np.random.Generator,
    noise: tuple[float, float] | None = None,
    sizes: tuple[float, float] = (0.4, 0.9),
) -> Truth:
    """Draw how one outcome comes about.

    Parameters
    ----------
    family : {"main", "interaction", "curved", "together", "noisy", "nothing"}
    outcome : Outcome
        With a goal, which sets the size of the effects.
    active : sequence of Factor
        Two or more of them get an effect, the first surely in families ``curved`` and ``together``; none for ``nothing``.
    rng : numpy Generator
    noise : pair of float, optional
        Range of the scatter of readings, as shares of the outcome's range; by default the family's own.
    sizes : pair of float
        Range of the swings, as shares of the same; the first effect is large in any case.
    """
    span = goal_range(outcome)
    count = len(active) if len(active) < 3 else int(rng.integers(2, len(active) + 1))
    order = [active[place] for place in rng.permutation(len(active))[:count]]
    if active and family in ("together", "curved") and active[0] not in order:
        order[0] = active[0]
    effects = tuple(
        _effect(family, factor, place == 0, span, (0.4, 0.9) if place == 0 else sizes, rng)
        for place, factor in enumerate(order)
    )
    pairs: tuple[Together, ...] = ()
    if family == "interaction" and len(effects) > 1:
        pairs = (Together(effects[0], effects[1], float(rng.choice([-1, 1]) * rng.uniform(0.6, 1.0) * span)),)
    truth = Truth(outcome, 0.0, effects, pairs, _scatter(family, outcome, span, noise, rng))
    return _placed(truth, active, span, rng)


def goal_range(outcome: Outcome) -> float:
    """Return the distance from worth nothing to worth everything."""
    low, high = outcome.inner[0] - outcome.outer[0], outcome.outer[1] - outcome.inner[1]
    return float(low if np.isfinite(low) else high)


def _effect(
    family: Family, factor: Factor, is_first: bool, span: float, sizes: tuple[float, float], rng: np.random.Generator
) -> Effect:
    size = float(rng.choice([-1, 1]) * rng.uniform(*sizes) * span)
    if not factor.is_numeric and factor.kind != "ordered":
        values = rng.permutation(np.linspace(-0.5, 0.5, len(factor.levels)))
        return Effect(factor, "levels", size, 0.0, tuple(values.tolist()))
    if family == "curved" and factor.is_numeric and (is_first or rng.random() < 0.4):
        return Effect(factor, "peak", size, float(rng.uniform(-0.45, 0.45)))
    if is_first:
        shape: Shape = "saturating" if rng.random() < 0.5 else "step"
        return Effect(factor, shape, size, float(rng.uniform(-0.4, 0.4)))
    return Effect(factor, "line", size)


def _scatter(
    family: Family, outcome: Outcome, span: float, noise: tuple[float, float] | None, rng: np.random.Generator
) -> Scatter:
    is_rated = outcome.kind == "rated"
    noisy = (0.20, 0.28) if family == "noisy" else ((0.10, 0.16) if is_rated else (0.05, 0.12))
    return Scatter(
        build=float(span * rng.uniform(0.02, 0.05)),
        session=float(span * rng.uniform(0.02, 0.05)),
        rater=float(span * (0.06 if is_rated else 0.0)),
        reading=float(span * rng.uniform(*(noise or noisy))),
        drift=float(span * rng.uniform(-0.06, 0.06)),
        outlier_chance=0.02,
    )


def _placed(truth: Truth, active: Sequence[Factor], span: float, rng: np.random.Generator) -> Truth:
    """Shift the outcome so that its goal can nearly be met somewhere; without effects, so that it is half met."""
    outcome = truth.outcome
    low_full, high_full = outcome.inner
    if not active:
        middle = high_full + span / 2 if np.isfinite(high_full) else low_full - span / 2
        return replace(truth, base=float(middle + rng.uniform(-0.15, 0.15) * span))
    space = make_space(Coding(tuple(factor for factor in active if factor.name in truth.active)))
    means = truth.mean(space.columns(space.everything()))
    miss = float(rng.uniform(0.0, 0.12) * span)
    if outcome.goal == "lower":
        return replace(truth, base=high_full + miss - float(means.min()))
    if outcome.goal == "raise":
        return replace(truth, base=low_full - miss - float(means.max()))
    return replace(truth, base=low_full - float(np.quantile(means, rng.uniform(0.1, 0.9))))
