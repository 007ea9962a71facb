"""What a plan can tell apart, how precisely, and how well it uses its runs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from doe.coding import Coding, Term, swings
from doe.model.names import MEAN
from doe.plans.arrangement import Arrangement
from doe.plans.candidates import Region
from doe.plans.layout import Array, Layout
from doe.plans.moments import region_moments
from doe.plans.precision import LEVEL, detectable, half_width, power

SHOWN = 0.005
"""Smallest correlation that is listed."""


@dataclass(frozen=True, slots=True)
class Information:
    """A plan's information on a model.

    Attributes
    ----------
    layout : Layout
        The model.
    rows : ndarray of shape (n_runs + n_existing, n_columns)
        Model rows, new runs first.
    covariance : ndarray of shape (n_columns, n_columns)
        Of the coefficients, for a scatter of 1 between runs.
    df_within, df_between : int
        Degrees of freedom to judge terms that change within a unit, and those that only change between units.
    """

    layout: Layout
    rows: Array
    covariance: Array
    df_within: int
    df_between: int


def lost_terms(layout: Layout, rows: Array, beside: Array, penalty: Array) -> list[str]:
    """Name the terms that cannot be estimated, because the plan mixes them with others or never varies them."""
    fixed = np.hstack([rows, beside[:, penalty == 0]])
    _, size, basis = np.linalg.svd(fixed, full_matrices=True)
    size = np.concatenate([size, np.zeros(fixed.shape[1] - len(size))])
    empty = basis[size < 1e-8 * max(size.max(), 1.0)]
    lost = np.abs(empty).max(axis=0) > 1e-6 if len(empty) else np.zeros(fixed.shape[1], dtype=bool)
    return [term for term, place in layout.slices.items() if lost[place].any()]


def inform(layout: Layout, new: Array, old: Array, arrangement: Arrangement) -> Information | None:
    """Work out the information of a plan on a model; None where the model cannot be estimated.

    Parameters
    ----------
    layout : Layout
        The model.
    new, old : ndarray of shape (n, n_factors)
        Settings of the runs planned and of those that exist.
    arrangement : Arrangement
        Blocks and units.
    """
    beside_new, beside_old, penalty = arrangement.beside()
    rows = layout.rows(np.vstack([new, old]))
    beside = np.vstack([beside_new, beside_old])
    if lost_terms(layout, rows, beside, penalty):
        return None
    everything = np.hstack([rows, beside])
    M = everything.T @ everything + np.diag(np.concatenate([np.zeros(layout.n_columns), penalty]))
    covariance = np.asarray(np.linalg.inv(M)[: layout.n_columns, : layout.n_columns], dtype=np.float64)
    within, between = _degrees(layout, rows, beside, arrangement)
    return Information(layout, rows, covariance, within, between)


def _degrees(layout: Layout, rows: Array, beside: Array, arrangement: Arrangement) -> tuple[int, int]:
    within = len(rows) - int(np.linalg.matrix_rank(np.hstack([rows, beside])))
    if not arrangement.shares_units:
        return within, within
    columns = np.concatenate([[0], *(range(*place.indices(10**9)) for term, place in _fixed_on_units(layout))])
    used = rows[: arrangement.n_runs][:, columns.astype(np.intp)]
    return within, max(0, arrangement.n_units - int(np.linalg.matrix_rank(used)))


def _fixed_on_units(layout: Layout) -> list[tuple[Term, slice]]:
    slices = layout.slices
    return [(term, slices[term.name]) for term in layout.terms if is_fixed_on_units(layout.coding, term)]


def is_fixed_on_units(coding: Coding, term: Term) -> bool:
    """Tell whether a term only changes from unit to unit: all its factors need a rebuild."""
    rebuild = {factor.name for factor in coding.factors if factor.way == "rebuild"}
    written = {quantity.name: set(quantity.parsed.names) for quantity in coding.derived}
    return all(written.get(name, {name}) <= rebuild for name in term.factors)


def precision_table(information: Information, scatter: float, matters: float | None) -> pd.DataFrame:
    """Return what the plan is expected to say of each term.

    Returns
    -------
    DataFrame
        `term`; `half_width` of the 95 % interval of its swing and the smallest swing `detectable` with a chance of 80 %, in
        outcome units; `se` of the swing; `df`; `power` to see a swing of `matters` (of twice the scatter where that is not
        given); `inflation`, the variance over that of an orthogonal plan of as many runs; `picked_from`, the pairs of levels
        (or of ends) that the swing told is the largest of. Intervals and tests are at 95 % and 5 % for all of these together
        (Bonferroni), as those of the classical table are (`doe.fit.classical`).
    """
    layout = information.layout
    effect = matters if matters is not None else 2 * scatter
    rows = []
    for term in layout.terms:
        place = layout.slices[term.name]
        widest, n_swings = _widest(layout, term, information.covariance[place, place])
        se, level = scatter * widest, 1.0 - (1.0 - LEVEL) / n_swings
        df = information.df_between if is_fixed_on_units(layout.coding, term) else information.df_within
        rows.append(
            {
                "term": term.name,
                "half_width": half_width(se, df, level),
                "detectable": detectable(se, df, level=level),
                "power": power(effect, se, df, level),
                "se": se,
                "df": df,
                "inflation": _inflation(information, term, place),
                "picked_from": n_swings,
            }
        )
    columns = ["term", "half_width", "detectable", "power", "se", "df", "inflation", "picked_from"]
    return pd.DataFrame(rows, columns=columns)


def _widest(layout: Layout, term: Term, covariance: Array) -> tuple[float, int]:
    """Return the largest standard error of a term's swing for a scatter of 1, and among how many the one told is picked."""
    weights = np.array([weights for _, weights in swings(layout.coding, term)])
    variances = np.einsum("ij,jk,ik->i", weights, covariance, weights)
    return math.sqrt(max(0.0, float(variances.max()))), len(weights)


