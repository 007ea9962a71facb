"""Which sets of terms are looked at, and what is believed of each beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import betaln

from doe.coding import Term
from doe.fit.priors import Prior

Array = npt.NDArray[Any]
Sets = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]

MOST_COLUMNS = 14


class TermSpace:
    """Sets of terms with effect heredity.

    Parameters
    ----------
    terms : sequence of Term
        Candidate terms.
    widths : ndarray of int, shape (n_terms,)
        Columns of each.
    prior : Prior
        Beliefs.
    n_rows : int
        Builds; bounds the columns of a set.
    """

    def __init__(self, terms: Sequence[Term], widths: Index, prior: Prior, n_rows: int) -> None:
        self.prior, self.widths, self.n_terms = prior, widths, len(terms)
        places = {term: place for place, term in enumerate(terms)}
        self.parents = np.zeros((self.n_terms, self.n_terms), dtype=bool)
        for place, term in enumerate(terms):
            for parent in term.parents:
                if parent in places:
                    self.parents[place, places[parent]] = True
        self.is_strong = prior.heredity == "strong"
        self.n_parents = self.parents.sum(axis=1)
        self.needed = self.n_parents if self.is_strong else self.parents.any(axis=1).astype(int)
        self.most_columns = max(1, min(n_rows - 2, MOST_COLUMNS))
        self.kinds = _kinds(terms)
        self.tables = _count_tables(self.kinds, prior)
        self.log_orphan = np.log([prior.orphan, 1.0 - prior.orphan]) if prior.orphan > 0 else np.array([-np.inf, 0.0])
        rng = np.random.default_rng(20_240_229)  # hash keys only; no result depends on them
        self.keys = rng.integers(1, 2**63, size=self.n_terms, dtype=np.uint64)
        self._parents_float = self.parents.T.astype(np.float32)
        self._kinds_float = self.kinds.T.astype(np.float32)

    def hashes(self, included: Sets) -> npt.NDArray[np.uint64]:
        """One number per set of terms, shape (n_sets,)."""
        return np.asarray((included * self.keys).sum(axis=1, dtype=np.uint64))

    def log_prior(self, included: Sets) -> Array:
        """Log prior of each set, shape (n_sets,); minus infinity where heredity is broken.

        Within each kind of term the number of active ones among those that heredity allows is beta-binomial, so the prior
        learns from the clear effects how common effects are (Scott & Berger 2010, Ann. Statist. 38, 2587-2619).
        """
        present = included.astype(np.float32) @ self._parents_float
        is_full = present == self.n_parents
        allowed = (is_full.astype(np.float32) @ self._kinds_float).astype(np.intp)
        active = ((is_full & included).astype(np.float32) @ self._kinds_float).astype(np.intp)
        total = sum(table[allowed[:, kind], active[:, kind]] for kind, table in enumerate(self.tables))
        if self.is_strong:
            return np.where((included & ~is_full).any(axis=1), -np.inf, total)
        is_orphan = ~is_full & (present > 0)
        total = total + (is_orphan & included).sum(axis=1) * self.log_orphan[0]
        total = total + (is_orphan & ~included).sum(axis=1) * self.log_orphan[1]
        return np.where((included & ~is_full & ~is_orphan).any(axis=1), -np.inf, total)

    def grown_prior(self, included: Sets, rows: Index, terms: Index) -> Array:
        """Log prior of sets with one term more, shape (n_grown,), from the counts of the smaller ones (strong heredity)."""
        missing = self.n_parents - included.astype(np.float32) @ self._parents_float
        is_full = missing < 0.5
        allowed = (is_full.astype(np.float32) @ self._kinds_float).astype(np.intp)
        active = (included.astype(np.float32) @ self._kinds_float).astype(np.intp)
        almost = np.abs(missing - 1.0) < 0.5
        total = np.zeros(len(rows))
        for kind, table in enumerate(self.tables):
            opened = (almost & self.kinds[kind]).astype(np.float32) @ self.parents.astype(np.float32)
            total += table[
                allowed[rows, kind] + opened[rows, terms].astype(np.intp), active[rows, kind] + self.kinds[kind][terms]
            ]
        return total

    def additions(self, included: Sets, hashes: npt.NDArray[np.uint64], *, once: bool) -> tuple[Index, Index]:
        """List sets and the terms that heredity allows to be added to them, each resulting set once.

        Parameters
        ----------
        included : ndarray of bool, shape (n_sets, n_terms)
        hashes : ndarray of uint64, shape (n_sets,)
        once : bool
            Whether the sets are all there are of their size; then adding only later terms yields every larger set once.
        """
        present = included.astype(np.float32) @ self._parents_float
        can_add = ~included & (present >= self.needed)
        can_add &= (included @ self.widths)[:, None] + self.widths[None, :] <= self.most_columns
        if once:
            last = np.where(included.any(axis=1), self.n_terms - 1 - np.argmax(included[:, ::-1], axis=1), -1)
            can_add &= np.arange(self.n_terms)[None, :] > last[:, None]
        rows, terms = np.nonzero(can_add)
        if once or len(rows) == 0:
            return rows, terms
        _, first = np.unique(hashes[rows] + self.keys[terms], return_index=True)
        return rows[first], terms[first]


def _kinds(terms: Sequence[Term]) -> Sets:
    """Mark main effects, interactions and curvature, shape (3, n_terms)."""
    mains = np.array([term.is_main for term in terms], dtype=bool)
    squares = np.array([term.is_square for term in terms], dtype=bool)
    return np.array([mains, ~mains & ~squares, squares])


def _count_tables(kinds: Sets, prior: Prior) -> list[Array]:
    """Log prior by number allowed and number active, one table per kind."""
    tables = []
    for kind, (a, b) in zip(kinds, prior.shapes(int(kinds[0].sum())), strict=True):
        allowed, active = np.meshgrid(np.arange(kind.sum() + 1), np.arange(kind.sum() + 1), indexing="ij")
        fits = active <= allowed
        inner = betaln(a + np.where(fits, active, 0), b + np.where(fits, allowed - active, 0)) - betaln(a, b)
        tables.append(np.where(fits, inner, -np.inf))
    return tables
