"""What is believed where readings say nothing: that some factors matter, and nobody knows which.

Serves three cases: no reading yet, one variant read (its value is known, what would change it is not), and factors that
never were varied, of which a fit of the readings has no opinion.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from doe.advise.belief import DrawsLike
from doe.advise.space import Codes, Space
from doe.coding import Coding, Term
from doe.fit.moment import moment_draws
from doe.model.choices import Settings
from doe.model.outcome import Outcome

Array = npt.NDArray[np.float64]

CHANCE = {"main": 0.35, "two-factor": 0.12, "curvature": 0.15}
"""Chance that a term matters, the last two given that their parents do (Chipman 1996, strong heredity)."""

SHARE = {"main": 0.25, "two-factor": 0.15, "curvature": 0.15}
"""Usual size of a coefficient, as a share of the outcome's useful range."""

UNIT_SHARE = 0.02
BUILD_SHARE = 0.04
READING_SHARE = 0.08
"""Scatter to expect, as shares of the useful range: of units, of builds on one unit, of readings."""


@dataclass(frozen=True, slots=True)
class FullDraws:
    """Draws of one outcome over all terms of all factors; the fields are those of the posterior draws of `doe.fit`.

    Attributes
    ----------
    widths : tuple of int
        Number of columns of each term.
    as_read : ndarray of shape (n_draws, 1 + n_columns)
        The coefficients where the factors that never were varied stay as they stood: what the readings have judged.
    session_sd : float
        How a new session lies off those seen; 0 where nothing tells it.
    """

    terms: tuple[Term, ...]
    coefficients: Array
    included: npt.NDArray[np.bool_]
    build_sd: Array
    reading_sd: Array
    variant_means: Array
    variants: tuple[str, ...]
    widths: tuple[int, ...]
    as_read: Array
    session_sd: float = 0.0

    def taken(self, picks: npt.NDArray[np.intp]) -> FullDraws:
        """Return some of the draws."""
        return FullDraws(
            self.terms, self.coefficients[picks], self.included[picks], self.build_sd[picks], self.reading_sd[picks],
            self.variant_means[picks], self.variants, self.widths, self.as_read[picks], self.session_sd,
        )  # fmt: skip


MOST_PAIRED = 14
"""Factors up to which pairs and curvature are looked at, as `doe.analyse` does."""


def all_terms(coding: Coding) -> tuple[Term, ...]:
    """Return the terms that may matter: mains, pairs and squares, or mains alone where there are very many factors."""
    return coding.terms("quadratic" if len(coding.factors) <= MOST_PAIRED else "main")


def useful_range(outcome: Outcome) -> tuple[float, float]:
    """Return the values between which an outcome with a goal may be expected: its scale, or its goal's range.

    Of differences from a reference object it is a range as long as the scale, to either side of none.
    """
    if outcome.scale is not None:
        low, high = outcome.scale
        middle = 0.0 if outcome.relative_to is None else (low + high) / 2
        return low - middle, high - middle
    ends = [value for value in (*outcome.outer, *outcome.inner) if math.isfinite(value)]
    return min(ends), max(ends)


def prior_draws(
    outcome: Outcome, coding: Coding, n_draws: int, rng: np.random.Generator, known: Sequence[Term] | None = None
) -> FullDraws:
    """Draw possible worlds of one outcome before any reading.

    Parameters
    ----------
    outcome : Outcome
        Its scale or goal sets the size of what is plausible.
    coding : Coding
        Of all factors.
    n_draws : int
    rng : numpy Generator
    known : sequence of Term, optional
        The terms that matter, where that is known; no others do.
    """
    terms = all_terms(coding) if known is None else tuple(known)
    low, high = useful_range(outcome)
    included, columns = _filled(terms, {}, {}, outcome, coding, n_draws=n_draws, rng=rng, surely=known is not None)
    intercept = (low + high) / 2 + (high - low) / 4 * rng.standard_normal((n_draws, 1))
    span, ones = high - low, np.ones(n_draws)
    nothing, coefficients = np.empty((n_draws, 0)), np.hstack([intercept, columns])
    return FullDraws(
        terms, coefficients, included, BUILD_SHARE * span * ones, READING_SHARE * span * ones, nothing, (),
        _widths(terms, coding), coefficients,
    )  # fmt: skip


def anchored_draws(
    prior: FullDraws, own: Mapping[str, Array], space: Space, variants: Mapping[str, Settings], rng: np.random.Generator
) -> FullDraws:
    """Return prior draws that agree with what was read of a few variants among which no effect can be told.

    Each draw's overall level is shifted so that it gives the variants their own values, within the scatter of builds.

    Parameters
    ----------
    prior : FullDraws
        From `prior_draws`.
    own : mapping of str to ndarray of shape (n_draws,)
        Variant name -> draws of its own value, from `opinion.own_values`.
    space : Space
        Codes the settings.
    variants : mapping of str to dict
        Variant name -> settings, of those read.
    rng : numpy Generator
    """
    values = np.column_stack(list(own.values()))
    codes = np.array([space.code(variants[name]) for name in own], dtype=np.intp)
    shape = prior.coefficients[:, 1:] @ space.matrix(codes, prior.terms).astype(float).T[1:]
    offset = prior.build_sd * rng.standard_normal(len(values)) / math.sqrt(len(own))
    coefficients = prior.coefficients.copy()
    coefficients[:, 0] = (values - shape).mean(axis=1) - offset
    return replace(prior, coefficients=coefficients, variant_means=values, variants=tuple(own), as_read=coefficients)


