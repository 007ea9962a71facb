"""Which sets of terms are looked at, and what is believed of each beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

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
        self.n_parents = self.parents.sum(axis=1).astype(np.float32)
        self.most_missing = np.zeros_like(self.n_parents) if self.is_strong else self.n_parents - (self.n_parents > 0)
        self.most_columns = max(1, min(n_rows - 2, MOST_COLUMNS))
        self.kinds = _kinds(terms)
        self.tables = _count_tables(self.kinds, prior)
        self.log_orphan = np.log([prior.orphan, 1.0 - prior.orphan])
        rng = np.random.default_rng(20_240_229)  # hash keys only; no result depends on them
        self.keys = rng.integers(1, 2**63, size=self.n_terms, dtype=np.uint64)
        self._parents_float = self.parents.T.astype(np.float32)
        self._kinds_float = self.kinds.T.astype(np.float32)
        self._columns_float = self.widths.astype(np.float32)
        self._openers, self._opener_of = self._openings()

    def _openings(self) -> tuple[Array, Index]:
        """Terms of each kind that a parent helps to open, shape (n_terms, 3 * n_openers), and each term's place therein.

        The last opener stands for all terms that are nobody's parent, and opens nothing.
        """
        openers = np.flatnonzero(self.parents.any(axis=0))
        opens = np.zeros((self.n_terms, len(openers) + 1, len(self.kinds)), dtype=np.float32)
        opens[:, :-1] = self.parents[:, openers, None] & self.kinds.T[:, None, :]
        place = np.full(self.n_terms, len(openers), dtype=np.intp)
        place[openers] = np.arange(len(openers))
        return opens.reshape(self.n_terms, -1), place

    def hashes(self, included: Sets) -> npt.NDArray[np.uint64]:
        """One number per set of terms, shape (n_sets,)."""
        return np.asarray((included * self.keys).sum(axis=1, dtype=np.uint64))

    def missing(self, included: Sets) -> Array:
        """Count the parents that each term lacks, shape (n_sets, n_terms)."""
        return np.asarray(self.n_parents - included.astype(np.float32) @ self._parents_float)

    def log_prior(self, included: Sets) -> Array:
        """Log prior of each set, shape (n_sets,); minus infinity where heredity is broken.

        Within each kind of term the number of active ones among those that heredity allows is beta-binomial, so the prior
        learns from the clear effects how common effects are (Scott & Berger 2010, Ann. Statist. 38, 2587-2619).
        """
        missing = self.missing(included)
        is_full = missing == 0
        total = self._counted(self._counts(is_full), self._counts(is_full & included))
        if self.is_strong:
            return np.where((included & ~is_full).any(axis=1), -np.inf, total)
        is_orphan = ~is_full & (missing < self.n_parents)
        total = total + (is_orphan & included).sum(axis=1) * self.log_orphan[0]
        total = total + (is_orphan & ~included).sum(axis=1) * self.log_orphan[1]
        return np.where((included & ~is_full & ~is_orphan).any(axis=1), -np.inf, total)

    def grown_prior(self, included: Sets, missing: Array, rows: Index, terms: Index) -> Array:
        """Log prior of sets with one term more, shape (n_grown,), from the counts of the smaller ones (strong heredity)."""
        # a term opens those of which it is the last parent missing
        opened = ((missing == 1).astype(np.float32) @ self._openers).astype(np.intp).reshape(-1, len(self.kinds))
        n_openers = self._openers.shape[1] // len(self.kinds)
        opens = opened.take(rows * n_openers + self._opener_of.take(terms), axis=0)
        allowed = self._counts(missing == 0).take(rows, axis=0) + opens
        active = self._counts(included).take(rows, axis=0) + self.kinds.T.take(terms, axis=0)
        return self._counted(allowed, active)

    def _counts(self, included: Sets) -> Index:
        """Count the terms of each kind, shape (n_sets, 3)."""
        with np.errstate(invalid="ignore"):  # some processors' products raise the flag though zeros and ones went in
            return np.asarray((included.astype(np.float32) @ self._kinds_float).astype(np.intp))

    def _counted(self, allowed: Index, active: Index) -> Array:
        """Log prior by numbers allowed and active of each kind, both of shape (n_sets, 3)."""
        places = allowed * self.tables.shape[1] + active
        return np.asarray(sum(table.take(places[:, kind]) for kind, table in enumerate(self.tables)))

    def additions(
        self, included: Sets, missing: Array, hashes: npt.NDArray[np.uint64], *, once: bool
    ) -> tuple[Index, Index]:
        """List sets and the terms that heredity allows to be added to them, each resulting set once.

        Parameters
        ----------
        included : ndarray of bool, shape (n_sets, n_terms)
        missing : ndarray of shape (n_sets, n_terms)
            Parents that each term lacks.
        hashes : ndarray of uint64, shape (n_sets,)
        once : bool
            Whether the sets are all there are of their size; then adding only later terms yields every larger set once.
        """
        can_add = (missing <= self.most_missing) & ~included
        spare = self.most_columns - included.astype(np.float32) @ self._columns_float
        if spare.min(initial=np.inf) < self.widths.max(initial=0):
            can_add &= self._columns_float <= spare[:, None]
        if once:
            last = np.where(included.any(axis=1), self.n_terms - 1 - np.argmax(included[:, ::-1], axis=1), -1)
            can_add &= np.arange(self.n_terms) > last[:, None]
        rows, terms = np.divmod(np.flatnonzero(can_add), max(self.n_terms, 1))
        if once or len(rows) == 0:
            return rows, terms
        first = distinct(hashes.take(rows) + self.keys.take(terms))
        return rows.take(first), terms.take(first)


def distinct(hashes: npt.NDArray[np.uint64]) -> Index:
    """Places of the first of each of some hashes, in the order of the hashes.

    The place is packed below the hash's upper bits: plain numbers sort several times faster than their places do.
    """
    bits = np.uint64(max(len(hashes) - 1, 1).bit_length())
    packed = np.sort((hashes >> bits << bits) | np.arange(len(hashes), dtype=np.uint64))
    is_first = np.ones(len(packed), dtype=bool)
    np.not_equal(packed[1:] >> bits, packed[:-1] >> bits, out=is_first[1:])
    return (packed[is_first] & ((np.uint64(1) << bits) - np.uint64(1))).astype(np.intp)


def _kinds(terms: Sequence[Term]) -> Sets:
    """Mark main effects, interactions and curvature, shape (3, n_terms)."""
    mains = np.array([term.is_main for term in terms], dtype=bool)
    squares = np.array([term.is_square for term in terms], dtype=bool)
    return np.array([mains, ~mains & ~squares, squares])


def _count_tables(kinds: Sets, prior: Prior) -> Array:
    """Log prior by number allowed and number active, shape (3, n_most + 1, n_most + 1)."""
    counts = np.arange(int(kinds.sum(axis=1).max(initial=0)) + 1)
    spare = counts[:, None] - counts
    tables = []
    for a, b in prior.shapes(int(kinds[0].sum())):
        # betaln(a + active, b + spare) - betaln(a, b), the gamma functions of whole steps only
        total = gammaln(a + counts) - gammaln(a)
        total = total + (gammaln(b + counts) - gammaln(b))[np.abs(spare)]
        total = total - (gammaln(a + b + counts) - gammaln(a + b))[:, None]
        tables.append(np.where(spare >= 0, total, -np.inf))
    return np.array(tables)
