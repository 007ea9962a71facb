"""Listeners judged by their own repeats and by each other."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc, stdtr

from doe.fit.check import Check
from doe.fit.evidence import Evidence
from doe.model.errors import listed
from doe.model.wording import exact, number

Array = npt.NDArray[Any]

_DOUBT = 0.01
_LEAST_SHARED = 5


def listener_checks(evidence: Evidence) -> list[Check]:
    """Check how well listeners repeat a hidden repeat, and how far they agree.

    A listener whose grades of the same variant in the same session scatter more than the others' (F test, 1 %) is named;
    nothing is dropped. Others whose grades agree are taken to scatter by what the steps of the scale hide.
    """
    if len(evidence.raters) < 1 or evidence.outcome.kind != "rated":
        return []
    found = [_repeats(evidence)]
    agreement = _agreement(evidence)
    return found + ([agreement] if agreement is not None else [])


def _repeats(evidence: Evidence) -> Check:
    name = "Do listeners repeat themselves?"
    squares, df = repeat_scatter(evidence)
    if not np.any(df > 0):
        advice = "Hide one variant twice in a session; a listener who cannot repeat a grade cannot tell variants apart."
        return Check(name, "Nobody graded the same variant twice in one session.", "look", advice)
    doubtful = []
    for rater in np.flatnonzero(df > 0):
        others = df.sum() - df[rater]
        if others < 1:
            continue
        theirs = max((squares.sum() - squares[rater]) / others, evidence.rounding)
        ratio = squares[rater] / df[rater] / theirs
        if fdtrc(df[rater], others, ratio) < _DOUBT:
            doubtful.append(evidence.raters[rater])
    spread = float(np.sqrt(squares.sum() / df.sum()))
    if doubtful:
        finding = f"{listed(doubtful, 'and')} cannot repeat a grade as well as the others."
        return Check(name, finding, "look", "Let them rest or train on clear differences; their grades are kept.")
    finding, matters = (
        f"They repeat a grade to within a standard deviation of {number(spread, 2)}",
        evidence.outcome.matters,
    )
    if matters is not None and spread > matters:
        finding += f"; that is more than the {exact(matters)} that matters, which takes several grades of each to see"
    return Check(name, f"{finding}.", "fine")


def repeat_scatter(evidence: Evidence) -> tuple[Array, Array]:
    """Sum of squares and degrees of freedom of each rater's repeats within a session, shape (n_raters,) each."""
    heard = evidence.rater >= 0
    count = len(evidence.raters)
    keys = np.column_stack([evidence.rater, evidence.session, evidence.variant])[heard]
    groups, inverse = np.unique(keys, axis=0, return_inverse=True)
    counts, means, squares = evidence.counts[heard], evidence.means[heard], evidence.squares[heard]
    totals = np.bincount(inverse.ravel(), counts)
    centres = np.bincount(inverse.ravel(), counts * means) / totals
    within = np.bincount(inverse.ravel(), squares + counts * (means - centres[inverse.ravel()]) ** 2)
    return (
        np.bincount(groups[:, 0], within, count),
        np.bincount(groups[:, 0], totals - 1, count),
    )


def _agreement(evidence: Evidence) -> Check | None:
    """Correlate each rater's grades with the mean of the others, over variants that both graded."""
    count = len(evidence.raters)
    if count < 2:
        return None
    sums, totals = np.zeros((count, len(evidence.variants))), np.zeros((count, len(evidence.variants)))
    heard = evidence.rater >= 0
    np.add.at(sums, (evidence.rater[heard], evidence.variant[heard]), (evidence.counts * evidence.means)[heard])
    np.add.at(totals, (evidence.rater[heard], evidence.variant[heard]), evidence.counts[heard])
    grades = np.where(totals > 0, sums / np.maximum(totals, 1), np.nan)
    apart, correlations = [], []
    for rater in range(count):
        others = np.delete(grades, rater, axis=0)
        shared = np.isfinite(grades[rater]) & np.isfinite(others).any(axis=0)
        if shared.sum() < _LEAST_SHARED:
            continue
        mean = np.nanmean(others[:, shared], axis=0)
        if np.std(mean) == 0 or np.std(grades[rater, shared]) == 0:
            continue
        correlations.append(float(np.corrcoef(grades[rater, shared], mean)[0, 1]))
        if _p_below_zero(correlations[-1], int(shared.sum())) < _DOUBT:
            apart.append(evidence.raters[rater])
    if not correlations:
        return None
    if apart:
        grade = "grades" if len(apart) == 1 else "grade"
        finding = f"{listed(apart, 'and')} {grade} against the others (the order of variants is turned round)."
        return Check(
            "Do listeners agree?", finding, "look", "Ask whether the ends of the scale were taken the right way."
        )
    finding = (
        f"Grades go with those of the other listeners (mean correlation {number(float(np.mean(correlations)), 2)})."
    )
    return Check("Do listeners agree?", finding, "fine")


def _p_below_zero(correlation: float, count: int) -> float:
    """One-sided p of a correlation as low as this one among so many pairs that have nothing to do with each other."""
    t = correlation * np.sqrt((count - 2) / max(1.0 - correlation**2, 1e-12))
    return float(stdtr(count - 2, t))
