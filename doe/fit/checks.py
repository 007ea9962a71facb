"""Checks: what could make the answer wrong, each with what to do about it in a maker's words."""

from __future__ import annotations

from dataclasses import astuple, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import linalg
from scipy.special import fdtrc, stdtr

from doe.coding import Coding, Matrix
from doe.fit.builds import Builds
from doe.fit.check import COLUMNS, Check
from doe.fit.evidence import Evidence
from doe.fit.graded import ordered_opinion
from doe.fit.in_step import in_step
from doe.fit.least_squares import LeastSquares, least_squares
from doe.fit.lenth import Margins, lenth
from doe.fit.listeners import listener_checks
from doe.fit.scatter_checks import box_cox_hint, even_scatter
from doe.model.errors import listed
from doe.model.factor import Factor
from doe.model.patience import checkpoint
from doe.model.wording import capital, counted, number, p_value, percent, spaced, spoken

Array = npt.NDArray[Any]

_ROUNDING = 1e-12
"""Share of all squares below which those of the other builds, or of repeated ones, are rounding."""

_LEFT = 0.05
"""Share of what is known of an effect that is left without a build, below which it rests on that build."""

_MOST_NAMED = 4


@dataclass(frozen=True, slots=True)
class Residuals:
    """The best-supported model refitted to whitened builds.

    Attributes
    ----------
    fit : LeastSquares
        On whitened rows.
    studentised : ndarray of shape (n_variants,)
        Externally studentised residuals, builds' common scatter allowed for; NaN where a build fits itself.
    plain : ndarray of shape (n_variants,)
        Residuals in outcome units, adjusted value minus fitted.
    """

    fit: LeastSquares
    studentised: Array
    plain: Array


def residuals_of(builds: Builds, matrix: Matrix) -> Residuals:
    """Refit and studentise (Cook & Weisberg, Residuals and Influence in Regression, 1982, sec. 2.2).

    A studentised residual is the t of a column that is one for its build alone. Residuals of the whitened rows would be
    that only for builds that scatter by themselves: a row holds what the builds before it do not foretell.
    """
    factor = linalg.cholesky(builds.total, lower=True)
    X = np.column_stack([np.ones(len(builds.means)), matrix.values])
    white = linalg.solve_triangular(factor, np.column_stack([X, builds.means, np.eye(len(X))]), lower=True)
    rows, alone = white[:, : X.shape[1]], white[:, X.shape[1] + 1 :]
    fit = least_squares(rows, white[:, X.shape[1]])
    pull = alone.T @ (white[:, X.shape[1]] - fit.fitted)
    whole, across = (alone**2).sum(axis=0), alone.T @ rows
    free = whole - (across @ fit.unscaled * across).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        others = np.maximum(fit.rss - pull**2 / free, _ROUNDING * fit.rss)  # where all the others agree
        studentised = pull / np.sqrt(others / (fit.df - 1) * free)
    studentised[free < 1e-8 * whole] = np.nan
    return Residuals(fit, studentised, builds.means - X @ fit.coefficients)


def run_checks(
    evidence: Evidence, builds: Builds, matrix: Matrix, coding: Coding, classical: pd.DataFrame
) -> pd.DataFrame:
    """Run every check that these readings allow.

    Parameters
    ----------
    evidence, builds : Evidence, Builds
        Readings and adjusted builds.
    matrix : Matrix
        Of the best-supported model, one row per variant.
    coding : Coding
        What it was made with.
    classical : DataFrame
        Table of exactly these terms.

    Returns
    -------
    DataFrame
        Columns `check, finding, level, advice`.
    """
    checkpoint()
    residuals = residuals_of(builds, matrix)
    found = [
        _lack_of_fit(evidence, builds, residuals),
        _outliers(evidence, residuals),
        _resting(evidence, builds, matrix),
        _drift(evidence, builds, matrix, residuals, coding),
        _middle(evidence, coding, matrix),
        _pile_up(evidence),
        _stand_out(classical),
        *listener_checks(evidence),
        even_scatter(evidence),
        box_cox_hint(builds, matrix),
        ordered_opinion(evidence, coding, matrix, classical, builds),
    ]
    return pd.DataFrame([astuple(check) for check in found if check is not None], columns=COLUMNS)


