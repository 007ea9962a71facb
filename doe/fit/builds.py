"""From readings to builds: one adjusted value per variant, and how uncertain these values are together.

All that readings say about the factors passes through the variants, since settings do not change within a variant. With
sessions, raters and drift taken out by generalised least squares, the readings shrink to one value per variant with a
covariance matrix, without loss for given variance components (McCulloch & Searle, Generalized, Linear, and Mixed Models,
2001, ch. 6).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import linalg, special

from doe.coding import sum_contrasts
from doe.fit.evidence import Evidence
from doe.fit.reml import Grouping, Reml
from doe.model.patience import checkpoint

Array = npt.NDArray[Any]

_FREE = 1e6


@dataclass(frozen=True, slots=True)
class Builds:
    """Adjusted values of the variants.

    Attributes
    ----------
    means : ndarray of shape (n_variants,)
        Adjusted for session, rater and drift, in outcome units.
    reading : ndarray of shape (n_variants, n_variants)
        Covariance of `means` for builds as they are: reading scatter only.
    between : ndarray of shape (n_variants, n_variants)
        Covariance of the builds' own offsets from what their settings would give.
    reading_df : float
        Readings that tell how far readings scatter, beyond those that give `means`; infinite where that is known.
    session_sd : float
        Scatter from session to session that `means` were adjusted by; infinite where all was read in one session, since nothing
        tells how the next will differ; 0 where sessions are not told apart.
    unit_sd : float
        Scatter from unit to unit, a part of `between`; 0 where units are not told apart.
    n_units, n_sessions : int
        Units and sessions that these were seen on.
    """

    means: Array
    reading: Array
    between: Array
    reading_df: float = np.inf
    session_sd: float = 0.0
    unit_sd: float = 0.0
    n_units: int = 0
    n_sessions: int = 0

    @property
    def total(self) -> Array:
        """Covariance of `means` about what the settings would give, shape (n_variants, n_variants)."""
        return self.reading + self.between

    @property
    def new_build(self) -> float:
        """Variance of a new build on a unit of its own about what its settings give, to take 95 % intervals from.

        A few units hardly show how much units differ, so their part is as large as Student's t has it with one degree of
        freedom a unit: one less for their mean, one more for what is expected of them. With the bare estimate, predictions
        for new units held 90 to 92 % where there were three to eight.
        """
        variance = float(np.diag(self.between).mean())
        if self.unit_sd == 0.0 or self.n_units < 2:
            return variance
        return variance + (_doubt(self.n_units) ** 2 - 1.0) * self.unit_sd**2

    @property
    def new_session_sd(self) -> float:
        """How readings of a new session lie off the mean of those seen, to take 95 % intervals from.

        Doubted like units, and the mean of a few sessions is itself off. 0 where fewer than two sessions tell.
        """
        if self.n_sessions < 2:
            return 0.0
        return self.session_sd * _doubt(self.n_sessions) * math.sqrt(1.0 + 1.0 / self.n_sessions)


def _doubt(count: int) -> float:
    """Return how many times wider Student's t with so many degrees of freedom has a 95 % interval than the normal."""
    return float(special.stdtrit(count, 0.975) / special.ndtri(0.975))


def adjusted_builds(evidence: Evidence, sources: list[Grouping], model: Reml) -> Builds:
    """Work out adjusted values for given variance components.

    Parameters
    ----------
    evidence : Evidence
        The readings.
    sources : list of Grouping
        Sources of scatter that `model` was fitted with.
    model : Reml
        Variance components.

    Returns
    -------
    Builds
        Of the variants with settings; reference objects have served to carry the session offsets.
    """
    checkpoint()
    n_all, n_built = len(evidence.variants), evidence.n_built
    weights = np.bincount(evidence.variant, evidence.counts, n_all)
    precision = np.diag(weights)
    right = np.bincount(evidence.variant, evidence.counts * evidence.means, n_all)
    conditions = [source for source in sources if source.name not in ("variant", "unit")]
    if conditions:
        design, scale = _condition_columns(conditions, evidence, model)
        weighted = design * evidence.counts[:, None]
        cross = _summed(evidence.variant, weighted, n_all)
        inner = design.T @ weighted + np.diag(1.0 / np.maximum(scale, 1e-10))
        solved = linalg.solve(inner, np.column_stack([cross.T, weighted.T @ evidence.means]), assume_a="pos")
        precision = precision - cross @ solved[:, :-1]
        right = right - cross @ solved[:, -1]
    reading = np.linalg.inv(precision + 1e-12 * np.eye(n_all) * weights.max()) * model.sigma**2
    means = reading @ right / model.sigma**2
    means, reading = _relative(evidence, means, reading)
    between = _between(evidence, model)
    return Builds(
        means[:n_built] + evidence.location,
        reading[:n_built, :n_built],
        between,
        evidence.n_replicates,
        _session_sd(evidence, model),
        model.sd_of("unit"),
        len(np.unique(evidence.units[evidence.units >= 0])),
        len(np.unique(evidence.session[evidence.session >= 0])),
    )


def _relative(evidence: Evidence, means: Array, reading: Array) -> tuple[Array, Array]:
    """Express the values as differences from the outcome's reference object, if it was read."""
    if evidence.origin is None:
        return means, reading
    take = np.eye(len(means))
    take[:, evidence.origin] -= 1.0
    return take @ means - evidence.location, take @ reading @ take.T


def _are_compared(evidence: Evidence) -> bool:
    """Whether variants judged by several raters link all raters, directly or from one to the next."""
    linked, n_linked = evidence.rater == evidence.rater[0], 0
    while n_linked < np.count_nonzero(linked):
        n_linked = int(np.count_nonzero(linked))
        of_theirs = np.isin(evidence.variant, evidence.variant[linked])
        linked = np.isin(evidence.rater, evidence.rater[of_theirs])
    return bool(linked.all())


def _condition_columns(conditions: list[Grouping], evidence: Evidence, model: Reml) -> tuple[Array, Array]:
    """Build indicator columns of sessions, raters and drift, and each offset's variance over sigma squared.

    The raters are the panel that counts: their offsets are free, but add to zero. Where no variant tells two of them apart,
    free offsets would leave what each judged open without any bound; then a rater may differ as much as another reading.
    """
    blocks, scales = [], []
    for source in conditions:
        block = np.zeros((len(source.index), source.size))
        covariate = 1.0 if source.covariates is None else source.covariates[:, 0]
        block[np.arange(len(source.index)), source.index] = covariate
        scale = model.variance_of(source.name)[0, 0] / model.sigma**2
        if source.name == "rater" and _are_compared(evidence):
            block, scale = block @ sum_contrasts(source.size), _FREE
        elif source.name == "rater":
            scale = max(scale, 1.0)
        blocks.append(block)
        scales.append(np.full(block.shape[1], scale))
    return np.hstack(blocks), np.concatenate(scales)


def _summed(index: npt.NDArray[np.intp], rows: Array, size: int) -> Array:
    summed = np.zeros((size, rows.shape[1]))
    np.add.at(summed, index, rows)
    return summed


def _between(evidence: Evidence, model: Reml) -> Array:
    own = np.eye(evidence.n_built) * model.variance_of("variant")[0, 0]
    same = (evidence.units[:, None] == evidence.units[None, :]) & (evidence.units >= 0)[:, None]
    return np.asarray(own + model.variance_of("unit")[0, 0] * same)


def _session_sd(evidence: Evidence, model: Reml) -> float:
    sessions = np.unique(evidence.session)
    return np.inf if len(sessions) == 1 and sessions[0] >= 0 else model.sd_of("session")