def completed(
    draws: DrawsLike,
    outcome: Outcome,
    space: Space,
    variants: Mapping[str, Settings],
    rng: np.random.Generator,
    known: Sequence[Term] | None = None,
) -> FullDraws:
    """Add prior draws of the terms that a fit had no opinion of, because their factors never were varied.

    What is added says how other settings may differ from those read, and leaves what was read as it is: a factor that always
    stood at one setting has had its effect in every reading.

    Parameters
    ----------
    draws : DrawsLike
        Posterior draws over some terms.
    outcome : Outcome
        Sets the size of what is plausible for the others.
    space : Space
        Codes the settings.
    variants : mapping of str to dict
        Variant name -> settings, of those read.
    rng : numpy Generator
    known : sequence of Term, optional
        The terms that matter, where that is known; no others are added.
    """
    coding = space.coding
    every = (*(all_terms(coding) if known is None else known), *draws.terms)
    terms = tuple(dict.fromkeys(every))
    inside, blocks, start = {}, {}, 1
    for place, term in enumerate(draws.terms):
        width = _width(term, coding)
        inside[term], blocks[term] = draws.included[:, place], draws.coefficients[:, start : start + width]
        start += width
    surely = known is not None
    included, columns = _filled(
        terms, inside, blocks, outcome, coding, n_draws=len(draws.build_sd), rng=rng, surely=surely
    )
    as_read = np.hstack([draws.coefficients[:, :1], columns])
    codes = np.array([space.code(variants[name]) for name in draws.variants], dtype=np.intp)
    coefficients = _held_to_readings(as_read, terms, frozenset(draws.terms), space, codes)
    return FullDraws(
        terms, coefficients, included, draws.build_sd, draws.reading_sd, draws.variant_means, draws.variants,
        _widths(terms, coding), as_read, draws.session_sd,
    )  # fmt: skip


def _filled(
    terms: Sequence[Term],
    known: dict[Term, npt.NDArray[np.bool_]],
    blocks: dict[Term, Array],
    outcome: Outcome,
    coding: Coding,
    *,
    n_draws: int,
    rng: np.random.Generator,
    surely: bool,
) -> tuple[npt.NDArray[np.bool_], Array]:
    """Put known blocks of coefficients in their places and draw the others from the prior, parents first."""
    low, high = useful_range(outcome)
    inside = dict(known)
    columns = []
    for term in terms:
        if term in known:
            columns.append(blocks[term])
            continue
        kind = "main" if term.is_main else ("curvature" if term.is_square else "two-factor")
        active = rng.random(n_draws) < (1.0 if surely else CHANCE[kind])
        for parent in term.parents:
            active &= inside.get(parent, surely)
        inside[term] = active
        sizes = SHARE[kind] * (high - low) * moment_draws(n_draws, _width(term, coding), rng)
        columns.append(np.where(active[:, None], sizes, 0.0))
    if not terms:
        return np.zeros((n_draws, 0), dtype=bool), np.zeros((n_draws, 0))
    return np.stack([inside[term] for term in terms], axis=1), np.hstack(columns)


def _held_to_readings(
    as_read: Array, terms: tuple[Term, ...], fitted: frozenset[Term], space: Space, codes: Codes
) -> Array:
    """Take what added terms do at the settings read out of the terms that the readings have judged.

    There an added term is constant, or a pair with one factor that stood still: constant times the other's main effect.
    """
    coefficients, widths = as_read.copy(), _widths(terms, space.coding)
    slices = {
        term: slice(end - width, end) for term, width, end in zip(terms, widths, np.cumsum(widths) + 1, strict=True)
    }
    for term in terms:
        if term in fitted:
            continue
        block = as_read[:, slices[term]]
        moving = [parent for parent in term.parents if parent in fitted]
        if len(moving) == 1 and not term.is_square:
            still = next(parent for parent in term.parents if parent not in fitted)
            there = space.matrix(codes[:1], (still,))[0, 1:]
            shape = [_width(parent, space.coding) for parent in term.parents]
            axis = term.parents.index(still)
            coefficients[:, slices[moving[0]]] -= np.tensordot(block.reshape(-1, *shape), there, axes=(1 + axis, 0))
        else:
            coefficients[:, 0] -= block @ space.matrix(codes, (term,))[:, 1:].mean(axis=0)
    return coefficients


def _widths(terms: Sequence[Term], coding: Coding) -> tuple[int, ...]:
    return tuple(_width(term, coding) for term in terms)


def _width(term: Term, coding: Coding) -> int:
    return math.prod(coding.axes[name].width for name in term.factors)
