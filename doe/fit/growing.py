"""Which sets of terms are visited: all of them where there are few, else the best of each size and what lies around them.

Sets grow one term at a time. While every set of a size is kept, each larger one is reached once; where there are too many,
the most probable of each size grow on, and a last look one term around the best says how much mass the rest may hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.fit.priors import Prior
from doe.fit.swept import Sweeper, Swept
from doe.fit.term_space import TermSpace, distinct
from doe.fit.whiten import Problem
from doe.model.patience import checkpoint

Array = npt.NDArray[Any]
Sets = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]
Hashes = npt.NDArray[np.uint64]

BEAM = 400
LARGEST = 8
EXHAUSTIVE = 4_000
_GROWTH = 4  # larger sets that a set leads to, roughly
_ROUNDS = 3
_AROUND = 40


@dataclass(frozen=True, slots=True)
class Engine:
    """What a search needs: the sets to look at, and the evidence of each."""

    space: TermSpace
    sweeper: Sweeper

    def score(self, included: Sets) -> Array:
        """Log posterior of sets by scale, shape (n_scales, n_sets)."""
        return np.asarray(self.space.log_prior(included) + self.sweeper.log_evidence(self.sweeper.sweep(included)))

    def children(self, swept: Swept, hashes: Hashes, *, once: bool) -> Children:
        """List the sets with one term more, their evidence still to come."""
        missing = self.space.missing(swept.included)
        rows, terms = self.space.additions(swept.included, missing, hashes, once=once)
        models = swept.included.take(rows, axis=0)
        models[np.arange(len(rows)), terms] = True
        if self.space.is_strong:
            prior = self.space.grown_prior(swept.included, missing, rows, terms)
        else:
            prior = self.space.log_prior(models)
        return Children(models, prior, hashes.take(rows) + self.space.keys.take(terms), rows, terms)

    def grow(self, swept: Swept, children: Children, chosen: Index | None = None) -> tuple[Swept, Hashes]:
        """Factorise the chosen of the children, or all of them."""
        rows, terms, hashes = children.rows, children.terms, children.hashes
        if chosen is not None:
            rows, terms, hashes = rows[chosen], terms[chosen], hashes[chosen]
        return self.sweeper.add(self.sweeper.take(swept, rows), terms), hashes


@dataclass(frozen=True, slots=True)
class Children:
    """Sets with one term more: what they hold, their log priors and hashes, and the row and the term each grew from."""

    models: Sets
    prior: Array
    hashes: Hashes
    rows: Index
    terms: Index

    def judged(self, evidence: Array) -> Family:
        """Add the evidence, shape (n_scales, n_sets)."""
        return Family(self.models, self.prior + evidence, self.hashes)


@dataclass(frozen=True, slots=True)
class Family:
    """Sets: what they hold, their log posteriors by scale, shape (n_scales, n_sets), and their hashes."""

    models: Sets
    scores: Array
    hashes: Hashes

    def best(self, count: int) -> Index:
        """Places of the sets with the best log posteriors over the scales, in no order."""
        return np.argpartition(-self.scores.max(axis=0), min(count, len(self.hashes) - 1))[:count]

    def take(self, rows: Index | Sets) -> Family:
        """Pick sets."""
        return Family(self.models[rows], self.scores[:, rows], self.hashes[rows])

    def beyond(self, others: Family) -> Family:
        """Keep those that are not among the others."""
        known = np.sort(others.hashes)
        found = known[np.minimum(np.searchsorted(known, self.hashes), len(known) - 1)]
        return self.take(found != self.hashes)


@dataclass(frozen=True, slots=True)
class Visited(Family):
    """All sets visited, whether these are all up to the size limit, and the share of posterior mass that they hold."""

    is_exhaustive: bool
    covered: float


def engine_for(problem: Problem, prior: Prior, floor: float) -> Engine:
    """Prepare a search; parameters as of `search`."""
    df = float(problem.n_rows - 1 + (prior.scale_df if floor > 0 else 0.0))
    sweeper = Sweeper(problem, np.asarray(prior.scales, dtype=float), floor, df)
    return Engine(TermSpace(problem.terms, sweeper.widths, prior, problem.n_rows), sweeper)


def visit(engine: Engine, beam: int) -> Visited:
    """Visit sets of terms.

    Parameters
    ----------
    engine : Engine
    beam : int
        Sets grown at each size where not all can be visited.
    """
    family, is_exhaustive = _grow(engine, beam)
    family, covered = (family, 1.0) if is_exhaustive else _with_neighbours(engine, family)
    family = _with_each_term(engine, family)
    return Visited(family.models, family.scores, family.hashes, is_exhaustive, covered)


def _grow(engine: Engine, beam: int) -> tuple[Family, bool]:
    """Grow sets size by size; returns them, and whether they are all there are."""
    sweeper, swept = engine.sweeper, engine.sweeper.none()
    hashes = engine.space.hashes(swept.included)
    levels = [Family(swept.included, engine.score(swept.included), hashes)]
    is_complete, n_visited = True, 1
    for size in range(1, LARGEST + 1):
        checkpoint()
        children = engine.children(swept, hashes, once=is_complete)
        count = len(children.rows)
        if count == 0:
            break
        n_visited += count
        if size < LARGEST and (count <= beam or n_visited + _GROWTH * count <= EXHAUSTIVE):
            swept, hashes = engine.grow(swept, children)  # all grow on, so they are factorised at once
            levels.append(children.judged(sweeper.log_evidence(swept)))
            continue
        levels.append(children.judged(sweeper.look(swept, children.rows, children.terms)))
        if size == LARGEST:
            is_complete = is_complete and not _can_grow(engine.space, levels[-1])
            break
        swept, hashes = engine.grow(swept, children, levels[-1].best(beam))
        is_complete = False
    return _joined(levels), is_complete


def _can_grow(space: TermSpace, family: Family) -> bool:
    """Whether some set of a complete size leads to a larger one."""
    rows, _ = space.additions(family.models, space.missing(family.models), family.hashes, once=True)
    return len(rows) > 0


def _with_neighbours(engine: Engine, family: Family) -> tuple[Family, float]:
    """Look one term around the best sets until nothing new weighs anything; returns all, and the mass covered before."""
    covered = 0.0
    for _ in range(_ROUNDS):
        checkpoint()
        fresh = _neighbours(engine, family.models[family.best(_AROUND)]).beyond(family)
        if len(fresh.hashes) == 0:
            return family, 1.0 - 1e-6
        before = len(family.hashes)
        family = _joined([family, fresh])
        weights = np.exp(family.scores - family.scores.max())
        covered = 1.0 - float(weights[:, before:].sum() / weights.sum())
        if covered > 1.0 - 1e-3:
            break
    return family, covered


def _neighbours(engine: Engine, models: Sets) -> Family:
    """List sets that differ by a dropped or a swapped term."""
    rows, terms = np.nonzero(models)
    dropped = models[rows]
    dropped[np.arange(len(rows)), terms] = False
    hashes = engine.space.hashes(dropped)
    first = distinct(hashes)
    prior = engine.space.log_prior(dropped[first])
    first, prior = first[np.isfinite(prior)], prior[np.isfinite(prior)]
    swept = engine.sweeper.sweep(dropped[first])
    smaller = Family(swept.included, prior + engine.sweeper.log_evidence(swept), hashes[first])
    children = engine.children(swept, smaller.hashes, once=False)
    around = _joined([smaller, children.judged(engine.sweeper.look(swept, children.rows, children.terms))])
    return around.take(distinct(around.hashes))


def _with_each_term(engine: Engine, family: Family) -> Family:
    """Add, for each term, the best set joined by the term and its parents, so that it can be estimated if active."""
    space = engine.space
    best = family.models[int(np.argmax(family.scores.max(axis=0)))]
    joined = best[None, :] | np.eye(space.n_terms, dtype=bool) | space.parents
    joined = joined[joined @ space.widths <= max(space.most_columns, int(space.widths.max(initial=1)))]
    joined = joined[np.isfinite(space.log_prior(joined))]
    hashes = space.hashes(joined)
    first = distinct(hashes)
    fresh = Family(joined[first], np.empty((0, len(first))), hashes[first]).beyond(family)
    if len(fresh.hashes) == 0:
        return family
    return _joined([family, Family(fresh.models, engine.score(fresh.models), fresh.hashes)])


def _joined(families: Sequence[Family]) -> Family:
    """Put families one after another."""
    return Family(
        np.concatenate([family.models for family in families]),
        np.concatenate([family.scores for family in families], axis=1),
        np.concatenate([family.hashes for family in families]),
    )
