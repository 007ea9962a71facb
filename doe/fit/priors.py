"""What is believed about effects before the first reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import numpy.typing as npt

from doe.coding import Coding, Term, sum_contrasts
from doe.model.errors import UsageError, listed
from doe.model.given import described
from doe.model.numbers import finite, not_negative

Array = npt.NDArray[Any]

Heredity = Literal["strong", "weak"]
HEREDITIES: tuple[Heredity, ...] = get_args(Heredity)


@dataclass(frozen=True, slots=True)
class Prior:
    """Prior of the search for active terms.

    Most factors do nothing worth having (effect sparsity, Box & Meyer 1986, Technometrics 28, 11-18), and interactions are
    likelier between factors that matter by themselves (effect heredity, Chipman 1996, Canad. J. Statist. 24, 17-36).

    Attributes
    ----------
    main : float
        Mean of the share of main effects that are active; lowered where there are so many factors that more than two or
        three would be expected.
    interaction, curvature : float
        Mean of the share of interactions and of curvature terms that are active, among those whose main effects are.
    orphan : float
        Weak heredity: probability of an interaction with one active main effect.
    certainty : float
        How firmly the three shares are held: 1 lets the log teach the most, a large number holds them fixed.
    scales : tuple of float
        Sizes of a coded effect, in standard deviations of one variant's value; each gets the same weight.
    scale_df : float
        Weight, in degrees of freedom, of what replicate readings say about the smallest possible scatter.
    heredity : {"strong", "weak"}
        Which models are looked at.

    Raises
    ------
    UsageError
        If one of them is out of its range.
    """

    main: float = 0.16
    interaction: float = 0.1
    curvature: float = 0.07
    orphan: float = 0.04
    certainty: float = 1.5
    scales: Sequence[float] = (1.5, 3.0, 6.0)
    scale_df: float = 2.0
    heredity: Heredity = "strong"

    def __post_init__(self) -> None:
        for name in ("main", "interaction", "curvature", "orphan"):
            if not 0 < finite(f"Prior: {name}", share := getattr(self, name)) < 1:
                raise UsageError(f"Prior: {name} is {share}; it must be a share above 0 and below 1.")
        not_negative("Prior: scale_df", self.scale_df)
        if not len(self.scales):
            raise UsageError("Prior: scales holds no number; give one or more.")
        for name, value in (("certainty", self.certainty), *(("scales", size) for size in self.scales)):
            if not not_negative(f"Prior: {name}", value):
                raise UsageError(f"Prior: {name} is {value}; it must be above 0.")
        if self.heredity not in HEREDITIES:
            raise UsageError(f"Prior: heredity is {described(self.heredity)}; it must be {listed(HEREDITIES)}.")

    def shapes(self, n_factors: int) -> tuple[tuple[float, float], ...]:
        """Beta shapes of the share of active terms: main effects, interactions, curvature."""
        means = (min(self.main, 2.5 / max(n_factors, 1)), self.interaction, self.curvature)
        return tuple((self.certainty, self.certainty * (1.0 / mean - 1.0)) for mean in means)


def prior_columns(coding: Coding, term: Term) -> Array:
    """Return the change of basis from a term's coded columns to columns with equal, independent priors.

    The levels of a categorical factor are exchangeable: each level's effect has the same prior variance as the coded effect
    of a numeric factor. Higher polynomials of an ordered factor are held smaller, in proportion to their degree.

    Returns
    -------
    ndarray of shape (n_columns, n_columns)
        `T`, such that ``coded columns @ T`` are the columns with equal priors, and ``T @ b`` turns their coefficients back.
    """
    change: Array = np.ones((1, 1))
    for name in term.factors:
        if coding.axes[name].width == 1:  # a change of basis there is none
            continue
        change = np.kron(change, _factor_change(coding, name))
    return change


def _factor_change(coding: Coding, name: str) -> Array:
    axis = coding.axes[name]
    if axis.factor is not None and axis.factor.kind == "ordered":
        return np.diag(1.0 / np.arange(1, axis.width + 1))
    n_levels = len(axis.levels)
    centred = np.eye(n_levels) - 1.0 / n_levels
    basis = np.linalg.svd(centred)[0][:, : n_levels - 1] * np.sqrt(n_levels / (n_levels - 1))
    return np.asarray(np.linalg.lstsq(sum_contrasts(n_levels), basis, rcond=None)[0])
