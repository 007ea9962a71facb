"""How sure a plan will be before anything is built: half-widths of intervals, and power of a t test, from the noncentral t.

Fettle's verdict 'moves it' asks for more; `doe.plans.result.precision_sentences` says how much.
"""

from __future__ import annotations

import math

from scipy import optimize, stats

LEVEL = 0.95
POWER = 0.8
"""Chance of seeing an effect that counts as enough; common practice, no source."""


def half_width(se: float, df: float, level: float = LEVEL) -> float:
    """Return half the width of the two-sided interval of an effect.

    Parameters
    ----------
    se : float
        Standard error of the effect, in outcome units.
    df : float
        Degrees of freedom that the scatter is judged with; 0 gives infinity, since nothing is known of it.
    level : float
        Coverage.
    """
    if df <= 0 or not math.isfinite(se):
        return math.inf
    return float(stats.t.ppf((1 + level) / 2, df)) * se


def power(effect: float, se: float, df: float, level: float = LEVEL) -> float:
    """Return the chance that a two-sided t test sees an effect of a given size.

    The test statistic follows the noncentral t with noncentrality effect / se (Cohen 1988; Montgomery, Design and Analysis
    of Experiments, ch. 2).

    Parameters
    ----------
    effect, se : float
        Size of the effect and its standard error, both in outcome units.
    df : float
        Degrees of freedom; 0 gives 0.
    level : float
        One minus the chance of a false alarm.
    """
    if df <= 0 or not math.isfinite(se) or se <= 0:
        return 0.0
    bound = float(stats.t.ppf((1 + level) / 2, df))
    shift = abs(effect) / se
    upper, lower = float(stats.nct.sf(bound, df, shift)), float(stats.nct.cdf(-bound, df, shift))
    if math.isnan(lower):  # the series gives up far out, where this tail is empty
        lower = 0.0
    if math.isnan(upper):  # t^2 is F(1, df), whose series reaches further
        upper = float(stats.ncf.sf(bound**2, 1, df, shift**2)) - lower
    return min(1.0, upper + lower)


def detectable(se: float, df: float, level: float = LEVEL) -> float:
    """Return the smallest effect that a two-sided t test sees with the chance `POWER`; infinity without degrees of freedom.

    Parameters
    ----------
    se : float
        Standard error of the effect, in outcome units.
    df : float
        Degrees of freedom.
    level : float
        One minus the chance of a false alarm.
    """
    if df <= 0 or not math.isfinite(se):
        return math.inf
    bound = float(stats.t.ppf((1 + level) / 2, df))
    top = 2 * (bound + 5)
    while power(top, 1.0, df, level) < POWER:
        top *= 2
    return se * float(optimize.brentq(lambda shift: power(shift, 1.0, df, level) - POWER, 1e-9, top, xtol=1e-10))