def _inflation(information: Information, term: Term, place: slice) -> float:
    """Return the mean variance of a term's columns times what the columns themselves carry (1 where orthogonal)."""
    own = information.rows[:, place]
    centred = own - own.mean(axis=0)
    return float(np.trace(information.covariance[place, place] @ (centred.T @ centred)) / centred.shape[1])


def efficiencies(information: Information, region: Region) -> dict[str, float]:
    """Return how well the plan uses its runs.

    Returns
    -------
    dict
        ``D``: |information|^(1/p) per run, ``A``: p over the sum of variances per run - both in percent of an orthogonal plan
        of two settings, with levels counted evenly; ``I``: mean variance of prediction over the region, and ``G``: the largest
        at the planned runs, both for a scatter of 1.
    """
    layout, n_runs = information.layout, len(information.rows)
    logdet = float(np.linalg.slogdet(information.covariance)[1])
    moments = region_moments(layout, region)
    spread = np.einsum("ij,jk,ik->i", information.rows, information.covariance, information.rows)
    p = layout.n_columns
    return {
        "D": 100 * math.exp((-logdet - _level_logdet(layout)) / p) / n_runs,
        "A": 100 * p / (n_runs * _level_sum(layout, information.covariance)),
        "I": float(np.sum(information.covariance * moments)),
        "G": float(spread.max()),
    }


def _gram(layout: Layout, term: Term) -> Array:
    """Return the mean of a term's columns squared, levels counted evenly and numbers at both ends."""
    gram: Array = np.ones((1, 1))
    for name in term.factors:
        contrasts = layout.coding.axes[name].contrasts
        own = np.ones((1, 1)) if contrasts is None else contrasts.T @ contrasts / len(contrasts)
        gram = np.asarray(np.kron(gram, own), dtype=np.float64)
    return gram


def _level_logdet(layout: Layout) -> float:
    return float(sum(np.linalg.slogdet(_gram(layout, term))[1] for term in layout.terms))


def _level_sum(layout: Layout, covariance: Array) -> float:
    """Return the sum of variances as columns would have them that are orthogonal over evenly counted levels."""
    slices = layout.slices
    parts = [covariance[slices[term.name], slices[term.name]] * _gram(layout, term) for term in layout.terms]
    return float(covariance[0, 0] + sum(part.sum() for part in parts))


def correlations(coding: Coding, terms: Sequence[Term], values: Array, beside: Array) -> pd.DataFrame:
    """Return the correlation of every two terms over the runs, after the mean and the blocks; largest first.

    Parameters
    ----------
    coding : Coding
        Factors.
    terms : sequence of Term
        Terms to compare.
    values : ndarray of shape (n_runs, n_factors)
        All runs.
    beside : ndarray of shape (n_runs, n_beside)
        Blocks, whose differences are taken off first.

    Returns
    -------
    DataFrame
        `term`, `with`, `correlation`: for terms of one column each the correlation with its sign, else the largest canonical
        one. A term that the runs never vary, or only with the blocks, has the correlation 1 with ``the mean``.
    """
    layout = Layout(coding, tuple(terms))
    rows = layout.rows(values)
    base = np.linalg.qr(np.hstack([np.ones((len(rows), 1)), beside]))[0]
    free = rows - base @ (base.T @ rows)
    bases = {term.name: _basis(free[:, layout.slices[term.name]], rows[:, layout.slices[term.name]]) for term in terms}
    records = [(name, MEAN, 1.0) for name, basis in bases.items() if not basis.shape[1]]
    varied = {name: basis for name, basis in bases.items() if basis.shape[1]}
    records += _pairs(varied)
    table = pd.DataFrame(records, columns=["term", "with", "correlation"])
    order = np.argsort(-table["correlation"].abs().to_numpy(dtype=float), kind="stable")
    return table.iloc[order].reset_index(drop=True)


def _basis(columns: Array, original: Array) -> Array:
    """Return an orthonormal basis of a term's columns; without those that vanish beside the blocks."""
    scale = max(float(np.abs(original).max(initial=0.0)), 1.0) * math.sqrt(len(columns))
    if columns.shape[1] == 1:
        norm = float(np.linalg.norm(columns))
        return columns / norm if norm > 1e-7 * scale else columns[:, :0]
    left, size, _ = np.linalg.svd(columns, full_matrices=False)
    return left[:, size > 1e-7 * scale]


def _pairs(bases: dict[str, Array]) -> list[tuple[str, str, float]]:
    """Compare all terms at once, then read pairs off."""
    if len(bases) < 2:
        return []
    edges = np.cumsum([0, *(basis.shape[1] for basis in bases.values())])
    every = np.hstack(list(bases.values()))
    inner = every.T @ every
    records = []
    for (i, first), (j, second) in itertools.combinations(enumerate(bases), 2):
        block = inner[edges[i] : edges[i + 1], edges[j] : edges[j + 1]]
        value = float(block[0, 0]) if block.size == 1 else float(np.linalg.norm(block, 2))
        if abs(value) >= SHOWN:
            records.append((first, second, max(-1.0, min(1.0, value))))
    return records


def all_terms(coding: Coding, model: Sequence[Term], names: Sequence[str]) -> tuple[Term, ...]:
    """Return the terms worth comparing: those of the model, and all main effects, interactions and curvature of some names."""
    every = [*model, *coding.terms("quadratic", names)]
    return tuple(sorted(dict.fromkeys(every), key=_rank))


def _rank(term: Term) -> tuple[bool, bool, int]:
    return term.is_square, not term.is_main, len(term.factors)
