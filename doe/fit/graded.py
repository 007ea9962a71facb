"""A second opinion on grades, from a model that knows only their order."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from doe.coding import Coding, Matrix, sum_contrasts
from doe.fit.builds import Builds
from doe.fit.check import Check
from doe.fit.estimates import term_contrast
from doe.fit.evidence import Evidence
from doe.fit.least_squares import independent_columns
from doe.fit.ordered import fit_ordered
from doe.model.errors import listed
from doe.model.wording import spoken

Array = npt.NDArray[Any]

NAME = "Grades taken as an order"
_MOST_GRADES = 15


def ordered_opinion(
    evidence: Evidence, coding: Coding, matrix: Matrix, classical: pd.DataFrame, builds: Builds
) -> Check | None:
    """Fit an ordered logit with rater offsets to the supported terms, and name those on which the two models disagree.

    The logit takes readings of one build for independent, so its statistics are shrunk by the design effect of the builds'
    own scatter (Kish 1965, Survey Sampling, sec. 5.4). They disagree where one 95 % interval leaves zero out and the other
    does not, or where the signs differ.

    Returns
    -------
    Check or None
        None where there is nothing to compare: no grades, no supported term, or too few readings.
    """
    if evidence.outcome.kind != "rated" or not matrix.terms:
        return None
    variant, rater, values, counts = _grades(evidence)
    built = variant < evidence.n_built
    levels, grades = np.unique(np.round(values[built], 6), return_inverse=True)
    X = np.hstack([matrix.values[variant[built]], _rater_columns(rater[built], len(evidence.raters))])
    keep = independent_columns(np.column_stack([np.ones(len(X)), X]))[1:]
    n_terms = matrix.values.shape[1]
    if not 2 <= len(levels) <= _MOST_GRADES or len(X) < keep.sum() + len(levels) + 5 or not keep[:n_terms].all():
        return None
    fit = fit_ordered(X[:, keep], grades.astype(np.intp), counts[built])
    if not fit.is_finite:
        return Check(
            NAME, "Some setting had only the best or only the worst grades, so an order alone cannot say.", "fine"
        )
    shrink = np.sqrt(_design_effect(builds))
    unborne, unseen = [], []
    for term, (swing, low, high) in zip(
        matrix.terms, classical[["swing", "low", "high"]].itertuples(index=False), strict=True
    ):
        place = matrix.slices[term.name]
        if not np.isfinite(low):
            continue
        contrast = term_contrast(coding, term, fit.coefficients[place])
        weights, clear = contrast.weights, float(ndtri(1.0 - 0.025 / contrast.picked_from))
        value = float(weights @ fit.coefficients[place])
        error = float(np.sqrt(weights @ fit.covariance[place, place] @ weights)) * shrink
        is_claimed, is_clear = low > 0 or high < 0, abs(value) > clear * error
        is_turned = len(weights) == 1 and value * swing < 0
        if is_claimed and (not is_clear or is_turned):
            unborne.append(spoken(term.name))
        if is_clear and not is_claimed:
            unseen.append(spoken(term.name))
    return _verdict(unborne, unseen)


def _verdict(unborne: list[str], unseen: list[str]) -> Check:
    advice = "Take more grades before trusting either; the steps of the scale may not be equal."
    if unborne:
        return Check(
            NAME,
            f"A model that takes grades only as an order does not bear out {listed(unborne, 'and')}.",
            "look",
            advice,
        )
    if unseen:
        finding = (
            f"A model that takes grades only as an order sees {listed(unseen, 'and')}, grades taken as numbers do not."
        )
        return Check(NAME, finding, "look", advice)
    return Check(NAME, "A model that takes grades only as an order says the same.", "fine")


def _grades(evidence: Evidence) -> tuple[Array, Array, Array, Array]:
    """Grades and how often they were given; repeats that differ cannot be taken apart again and count once, rounded."""
    values = evidence.means + evidence.location
    if not np.any(evidence.squares > 1e-9):
        return evidence.variant, evidence.rater, values, evidence.counts
    return evidence.variant, evidence.rater, np.round(values), np.ones(len(values))


def _rater_columns(rater: Array, count: int) -> Array:
    if count < 2:
        return np.zeros((len(rater), 0))
    contrasts = np.vstack([sum_contrasts(count), np.zeros((1, count - 1))])
    return np.asarray(contrasts[rater])


def _design_effect(builds: Builds) -> float:
    """How much more the builds' values vary than their readings alone would make them."""
    return float(np.trace(builds.total) / np.trace(builds.reading))
