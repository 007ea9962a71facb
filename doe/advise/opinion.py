"""Posterior draws of one outcome for choosing, straight from the readings.

The same engine as `doe.analyse`, asked with the prior of someone who has to choose rather than to claim. Claims rest on a
sparse prior and on hardly any opinion about scatter (on that between units alone), so that nothing is claimed lightly. A
choice among trials loses more by overlooking a bend or a pair than by trying one in vain; and whoever states a goal has said
how large a change is worth talking about, so that builds alike may be expected to come out alike on that scale.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from doe.advise.prior import BUILD_SHARE, READING_SHARE, UNIT_SHARE, all_terms, useful_range
from doe.coding import Coding, Matrix, Term
from doe.fit.active import Posterior, search
from doe.fit.builds import Builds
from doe.fit.draws import Draws, draw
from doe.fit.estimates import averages
from doe.fit.evidence import Evidence
from doe.fit.origins import Origin, origin_of
from doe.fit.passes import supported_terms
from doe.fit.priors import Prior
from doe.fit.reml import Bounded, Expected
from doe.fit.whiten import Problem, usable_terms, whiten
from doe.model.errors import FitError
from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.outcome import Outcome
from doe.model.stated import as_labels

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]

BOLD = Prior(main=0.25, interaction=0.20, curvature=0.30, certainty=3.0, scale_df=16.0)
"""Prior for choosing; `scale_df` is the weight of what is expected of the scatter, in builds."""

KNOWN = Prior(main=0.95, interaction=0.95, curvature=0.95, certainty=20.0, scale_df=16.0)
"""The same where it is known which terms matter."""

EXPECTED: dict[str, Expected] = {"unit": (UNIT_SHARE / READING_SHARE) ** 2, "session": Bounded()}
"""Variance to expect between units, over that of readings. A bench has two to five of them, each with its own setting of
what only a rebuild changes; scatter between them estimated freely would take up what that factor does. Sessions may differ as
much as they like, but not without end."""

FIRST_WEIGHT = 2.0
"""Weight of what is expected of the scatter, in builds, while it is still open whether there is less."""

SIZES = (0.1, 0.2, 0.4)
"""Usual sizes of a coded effect, as shares of the outcome's useful range; each gets the same weight. The search takes effects
for normal with this spread, the draws for 1.7 times as large on average, and hardly ever near nothing."""

BEAMS = (20, 40)
"""Models grown at each size: in the pass that judges the scatter, and in the one that counts."""

PROPOSALS = 4
"""Draws made for each one wanted, to pick those whose active effects are of some size (`doe.fit.moment`)."""


def posterior_draws(
    readings: pd.DataFrame,
    factors: Sequence[Factor],
    outcome: Outcome,
    n_draws: int,
    rng: np.random.Generator,
    known: Sequence[Term] | None = None,
    derived: Sequence[Derived] = (),
) -> Draws:
    """Draw from what the readings say of one outcome.

    Parameters
    ----------
    readings : DataFrame
        One row per reading, as `doe.analyse` takes them.
    factors : sequence of Factor
    outcome : Outcome
        Its goal or scale says what scatter is to be expected.
    n_draws : int
    rng : numpy Generator
    known : sequence of Term, optional
        The terms that matter, where that is known; the others are left out.
    derived : sequence of Derived
        Quantities that those terms may use.

    Raises
    ------
    FitError
        If fewer than two different variants were read, or all readings are equal.
    """
    coding = Coding(tuple(factors), tuple(derived))
    origin = origin_of(readings, coding, outcome)
    evidence = origin.evidence
    terms = _terms(coding, evidence, known)
    matrix = coding.matrix(evidence.settings, terms)
    usable, unvaried = usable_terms(matrix, terms)
    if not usable or evidence.spread == 0:
        raise FitError(f"The readings of {outcome.name} cannot tell effects yet.")
    if unvaried:
        matrix = coding.matrix(evidence.settings, usable)
    _, problem, _ = _adjusted(origin, coding, matrix, _mains(coding, evidence, matrix))
    prior = BOLD if known is None else KNOWN
    first = _first(problem, outcome, prior)
    builds, problem, reading_sd = _adjusted(origin, coding, matrix, supported_terms(first))
    average = averages(coding, _second(problem, outcome, first, prior))
    names = evidence.variants[: evidence.n_built]
    proposals = PROPOSALS if known is None else 1
    return draw(
        average, builds, matrix.values,
        variants=names, reading_sd=reading_sd, n_draws=n_draws, rng=rng, proposals=proposals,
    )  # fmt: skip


def own_values(
    readings: pd.DataFrame,
    factors: Sequence[Factor],
    outcome: Outcome,
    variants: Collection[str],
    reading_sd: Floats,
    rng: np.random.Generator,
) -> dict[str, Floats]:
    """Draw the own values of variants among which no effect can be told, shape (n_draws,) each: what was read of them.

    Parameters
    ----------
    readings : DataFrame
        Of this outcome only, each with a value, one at least of such a variant.
    factors : sequence of Factor
    outcome : Outcome
    variants : collection of str
        Those with settings; reference objects have none.
    reading_sd : ndarray of shape (n_draws,)
        Scatter to expect of a reading; comparisons have their own.
    rng : numpy Generator
    """
    if outcome.kind == "compared":
        coding = Coding(tuple(factors))
        origin = origin_of(readings, coding, outcome)
        evidence = origin.evidence
        builds = origin.scatter(coding, coding.matrix(evidence.settings, ())).builds
        noise = rng.standard_normal((len(reading_sd), evidence.n_built))
        drawn = builds.means + noise @ np.linalg.cholesky(builds.reading).T
        return dict(zip(evidence.variants[: evidence.n_built], drawn.T, strict=True))
    groups = readings["value"].astype(float).groupby(as_labels(readings["variant"]), sort=False)
    means, counts = groups.mean(), groups.count()
    names = [name for name in means.index if name in variants]
    spread = reading_sd[:, None] / np.sqrt(counts[names].to_numpy(dtype=float))
    own = means[names].to_numpy() + spread * rng.standard_normal(spread.shape)
    level = outcome.relative_to
    if level is not None and level in means.index and level not in variants:
        own = own - (means[level] + reading_sd / math.sqrt(counts[level]) * rng.standard_normal(len(own)))[:, None]
    return dict(zip(names, own.T, strict=True))


def _terms(coding: Coding, evidence: Evidence, known: Sequence[Term] | None) -> tuple[Term, ...]:
    """Return the terms none of whose factors stood still; of derived quantities the readings tell whether they did."""
    if evidence.n_built < 2:
        return ()
    still = {factor.name for factor in coding.factors}.difference(evidence.varied)
    return tuple(term for term in (all_terms(coding) if known is None else known) if still.isdisjoint(term.factors))


def _mains(coding: Coding, evidence: Evidence, matrix: Matrix) -> list[Term]:
    """Return the main effects if the log can bear all of them, else none."""
    mains = [term for term in matrix.terms if term.is_main]
    spare = evidence.n_built - 1 - sum(coding.axes[term.factors[0]].width for term in mains)
    return mains if spare >= 3 else []


def _adjusted(origin: Origin, coding: Coding, matrix: Matrix, terms: Sequence[Term]) -> tuple[Builds, Problem, float]:
    """Adjust the builds, their scatter judged about `terms`, and whiten them with all terms of `matrix`."""
    scatter = origin.scatter(coding, coding.matrix(origin.evidence.settings, terms), EXPECTED)
    return scatter.builds, whiten(scatter.builds, matrix, coding, replicated=scatter.replicated), scatter.reading_sd


def _first(problem: Problem, outcome: Outcome, prior: Prior) -> Posterior:
    """Search while it is still open how large the scatter is."""
    return _searched(problem, outcome, prior, _expected_variance(problem, outcome), FIRST_WEIGHT, BEAMS[0])


def _second(problem: Problem, outcome: Outcome, first: Posterior, prior: Prior) -> Posterior:
    """Search with the full weight of the expected scatter, unless the first search saw less of it."""
    seen = float(first.weights @ first.variances)
    expected = min(_expected_variance(problem, outcome), seen)
    return _searched(problem, outcome, prior, expected, prior.scale_df, BEAMS[1])


def _expected_variance(problem: Problem, outcome: Outcome) -> float:
    """Return the variance to expect of a build's value about what its settings give, in squared outcome units."""
    low, high = useful_range(outcome)
    readings = READING_SHARE * (high - low)
    if problem.reading_share < 1.0:  # then replicates tell
        readings = math.sqrt(problem.reading_share) * problem.unit
    return (BUILD_SHARE * (high - low)) ** 2 + readings**2


def _searched(problem: Problem, outcome: Outcome, prior: Prior, expected: float, weight: float, beam: int) -> Posterior:
    """Search with an inverse-gamma prior on the scatter, `weight` builds heavy, and effects sized by the outcome's range."""
    low, high = useful_range(outcome)
    scales = tuple(share * (high - low) / math.sqrt(expected) for share in SIZES)
    return search(problem, replace(prior, scales=scales, scale_df=weight), floor=weight * expected, beam=beam)
