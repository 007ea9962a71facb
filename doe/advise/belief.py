"""What is believed about all outcomes at once: joint posterior draws, turned into worth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from doe.advise.space import Codes, Space
from doe.advise.worth import worth
from doe.coding import Term
from doe.model.choices import Settings
from doe.model.outcome import Outcome

Floats = npt.NDArray[np.floating[Any]]

AT_ONCE = 1_024
"""Variants whose worth is worked out together: as many as fit a processor's cache."""


class DrawsLike(Protocol):
    """Posterior draws of one outcome, as `doe.fit` hands them out (or a prior, before there are readings)."""

    @property
    def terms(self) -> tuple[Term, ...]:
        """Candidate terms; columns as in `Space.matrix`."""

    @property
    def coefficients(self) -> npt.NDArray[np.float64]:
        """Shape (n_draws, 1 + n_columns), intercept first, in outcome units per coded unit."""

    @property
    def included(self) -> npt.NDArray[np.bool_]:
        """Which terms the draw's model holds, shape (n_draws, n_terms)."""

    @property
    def build_sd(self) -> npt.NDArray[np.float64]:
        """Build-to-build scatter, shape (n_draws,), in outcome units."""

    @property
    def reading_sd(self) -> npt.NDArray[np.float64]:
        """Scatter of one reading, shape (n_draws,), in outcome units."""

    @property
    def session_sd(self) -> float:
        """How a new session lies off those seen, in outcome units; 0 where nothing tells it."""

    @property
    def variant_means(self) -> npt.NDArray[np.float64]:
        """Own true value of each variant read, shape (n_draws, n_variants)."""

    @property
    def variants(self) -> tuple[str, ...]:
        """Names of the variants read."""


@dataclass(frozen=True, slots=True)
class Belief:
    """Joint posterior draws of all outcomes with a goal.

    Attributes
    ----------
    outcomes : tuple of Outcome
        With a goal.
    draws : tuple of DrawsLike
        One per outcome, all with the same number of draws; draw d of every outcome together is one possible world.
    space : Space
        Codes the settings.
    variants : tuple of str
        Variants that have been read.
    variant_codes : ndarray of shape (n_variants, n_factors)
        Their settings.
    variant_values : tuple of ndarray of shape (n_draws, n_variants)
        Their own true values, one array per outcome, in its unit.
    offsets : tuple of ndarray of shape (n_draws,)
        One build offset per world and outcome, for what one new build would show.
    unit_offsets : mapping of str to tuple of ndarray of shape (n_draws,)
        What all variants on one unit have in common beside their settings, one array per outcome.
    """

    outcomes: tuple[Outcome, ...]
    draws: tuple[DrawsLike, ...]
    space: Space
    variants: tuple[str, ...]
    variant_codes: Codes
    variant_values: tuple[Floats, ...]
    offsets: tuple[Floats, ...]
    unit_offsets: Mapping[str, tuple[Floats, ...]]

    @property
    def n_draws(self) -> int:
        """Number of possible worlds."""
        return len(self.draws[0].build_sd)

    def values(self, codes: Codes) -> tuple[Floats, ...]:
        """Return the mean of each outcome over builds, one array of shape (n_draws, n_variants) per outcome."""
        return self.values_on(codes, (), np.empty(0, dtype=np.intp))

    def values_on(self, codes: Codes, units: Sequence[str | None], which: npt.NDArray[np.intp]) -> tuple[Floats, ...]:
        """Like `values`, each variant on the unit it would be built on.

        Parameters
        ----------
        codes : ndarray of shape (n_variants, n_factors)
        units : sequence of str or None
            Names of units; None for a new one, about which nothing is known.
        which : ndarray of shape (n_variants,)
            Place in `units` for each variant.
        """
        return tuple(rows @ matrix for rows, matrix in self._factors(codes, units, which))

    def worth_on(self, codes: Codes, units: Sequence[str | None], which: npt.NDArray[np.intp], most: int) -> Floats:
        """Return the worth of `values_on` in the first draws, shape (most, n_variants), block by block for many variants."""
        factors = self._factors(codes, units, which, most)
        result = np.empty((len(factors[0][0]), len(codes)), dtype=np.result_type(*(rows for rows, _ in factors)))
        for start in range(0, len(codes), AT_ONCE):
            block = slice(start, start + AT_ONCE)
            result[:, block] = self.worth([rows @ matrix[:, block] for rows, matrix in factors])
        return result

    def _factors(
        self, codes: Codes, units: Sequence[str | None], which: npt.NDArray[np.intp], most: int | None = None
    ) -> list[tuple[Floats, Floats]]:
        """Return, per outcome, what multiplies to its means: effects of terms and units, and what holds for the variants."""
        known = [unit for unit in units if unit is not None and unit in self.unit_offsets]
        places = np.array([units.index(unit) for unit in known], dtype=np.intp)
        stands = (which[:, None] == places).astype(np.float32) if known else np.empty((len(codes), 0), dtype=np.float32)
        matrices: dict[tuple[Term, ...], Floats] = {}
        factors = []
        for place, draws in enumerate(self.draws):
            if draws.terms not in matrices:
                matrices[draws.terms] = np.hstack([self.space.matrix(codes, draws.terms), stands]).T
            rows = quick(draws.coefficients[:most])
            offsets = [self.unit_offsets[unit][place][:most, None].astype(rows.dtype) for unit in known]
            factors.append((np.hstack([rows, *offsets]), matrices[draws.terms]))
        return factors

    def as_built(self, values: Sequence[Floats], sign: float = 1.0) -> tuple[Floats, ...]:
        """Add one build offset per world to means of shape (n_draws, n_variants)."""
        return tuple(
            value + (sign * offset[: len(value), None]).astype(value.dtype)
            for value, offset in zip(values, self.offsets, strict=True)
        )

    def worth(self, values: Sequence[Floats]) -> Floats:
        """Return the worth of outcome values, shape (n_draws, n_variants)."""
        return worth(self.outcomes, values)

    def design_worth(self, values: Sequence[Floats]) -> Floats:
        """Return the worth to expect over builds: the mean over a build offset and its mirror image."""
        up, down = self.as_built(values, 1.0), self.as_built(values, -1.0)
        result: Floats = 0.5 * (self.worth(up) + self.worth(down))
        return result

    def variant_worth(self) -> Floats:
        """Return the worth of each variant read, shape (n_draws, n_variants)."""
        return self.worth(self.variant_values)

    def best_place(self, worth: Floats) -> int:
        """Return the place of the variant to keep by a mean worth of each; one known in part only is a guess, worth a reading.

        Parameters
        ----------
        worth : ndarray of shape (n_variants,)
            At whatever weights are asked about.
        """
        is_whole = np.all([np.isin(self.variants, item.variants) for item in self.draws], axis=0)
        return int(np.where(is_whole, worth, -np.inf).argmax() if is_whole.any() else worth.argmax())

    def noise(self, rounds: Floats, raters: Mapping[str, int]) -> Floats:
        """Return the variance of a mean of readings, shape (n_outcomes, n_moves).

        Parameters
        ----------
        rounds : ndarray of shape (n_moves,)
            Rounds of readings of each move.
        raters : mapping of str to int
            Outcome name -> readings in one round.
        """
        per_round = [
            float(np.mean(draws.reading_sd**2)) / raters.get(outcome.name, 1)
            for outcome, draws in zip(self.outcomes, self.draws, strict=True)
        ]
        return np.array(per_round)[:, None] / rounds