def _lack_of_fit(evidence: Evidence, builds: Builds, residuals: Residuals) -> Check | None:
    """Compare the scatter about the model with the scatter of builds with equal settings (Draper & Smith, sec. 2.1)."""
    name = "Does the model fit?"
    keys = pd.factorize(pd.MultiIndex.from_frame(evidence.settings))[0]
    if len(np.unique(keys)) == len(keys):
        advice = "Build the best variant a second time; only a rebuild shows what a rebuild changes."
        return Check(name, "No two builds have the same settings, so it cannot be checked.", "look", advice)
    factor = linalg.cholesky(builds.total, lower=True)
    groups = np.eye(keys.max() + 1)[keys]
    away = builds.means - builds.means.mean()  # or else scatter that is small beside the values would pass for rounding
    white = linalg.solve_triangular(factor, np.column_stack([groups, away]), lower=True)
    pure = least_squares(white[:, :-1], white[:, -1])
    df = residuals.fit.df - pure.df
    if df < 1 or pure.df < 1:
        return None
    if pure.rss <= _ROUNDING * float(white[:, -1] @ white[:, -1]):  # as happens with whole grades and degrees
        alike = "Builds with the same settings came out exactly alike, which is no measure of how they scatter."
        return Check(name, alike, "look", "Build one of them once more, or read more finely.")
    ratio = max(residuals.fit.rss - pure.rss, 0.0) / df / (pure.rss / pure.df)
    p = float(fdtrc(df, pure.df, ratio))
    finding = f"Scatter about the model is {number(np.sqrt(ratio), 2)} times that of repeated builds ({p_value(p)})."
    if p < 0.05:
        return Check(
            name, finding, "look", "Something moves it that the model lacks: a bend, a pair, or an unlisted factor."
        )
    return Check(name, finding, "fine")


def _outliers(evidence: Evidence, residuals: Residuals) -> Check | None:
    t = residuals.studentised
    if not np.any(np.isfinite(t)) or residuals.fit.df < 3:
        return None
    p = 2.0 * stdtr(residuals.fit.df - 1, -np.abs(t)) * np.isfinite(t).sum()
    far = [evidence.variants[place] for place in np.flatnonzero(p < 0.05)]
    if not far:
        return Check("Odd ones out", "No build lies further from the model than chance allows.", "fine")
    one = len(far) == 1
    finding = (
        f"{'Variant' if one else 'Variants'} {listed(far, 'and')} {'lies' if one else 'lie'} far from what "
        f"{'its' if one else 'their'} settings would give."
    )
    advice = f"Read {'it' if one else 'them'} again, and look for a slip in the log or a fault in the build."
    return Check("Odd ones out", finding, "wrong", advice)


def _resting(evidence: Evidence, builds: Builds, matrix: Matrix) -> Check:
    """Name the effects that could not be told, or hardly, without one build."""
    name = "Resting on one build"
    if matrix.terms and evidence.n_built <= 1 + matrix.values.shape[1]:
        finding = "There are as many terms as builds, or more, so each effect rests on every single build."
        return Check(name, finding, "look", "Ask for fewer terms, or make more builds.")
    alone = _only_ones(evidence)
    for term, variant in _carried(evidence, builds, matrix):
        alone.setdefault(term, variant)
    if not alone:
        return Check(name, "No effect rests on a single build.", "fine")
    said = [f"that of {spoken(term)} on variant {variant}" for term, variant in alone.items()]
    if len(said) > _MOST_NAMED:
        said = [*said[: _MOST_NAMED - 1], f"{counted(len(said) - _MOST_NAMED + 1, 'more effect')} on one build each"]
    finding = f"Some effects rest on one build alone: {listed(said, 'and')}."
    return Check(name, finding, "look", "Make another build with that setting before trusting it.")


def _only_ones(evidence: Evidence) -> dict[str, str]:
    """Factors that would have had one setting only without one variant: factor -> that variant."""
    found = {}
    for factor in evidence.varied:
        counts = evidence.settings[factor].value_counts()
        if len(counts) == 2 and counts.min() == 1 and counts.max() > 1:
            place = int(np.flatnonzero(evidence.settings[factor] == counts.idxmin())[0])
            found[factor] = evidence.variants[place]
    return found


def _carried(evidence: Evidence, builds: Builds, matrix: Matrix) -> list[tuple[str, str]]:
    """Terms of the model of which one build carries nearly all that is known, with that build.

    Without build i the variance of a coefficient grows by ``c_i^2 / (1 - h_i)``, where it is ``c' y`` and h the leverage
    (Cook & Weisberg 1982, sec. 2.2).
    """
    factor = linalg.cholesky(builds.total, lower=True)
    X = np.column_stack([np.ones(len(builds.means)), matrix.values])
    white = linalg.solve_triangular(factor, X, lower=True)
    if np.linalg.matrix_rank(white) < X.shape[1]:  # some terms cannot be told at all, whichever builds there are
        return []
    weights = np.linalg.pinv(white)
    free = np.maximum(1.0 - np.einsum("ij,ji->i", white, weights), 1e-12)
    variance = (weights**2).sum(axis=1)[1:]
    kept = variance[:, None] / (variance[:, None] + weights[1:] ** 2 / free)
    found = []
    for term in matrix.terms:
        left = kept[matrix.slices[term.name]].min(axis=0)
        if left.min() < _LEFT:
            found.append((term.name, evidence.variants[int(left.argmin())]))
    return found


