"""Checks of the scatter: whether it is even, and whether another scale would make it so."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from doe.coding import Matrix
from doe.fit.builds import Builds
from doe.fit.check import Check
from doe.fit.evidence import Evidence
from doe.fit.least_squares import independent_columns
from doe.model.wording import number

Array = npt.NDArray[Any]

_DOUBT = 0.01
_NEAR_ONE = 0.5
"""A power nearer to one changes no reading of an effect, however clear it is; powers are usually taken by halves."""

_LIKELIHOOD_DROP = 3.841  # 95 % point of chi-square with one degree of freedom
_LEAST_RANGE = 2.0
_MOST_TIMES = 100


def even_scatter(evidence: Evidence) -> Check | None:
    """Compare the scatter of repeated readings at high and at low values (F test, 1 %, two-sided).

    Readings that agree may still differ by what their step hides; neither end is taken to scatter by less.
    """
    df = evidence.counts - 1
    repeated = df > 0
    if df.sum() < 8 or evidence.within <= 0:
        return None
    middle = np.median(evidence.means[repeated])
    is_high = repeated & (evidence.means > middle)
    is_low = repeated & ~is_high
    if df[is_high].sum() < 3 or df[is_low].sum() < 3:
        return None
    high = evidence.squares[is_high].sum() / df[is_high].sum()
    low = evidence.squares[is_low].sum() / df[is_low].sum()
    hidden = evidence.rounding
    ratio = float(max(high, low, hidden) / max(min(high, low), hidden))
    tops = (df[is_high].sum(), df[is_low].sum()) if high > low else (df[is_low].sum(), df[is_high].sum())
    if 2.0 * fdtrc(*tops, ratio) >= _DOUBT:
        return Check("Even scatter", "Readings scatter alike at high and at low values.", "fine")
    where = "high" if high > low else "low"
    times = _times(float(np.sqrt(ratio)), min(high, low) < hidden)
    finding = f"Readings at {where} values scatter {times} as at the other end."
    return Check("Even scatter", finding, "look", "Effects are less sure there; take more readings at that end.")


def _times(ratio: float, is_least: bool) -> str:
    """Say a ratio as a person can read it: next to readings that hardly differ it has no meaning."""
    if ratio > _MOST_TIMES:
        return f"more than {_MOST_TIMES} times as much"
    return f"{'at least ' if is_least else ''}{number(ratio, 2)} times as much"


def box_cox_profile(X: Array, y: Array, powers: Array) -> Array:
    """Log-likelihood of Box & Cox (1964, J. Roy. Statist. Soc. B 26, 211-252) at each power, up to a constant.

    Parameters
    ----------
    X : ndarray of shape (n_rows, n_columns)
        Model matrix with a column of ones.
    y : ndarray of shape (n_rows,)
        Positive observations.
    powers : ndarray of shape (n_powers,)
    """
    logs = np.log(y)
    centre = float(np.exp(logs.mean()))
    turned = [
        centre * logs if abs(power) < 1e-12 else (y**power - 1) / (power * centre ** (power - 1)) for power in powers
    ]
    q, _ = np.linalg.qr(X[:, independent_columns(X)])  # one factorisation serves all powers
    left = np.column_stack(turned)
    for _ in range(2):  # a second pass takes out what rounding left of the first
        left = left - q @ (q.T @ left)
    return np.asarray(-0.5 * len(y) * np.log(np.maximum((left**2).sum(axis=0), 1e-300)))


def box_cox_hint(builds: Builds, matrix: Matrix) -> Check | None:
    """Hint at a scale on which the model would fit clearly better; only for positive values that span a wide range."""
    y = builds.means
    X = np.column_stack([np.ones(len(y)), matrix.values])
    if np.any(y <= 0) or y.max() < _LEAST_RANGE * y.min() or len(y) < X.shape[1] + 5:
        return None
    powers = np.arange(-20, 21) / 10
    profile = box_cox_profile(X, y, powers)
    best = int(np.argmax(profile))
    power = float(powers[best])
    is_clear = 2 * (profile[best] - profile[np.argmin(np.abs(powers - 1))]) >= _LIKELIHOOD_DROP
    if not is_clear or abs(power - 1) < _NEAR_ONE:
        return Check("Scale of the outcome", "The scale it was read on is as good as any.", "fine")
    is_log = 2 * (profile[best] - profile[np.argmin(np.abs(powers))]) < _LIKELIHOOD_DROP
    scale = "its logarithm" if is_log else f"its power {number(power, 2)}"
    finding = f"The model fits clearly better to {scale} (Box-Cox)."
    return Check("Scale of the outcome", finding, "look", _scale_advice(power, is_log=is_log))


def _scale_advice(power: float, *, is_log: bool) -> str:
    """Say what the better scale means: with a power below one effects grow with the outcome, above one they shrink."""
    if is_log:
        return "Effects may be factors rather than steps: compare ratios."
    end = "high" if power < 1 else "low"
    return (
        f"The same change may move it more where it is {end}; an interaction or a bend that says no more than this may be "
        "none."
    )