def quick(coefficients: Floats) -> Floats:
    """Return coefficients in single precision, or in double where effects are small beside the level they ride on."""
    level, scatter = np.abs(coefficients[:, 0]).max(), coefficients.std(axis=0).max()
    return coefficients.astype(np.float32) if level < 1e4 * scatter else coefficients


def make_belief(
    outcomes: Sequence[Outcome],
    draws: Sequence[DrawsLike],
    space: Space,
    variants: Mapping[str, Settings],
    homes: Mapping[str, str],
    rng: np.random.Generator,
) -> Belief:
    """Join the outcomes' draws; a variant without a reading of an outcome is predicted for it, as one build.

    Parameters
    ----------
    outcomes : sequence of Outcome
        With a goal.
    draws : sequence of DrawsLike
        One per outcome.
    space : Space
        Codes the settings.
    variants : mapping of str to dict
        Variants read, with their settings.
    homes : mapping of str to str
        Variant -> unit it was read on, where known.
    rng : numpy Generator
        For build offsets.
    """
    names = tuple(variants)
    codes = np.array([space.code(variants[name]) for name in names], dtype=np.intp)
    codes = codes.reshape(len(names), len(space.factors))
    values, away = [], []
    for item in draws:
        design = item.coefficients @ space.matrix(codes, item.terms).astype(float).T
        column = design + item.build_sd[:, None] * rng.standard_normal(design.shape)
        place = {name: where for where, name in enumerate(item.variants)}
        known = [where for where, name in enumerate(names) if name in place]
        column[:, known] = item.variant_means[:, [place[names[where]] for where in known]]
        values.append(column)
        away.append(column - design)
    offsets = tuple(item.build_sd * rng.standard_normal(len(item.build_sd)) for item in draws)
    return Belief(
        tuple(outcomes), tuple(draws), space, names, codes, tuple(values), offsets, _unit_offsets(names, away, homes)
    )


def _unit_offsets(
    names: Sequence[str], away: Sequence[Floats], homes: Mapping[str, str]
) -> dict[str, tuple[Floats, ...]]:
    """Split what variants deviate from their settings' mean into a part per unit and the rest.

    The unit's part is its variants' mean deviation, shrunk by the ratio of variances in each draw (Searle, Casella &
    McCulloch 1992, Variance Components, ch. 7), so that it vanishes where units do not differ.
    """
    units = sorted({homes[name] for name in names if name in homes})
    groups = [[place for place, name in enumerate(names) if homes.get(name) == unit] for unit in units]
    if not units:
        return {}
    per_outcome = [_shrunk_means(deviations, groups) for deviations in away]
    return {unit: tuple(part[:, place] for part in per_outcome) for place, unit in enumerate(units)}


def _shrunk_means(deviations: Floats, groups: Sequence[Sequence[int]]) -> Floats:
    means = np.stack([deviations[:, group].mean(axis=1) for group in groups], axis=1)
    sizes = np.array([len(group) for group in groups], dtype=float)
    squares = sum(((deviations[:, group] - means[:, [place]]) ** 2).sum(axis=1) for place, group in enumerate(groups))
    spare = max(sizes.sum() - len(groups), 1.0)
    within = np.asarray(squares) / spare
    between = np.maximum((means**2).mean(axis=1) - within * (1 / sizes).mean(), 0.0)
    share = between[:, None] / np.maximum(between[:, None] + within[:, None] / sizes, 1e-300)
    result: Floats = share * means
    return result
