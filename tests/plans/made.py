"""Factors and arithmetic that the tests of plans share."""

from __future__ import annotations

import numpy as np

from doe.model.factor import Factor


def numbers(count, **fields):
    """So many factors from -1 to 1, named A, B, C ... without I, as in textbooks."""
    return [Factor(name, low=-1, high=1, **fields) for name in "ABCDEFGHJKLMNOPQRSTUVWXYZ"[:count]]


def switches(count):
    """So many factors of two levels."""
    return [Factor(f"S{place + 1}", kind="categorical", levels=["off", "on"]) for place in range(count)]


def coded(plan):
    """The settings of a plan of factors from -1 to 1, as an array."""
    return plan.table[[factor.name for factor in plan.factors]].to_numpy(dtype=float)


def quadratic(X):
    """Ones, main effects, products of two and squares, written out apart from the engine."""
    n, k = X.shape
    pairs = [X[:, i] * X[:, j] for i in range(k) for j in range(i)]
    return np.column_stack([np.ones(n), X, *pairs, X**2])


RADIO = [
    Factor("vents", kind="count", low=0, high=6, way="up", minutes=12),
    Factor("rings", kind="count", low=7, high=12, way="rebuild"),
    Factor("wool", low=0, high=60, step=5, unit="%", minutes=8),
    Factor("driver", kind="categorical", levels=["paper", "poly", "bamboo"], minutes=25),
    Factor("feet", kind="categorical", levels=["felt", "cork"]),
]
"""The tabletop radio of the demo."""