def _drift(evidence: Evidence, builds: Builds, matrix: Matrix, residuals: Residuals, coding: Coding) -> Check | None:
    """Look for a drift over the log, and for factors that would hide it."""
    found = _order(evidence, builds, matrix, residuals)
    hidden = in_step(evidence, coding, matrix) if found is None or found.level == "fine" else None
    return hidden or found


def _order(evidence: Evidence, builds: Builds, matrix: Matrix, residuals: Residuals) -> Check | None:
    """Test the order of building, as logged, as one more term; builds of one session go together, since sessions scatter."""
    count = len(residuals.plain)
    spread = float(np.std(residuals.plain))
    if count < 6 or residuals.fit.df < 3 or spread == 0:
        return None
    factor, place = linalg.cholesky(builds.total, lower=True), np.linspace(-1.0, 1.0, count)
    stacked = np.column_stack([np.ones(count), matrix.values, place, builds.means])
    white = linalg.solve_triangular(factor, stacked, lower=True)
    q = np.linalg.qr(white[:, :-2])[0]
    order, value = (column - q @ (q.T @ column) for column in white[:, -2:].T)  # what the model leaves of either
    df, size = residuals.fit.df - 1, float(order @ order)
    if size < 1e-8 * float(white[:, -2] @ white[:, -2]) or df < 2:  # the settings follow the order themselves
        return None
    slope = float(order @ value) / size
    rest = value - slope * order
    t = slope * np.sqrt(size) / max(np.sqrt(float(rest @ rest) / df), 1e-300)
    p = 2.0 * float(stdtr(df, -abs(t)))
    if p >= 0.01:
        return Check(
            "Drift over the log", "Later builds are neither better nor worse than their settings explain.", "fine"
        )
    way = "rose" if slope > 0 else "fell"
    advice = "Something else changed with time: repeat an early variant now to see how much."
    return Check(
        "Drift over the log",
        f"{capital(spaced(evidence.outcome.name))} {way} through the log beyond what the settings explain.",
        "look",
        advice,
    )


def _middle(evidence: Evidence, coding: Coding, matrix: Matrix) -> Check | None:
    used = {name for term in matrix.terms for name in term.factors}
    ends = [
        factor.name
        for factor in coding.factors
        if factor.name in used
        and coding.axes[factor.name].has_curvature
        and _leaves_between(factor, evidence.settings[factor.name])
    ]
    if not ends:
        return None
    finding = (
        f"{capital(listed(map(spaced, ends), 'and'))} {'was' if len(ends) == 1 else 'were'} tried at two settings only."
    )
    return Check("Between the ends", finding, "look", "The best may lie between: try one build at a middle setting.")


def _leaves_between(factor: Factor, settings: pd.Series[Any]) -> bool:
    """Tell whether a number was tried at two settings with another one between them."""
    least = 0.0 if factor.step is None else 1.5 * factor.step
    return settings.nunique() == 2 and float(settings.max() - settings.min()) > least


def _pile_up(evidence: Evidence) -> Check | None:
    """Count grades at the ends of the scale; a pile hides differences (floor and ceiling)."""
    if not evidence.at_ends:
        return None
    for count, word in zip(evidence.at_ends, ("lowest", "highest"), strict=True):
        share = count / evidence.n_readings
        if share > 0.3:
            finding = f"{percent(share)} of the grades are the {word} there is."
            advice = "Differences hide at the end of a scale: use a harder passage, or a longer scale."
            return Check("End of the scale", finding, "look", advice)
    return Check("End of the scale", "Grades do not pile up at either end of the scale.", "fine")


def margins_of(classical: pd.DataFrame) -> Margins | None:
    """Lenth's margins of a classical table's swings; None where scatter can be estimated, or effects are few.

    Parameters
    ----------
    classical : DataFrame
        Columns `swing` and `se`, in outcome units.
    """
    swings = classical["swing"].dropna()
    if len(swings) < 5 or classical["se"].notna().any():
        return None
    return lenth(swings.to_numpy())


def _stand_out(classical: pd.DataFrame) -> Check | None:
    """Name the effects beyond Lenth's margin where no scatter can be estimated otherwise."""
    margins = margins_of(classical)
    if margins is None:
        return None
    beyond = [
        spoken(str(term))
        for term, swing in zip(classical["term"], classical["swing"], strict=True)
        if abs(swing) > margins.margin
    ]
    finding = f"{counted(len(beyond), 'effect')} beyond Lenth's margin of {number(margins.margin)}"
    finding += f" ({listed(beyond, 'and')})" if beyond else ""
    finding += f"; margin for all together {number(margins.simultaneous)}."
    return Check("Without replicates", finding, "look", "Repeat a build to know the scatter instead of guessing it.")
