"""Two one-sided tests: is a difference small enough, rather than: was none found; and how much data that takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy import special, stats

Array = npt.NDArray[np.float64]

ALPHA = 0.05
"""Risk that a promise is said to be kept although it lies off by the margin."""

_NODES = 200


@cache
def _nodes() -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(_NODES)


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Result of two one-sided tests.

    Attributes
    ----------
    low, high : float
        Interval of the difference that belongs to the tests: of 90 % at a risk of 5 %.
    p_low, p_high : float
        Of the tests against a difference of minus and plus the margin.
    """

    low: float
    high: float
    p_low: float
    p_high: float

    @property
    def p(self) -> float:
        """The larger of the two, which decides."""
        return max(self.p_low, self.p_high)


def two_one_sided(difference: float, se: float, df: float, margin: float) -> Equivalence:
    """Test whether a difference lies within plus and minus a margin, each side at a risk of `ALPHA`.

    Parameters
    ----------
    difference, se : float
        Estimate and its standard error, in outcome units.
    df : float
        Degrees of freedom of the standard error; may be infinite.
    margin : float
        Largest difference that does not matter, above 0.

    References
    ----------
    D. J. Schuirmann (1987), A comparison of the two one-sided tests procedure and the power approach for assessing the
    equivalence of average bioavailability. Journal of Pharmacokinetics and Biopharmaceutics 15, 657-680.
    doi:10.1007/BF01068419
    """
    spread = stats.t(df) if math.isfinite(df) else stats.norm()
    se = max(se, 1e-300)
    reach = float(spread.ppf(1 - ALPHA)) * se
    return Equivalence(
        difference - reach,
        difference + reach,
        float(spread.sf((difference + margin) / se)),
        float(spread.cdf((difference - margin) / se)),
    )


def chance_to_confirm(margin: float, se: float, df: float, alpha: float = ALPHA, shift: float = 0.0) -> float:
    """Return the power of `two_one_sided` where the true difference is `shift`.

    The estimate is normal and its squared standard error a scaled chi-squared with `df` degrees of freedom, independent of
    it; the power is the mean over the latter of the chance that the former falls into what is then accepted (Phillips 1990,
    Journal of Pharmacokinetics and Biopharmaceutics 18, 137-144, doi:10.1007/BF01063556, as an integral).
    """
    if se <= 0:
        return float(abs(shift) < margin)
    if not math.isfinite(df):
        room = margin - special.ndtri(1 - alpha) * se
        return float(max(special.ndtr((room - shift) / se) - special.ndtr((-room - shift) / se), 0.0))
    nodes, weights = _nodes()
    reach = float(special.stdtrit(df, 1 - alpha)) * se
    most = min((margin / reach) ** 2 * df, float(special.chdtri(df, 1e-12)))
    least = min(float(special.chdtri(df, 1 - 1e-12)), most)
    squares = least + (most - least) * (nodes + 1) / 2
    rooms = margin - reach * np.sqrt(squares / df)
    inside = special.ndtr((rooms - shift) / se) - special.ndtr((-rooms - shift) / se)
    log_density = (df / 2 - 1) * np.log(squares) - squares / 2 - df / 2 * math.log(2) - special.gammaln(df / 2)
    return float((most - least) / 2 * (weights @ (np.exp(log_density) * np.maximum(inside, 0.0))))


def chance_not_short(margin: float, se: float, df: float, alpha: float = ALPHA, shift: float = 0.0) -> float:
    """Return the power of the one test that a difference is worse by less than the margin, where it is `shift` worse.

    The test statistic follows the noncentral t with noncentrality (margin - shift) / se.
    """
    if se <= 0:
        return float(shift < margin)
    distance = (margin - shift) / se
    if not math.isfinite(df):
        return float(special.ndtr(distance - special.ndtri(1 - alpha)))
    return float(stats.nct.sf(special.stdtrit(df, 1 - alpha), df, distance))  # special.nctdtr has no number for some
