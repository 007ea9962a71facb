"""Mixtures of t distributions: means, standard deviations and exact quantiles of model-averaged quantities."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, stdtr, stdtrit

Array = npt.NDArray[Any]

_ROUNDS = 60
_PRECISION = 1e-5
_LEAST_WEIGHT = 1e-4


@dataclass(frozen=True, slots=True)
class Mixture:
    """Several quantities, each a mixture of t distributions over the same models.

    Attributes
    ----------
    weights : ndarray of shape (n_models, n_quantities)
        Adding to 1 down each column.
    means, scales : ndarray of shape (n_models, n_quantities)
        Centres and scales.
    df : ndarray of shape (n_quantities,)
        Degrees of freedom, shared by the models.
    """

    weights: Array
    means: Array
    scales: Array
    df: Array

    @property
    def mean(self) -> Array:
        """Means, shape (n_quantities,)."""
        return np.asarray((self.weights * self.means).sum(axis=0))

    @property
    def sd(self) -> Array:
        """Standard deviations, shape (n_quantities,); with 2 degrees of freedom or fewer, of the scale alone."""
        inflation = np.where(self.df > 2, self.df / np.maximum(self.df - 2, 1e-12), 1.0)
        second = (self.weights * (self.scales**2 * inflation + self.means**2)).sum(axis=0)
        return np.asarray(np.sqrt(np.maximum(second - self.mean**2, 0.0)))

    def below(self, values: Array) -> Array:
        """Probability that each quantity is below a value, shape (n_quantities,)."""
        models, quantities = np.nonzero(self.weights)  # the others add nothing
        scales, away = self.scales[models, quantities], values[quantities] - self.means[models, quantities]
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.where(scales > 0, away / scales, np.where(away >= 0, np.inf, -np.inf))
        chances = self.weights[models, quantities] * stdtr(self.df[quantities], z)
        return np.bincount(quantities, chances, len(values))

    def density(self, values: Array) -> Array:
        """Density of each quantity at a value, shape (n_quantities,)."""
        scales = np.maximum(self.scales, 1e-100)
        z = np.clip((values[None, :] - self.means) / scales, -1e100, 1e100)
        log_constant = gammaln((self.df + 1) / 2) - gammaln(self.df / 2) - 0.5 * np.log(self.df * np.pi)
        heights = np.exp(log_constant - 0.5 * (self.df + 1) * np.log1p(z**2 / self.df)) / scales
        return np.asarray((self.weights * heights).sum(axis=0))

    def quantile(self, probability: float | Array) -> Array:
        """Quantiles, shape (n_quantities,), by Newton steps held between the components' own quantiles.

        Parameters
        ----------
        probability : float or ndarray of shape (n_quantities,)
        """
        wanted = np.broadcast_to(probability, self.means.shape[1])
        reach = stdtrit(self.df, wanted)
        ends = self.means + reach * self.scales
        live = self.weights > 0
        low = np.where(live, ends, np.inf).min(axis=0)
        high = np.where(live, ends, -np.inf).max(axis=0)
        value = np.clip(
            self.mean + reach * self.sd * np.sqrt(np.maximum(self.df - 2.0, 1.0) / np.maximum(self.df, 1.0)), low, high
        )
        open_ = np.arange(len(value))  # quantities still moving; the rest cost nothing more
        for _ in range(_ROUNDS):
            part = Mixture(self.weights[:, open_], self.means[:, open_], self.scales[:, open_], self.df[open_])
            here, least, most = value[open_], low[open_], high[open_]
            excess = part.below(here) - wanted[open_]
            least, most = np.where(excess < 0, here, least), np.where(excess < 0, most, here)
            step = here - excess / np.maximum(part.density(here), 1e-300)
            step = np.where((step > least) & (step < most), step, (least + most) / 2)
            value[open_], low[open_], high[open_] = step, least, most
            moved = np.abs(step - here) > _PRECISION * (np.abs(step) + part.scales.max(axis=0))
            open_ = open_[moved]
            if len(open_) == 0:
                break
        return np.asarray(value)

    def with_df(self, df: Array | float) -> Mixture:
        """Return the same with fewer degrees of freedom, shape (n_quantities,), for the same sums of squares."""
        return Mixture(
            self.weights, self.means, self.scales * np.sqrt(self.df / df), np.broadcast_to(df, self.df.shape)
        )


def mixture(weights: Array, means: Array, variances: Array, df: float) -> Mixture:
    """Build a mixture, keeping only models that weigh anything for some quantity.

    Parameters
    ----------
    weights : ndarray of shape (n_models,) or (n_models, n_quantities)
        Need not add to 1; a column of zeros gives equal weights.
    means, variances : ndarray of shape (n_models, n_quantities)
    df : float
    """
    spread = np.broadcast_to(weights if weights.ndim == 2 else weights[:, None], means.shape).astype(float)
    totals = spread.sum(axis=0)
    spread = np.where(totals > 0, spread / np.where(totals > 0, totals, 1.0), 1.0 / len(means))
    spread = np.where(spread > _LEAST_WEIGHT, spread, 0.0)
    keep = (spread > 0).any(axis=1)
    spread = spread[keep] / spread[keep].sum(axis=0)
    scales = np.sqrt(np.maximum(variances[keep], 0.0))
    return Mixture(spread, means[keep], scales, np.full(means.shape[1], float(df)))
