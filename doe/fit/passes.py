"""Two passes from an outcome's origin to a posterior: scatter about the main effects, then about what they support."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doe.coding import Coding, Matrix, Term
from doe.fit.active import Posterior, search
from doe.fit.builds import Builds
from doe.fit.classical import Classical
from doe.fit.growing import BEAM
from doe.fit.hidden import hidden_notes, hiding_terms
from doe.fit.origins import Origin, Scatter
from doe.fit.priors import Prior
from doe.fit.reml import Bounded, Expected
from doe.fit.tangled import session_ties
from doe.fit.whiten import Problem, usable_terms, whiten
from doe.model.patience import checkpoint

SUPPORTED = 0.5
EXPECTED: dict[str, Expected] = {"unit": Bounded(), "session": Bounded(6.0)}
"""What to expect of a source where readings tell little of it. Sessions are held much looser than for choosing: what changed
only together with the session would else be claimed where three sessions happen to agree with it. Units are held looser
too: expected to be fairly alike, they passed for the work of factors that only a rebuild changes."""

_FIRST_BEAM = 40


@dataclass(frozen=True, slots=True)
class Fitted:
    """An outcome, fitted.

    Attributes
    ----------
    builds : Builds
        Adjusted values and covariances of the variants.
    problem : Problem
        The same, whitened.
    posterior : Posterior
        Models that matter.
    reading_sd : float
        Scatter of one reading, in outcome units.
    classical : Classical
        Of exactly the terms asked for, or of the best-supported set.
    notes : tuple of str
        What the scatter cannot tell.
    """

    builds: Builds
    problem: Problem
    posterior: Posterior
    reading_sd: float
    classical: Classical
    notes: tuple[str, ...]


def fit(origin: Origin, coding: Coding, candidates: Sequence[Term], prior: Prior, *, exact: bool) -> Fitted:
    """Fit candidate terms to an outcome.

    Parameters
    ----------
    origin : Origin
        Readings or comparisons.
    coding : Coding
    candidates : sequence of Term
        Terms to search; those that never varied are set aside.
    prior : Prior
    exact : bool
        Whether the classical table is wanted on all candidates rather than on the best-supported ones.
    """
    settings = origin.evidence.settings
    matrix = coding.matrix(settings, candidates)
    usable, unvaried = usable_terms(matrix, candidates)
    if unvaried:
        matrix = coding.matrix(settings, usable)
    mains = [term for term in usable if term.is_main]
    spare = origin.evidence.n_built - 1 - sum(coding.axes[term.factors[0]].width for term in mains)
    hiding = hiding_terms(origin.evidence, coding, mains, [source.name for source in origin.sources])
    first = _pass(origin, coding, matrix, mains if spare >= 3 else _with_hiding([], hiding), prior, _FIRST_BEAM)
    second = _pass(origin, coding, matrix, _with_hiding(supported_terms(first.posterior), hiding), prior, BEAM)
    asked = list(candidates) if exact else supported_terms(second.posterior)
    classical, notes = origin.classical(coding, coding.matrix(settings, asked))
    unseen = hidden_notes(
        {*hiding, *second.scatter.hidden},
        classical.hidden,
        origin.evidence,
        tied=bool(session_ties(origin.evidence, coding)),
    )
    scatter = second.scatter
    return Fitted(scatter.builds, second.problem, second.posterior, scatter.reading_sd, classical, (*unseen, *notes))


@dataclass(frozen=True, slots=True)
class _Pass:
    scatter: Scatter
    problem: Problem
    posterior: Posterior


def _pass(origin: Origin, coding: Coding, matrix: Matrix, terms: Sequence[Term], prior: Prior, beam: int) -> _Pass:
    checkpoint()
    scatter = origin.scatter(coding, coding.matrix(origin.evidence.settings, terms), EXPECTED)
    problem = whiten(scatter.builds, matrix, coding, replicated=scatter.replicated)
    floor = prior.scale_df * problem.reading_share * problem.unit**2 if problem.reading_share < 1.0 else 0.0
    return _Pass(scatter, problem, search(problem, prior, floor=floor, beam=beam))


def _with_hiding(terms: Sequence[Term], hiding: Mapping[str, Sequence[Term]]) -> list[Term]:
    """Add the main effects that hide a source: without them it would be held for all that they do, and they for idle."""
    return list(dict.fromkeys([*terms, *(term for mains in hiding.values() for term in mains)]))


def supported_terms(posterior: Posterior) -> list[Term]:
    """Terms more likely active than not, with their main effects; as many as the builds can bear."""
    terms, activity = posterior.problem.terms, posterior.activity
    chosen = [terms[place] for place in np.argsort(-activity, kind="stable") if activity[place] > SUPPORTED]
    closed = dict.fromkeys(term for one in chosen for term in (*one.parents, one) if term in terms)
    most = max(1, posterior.problem.n_rows - 3)
    return sorted(list(closed)[:most], key=terms.index)
