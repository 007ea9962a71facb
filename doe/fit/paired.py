"""Compared outcomes: abilities from pairs, with ties, and abilities regressed on factors in one likelihood.

P(first better), P(second better) and P(tie) stand as exp(d/2) : exp(-d/2) : nu, with d the difference of the abilities
(Bradley & Terry 1952, Biometrika 39, 324-345; ties by Davidson 1970, J. Amer. Statist. Assoc. 65, 317-328).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.fit.multinomial import climb

Array = npt.NDArray[Any]
Index = npt.NDArray[np.intp]

HELD_SD = 3.0
_LEAST = 1e-8  # for columns that are alike in all items


@dataclass(frozen=True, slots=True)
class Pairs:
    """Comparisons, summed over equal pairs.

    Attributes
    ----------
    first, second : ndarray of int, shape (n_pairs,)
        Items compared.
    wins, losses, ties : ndarray of shape (n_pairs,)
        How often the first was better, the second was, or neither.
    n_items : int
        Number of items.
    """

    first: Index
    second: Index
    wins: Array
    losses: Array
    ties: Array
    n_items: int


@dataclass(frozen=True, slots=True)
class PairedFit:
    """A fit to comparisons.

    Attributes
    ----------
    coefficients : ndarray of shape (n_columns,)
        On the columns of the design, in log odds.
    covariance : ndarray of shape (n_columns, n_columns)
    tie : float
        Log of nu; minus infinity where nothing ever tied.
    log_likelihood : float
    is_held : bool
        Whether abilities had to be held near their mean by a normal prior of sd `HELD_SD`, since some items always won.
    """

    coefficients: Array
    covariance: Array
    tie: float
    log_likelihood: float
    is_held: bool


def fit_pairs(pairs: Pairs, design: Array) -> PairedFit:
    """Fit abilities that are linear in a design.

    Parameters
    ----------
    pairs : Pairs
        What was compared.
    design : ndarray of shape (n_items, n_columns)
        Indicator columns for free abilities (leave one item out), or a model matrix without the column of ones.

    Returns
    -------
    PairedFit
    """
    fit = _fit(pairs, design, None)
    return fit if fit is not None else _held(pairs, design)


def _held(pairs: Pairs, design: Array) -> PairedFit:
    centred = design - design.mean(axis=0)  # or else the item that happens to be named first would be the one held
    fit = _fit(pairs, design, centred.T @ centred / HELD_SD**2 + _LEAST * np.eye(design.shape[1]))
    assert fit is not None  # a normal prior always has a top
    return fit


def _fit(pairs: Pairs, design: Array, held: Array | None) -> PairedFit | None:
    """Fit, with a normal prior of precision `held` on the coefficients if given; None where there is no finite top."""
    difference = (design[pairs.first] - design[pairs.second]) / 2
    has_ties = bool(pairs.ties.sum() > 0)
    counts = np.column_stack([pairs.wins, pairs.losses, pairs.ties] if has_ties else [pairs.wins, pairs.losses])
    totals = counts.sum(axis=1)
    n_columns = design.shape[1]
    blocks = _blocks(difference, has_ties)
    ridge = np.zeros((blocks.shape[2], blocks.shape[2]))
    if held is not None:
        ridge[:n_columns, :n_columns] = held

    def criterion(parameters: Array) -> tuple[float, Array, Array]:
        scores = np.einsum("cpk,k->pc", blocks, parameters)
        top = scores.max(axis=1, keepdims=True)
        logs = scores - top - np.log(np.exp(scores - top).sum(axis=1, keepdims=True))
        chances = np.exp(logs)
        expected = totals[:, None] * chances
        gradient = np.einsum("cpk,pc->k", blocks, counts - expected)
        mean = np.einsum("cpk,pc->pk", blocks, chances)
        information = np.einsum("cpk,cpl,pc->kl", blocks, blocks, expected) - (mean * totals[:, None]).T @ mean
        pull = ridge @ parameters
        penalty = 0.5 * float(parameters @ pull)
        return float((counts * logs).sum()) - penalty, gradient - pull, information + ridge

    found = climb(criterion, np.zeros(blocks.shape[2]))
    if not found.is_finite and held is None:
        return None
    tie = float(found.parameters[-1]) if has_ties else -np.inf
    covariance = found.covariance[:n_columns, :n_columns]
    return PairedFit(found.parameters[:n_columns], covariance, tie, found.log_likelihood, held is not None)


def _blocks(difference: Array, has_ties: bool) -> Array:
    """Design of each kind of event, shape (n_kinds, n_pairs, n_parameters)."""
    if not has_ties:
        return np.stack([difference, -difference])
    n_pairs, n_columns = difference.shape
    none = np.zeros((n_pairs, 1))
    tie = np.column_stack([np.zeros((n_pairs, n_columns)), np.ones(n_pairs)])
    return np.stack([np.hstack([difference, none]), np.hstack([-difference, none]), tie])


def abilities(pairs: Pairs) -> tuple[Array, Array, PairedFit]:
    """Free abilities of all items, adding to zero.

    Returns
    -------
    values : ndarray of shape (n_items,)
        In log odds.
    covariance : ndarray of shape (n_items, n_items)
        Of the values; of rank n_items - 1 where all items are linked.
    fit : PairedFit
        With the first item at zero.
    """
    design = np.eye(pairs.n_items)[:, 1:]
    fit = fit_pairs(pairs, design)
    centre = np.eye(pairs.n_items) - 1.0 / pairs.n_items
    take = centre @ design
    return take @ fit.coefficients, take @ fit.covariance @ take.T, fit


def linked_parts(pairs: Pairs) -> list[list[int]]:
    """Items in groups that comparisons link, largest first; items of two groups cannot be held against each other."""
    part = np.arange(pairs.n_items)
    for _ in range(pairs.n_items):
        before = part.copy()
        lowest = np.minimum(part[pairs.first], part[pairs.second])
        np.minimum.at(part, pairs.first, lowest)
        np.minimum.at(part, pairs.second, lowest)
        if np.array_equal(before, part):
            break
    groups = [np.flatnonzero(part == label).tolist() for label in np.unique(part)]
    return sorted(groups, key=len, reverse=True)
