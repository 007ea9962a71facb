"""Scatter that the fixed effects hide: sources whose every offset is a combination of what the factors explain.

Two units that each have a setting of rings of their own differ by that setting and by themselves, and no reading tells the
two apart: the source drops out of the residual contrasts on which REML rests (Searle, Casella & McCulloch, Variance
Components, 1992, sec. 6.6), so that its variance cannot be estimated.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.coding import Coding, Term
from doe.fit.evidence import Evidence, pairs
from doe.fit.reml import Grouping
from doe.model.errors import listed
from doe.model.wording import spaced

Array = npt.NDArray[Any]
Index = npt.NDArray[np.intp]

TAKEN_AS = 0.25
"""Variance of a hidden source over that of readings, where something has to be taken for it: half a reading's scatter. With
too little, a unit's own sound passes for the work of the factor whose setting it alone carries."""

_TOLERANCE = 1e-9

_CHANGED = {"unit": "from unit to unit", "session": "together with the session", "rater": "together with the rater"}
_OTHERWISE = {
    "unit": "Build one of these settings on a second unit to see it.",
    "session": "Repeat one setting in another session to see it.",
    "rater": "Let two raters judge the same variants to see it.",
    "drift": "Read one variant at both ends of a session to see it.",
}
_HALF = "verdicts allow for half the scatter of a reading"
_IN_VERDICTS = {
    "unit": _HALF,
    "session": _HALF,
    "rater": "verdicts allow for a whole reading's scatter",
    "drift": _HALF,
}


def hidden_sources(basis: Array, sources: Sequence[Grouping]) -> tuple[str, ...]:
    """Name the sources that lie within the fixed effects altogether, builds apart.

    Parameters
    ----------
    basis : ndarray of shape (n_rows, n_columns)
        Orthonormal columns that span the fixed effects.
    sources : sequence of Grouping
        With one offset per group each.
    """
    return tuple(source.name for source in sources if source.name != "variant" and _is_within(basis, source))


def _is_within(basis: Array, source: Grouping) -> bool:
    """Whether projecting the source's columns onto the basis loses nothing of their length."""
    values = np.ones(len(basis)) if source.covariates is None else source.covariates[:, 0]
    order = np.argsort(source.index, kind="stable")
    starts = np.unique(source.index[order], return_index=True)[1]
    sums = np.add.reduceat((basis * values[:, None])[order], starts, axis=0)
    length = float(values @ values)
    return length - float((sums**2).sum()) <= _TOLERANCE * length


def hiding_terms(
    evidence: Evidence, coding: Coding, terms: Sequence[Term], names: Collection[str]
) -> dict[str, list[Term]]:
    """Find the main effects that hide a source: of factors that changed from group to group only, as many as tell all apart.

    Parameters
    ----------
    evidence : Evidence
    coding : Coding
    terms : sequence of Term
        Candidates.
    names : collection of str
        Sources to look at.

    Returns
    -------
    dict of str to list of Term
        Hidden source -> the main effects, whatever else is fitted. None is where a reference object was read in several groups.
    """
    found = {}
    for name in (name for name in _CHANGED if name in names):
        factors = factors_between(name, evidence)
        mains = [term for term in terms if term.is_main and term.factors[0] in factors]
        if not mains or _is_shown(name, evidence):
            continue
        groups, variants = _groups_of_variants(name, evidence)
        rows = coding.matrix(evidence.settings.iloc[variants], mains).values
        rank = np.linalg.matrix_rank(np.column_stack([np.ones(len(rows)), rows]))
        if rank == len(np.unique(groups)) < len(np.unique(variants)):
            found[name] = mains
    return found


def hidden_notes(in_verdicts: Collection[str], in_table: Collection[str], evidence: Evidence, tied: bool) -> list[str]:
    """Say of each hidden source that it cannot be seen, what is taken for it, and what would show it.

    Parameters
    ----------
    in_verdicts : collection of str
        Sources hidden where verdicts are given.
    in_table : collection of str
        Sources hidden by the terms of the classical table, and left out of it.
    evidence : Evidence
    tied : bool
        Whether it is said already that a factor changed only together with the session.
    """
    notes = []
    for name in _OTHERWISE:
        taken = [_IN_VERDICTS[name]] if name in in_verdicts else []
        taken += ["the classical table takes all for alike"] if name in in_table else []
        if name == "session" and tied:
            notes += ["The classical table takes all sessions for alike."] if name in in_table else []
        elif taken:
            notes.append(f"{_unseen(name, evidence)}; {', '.join(taken)}. {_OTHERWISE[name]}")
    return notes


def _unseen(name: str, evidence: Evidence) -> str:
    factors = factors_between(name, evidence)
    own = "how readings drift in a session" if name == "drift" else f"how {name}s differ by themselves"
    if not factors:
        return f"What the settings do cannot be told from {own}"
    they = "it does" if len(factors) == 1 else "they do"
    return (
        f"{listed(map(spaced, factors), 'and')} changed only {_CHANGED[name]}, so what {they} cannot be told from {own}"
    )


def factors_between(name: str, evidence: Evidence) -> list[str]:
    """Name the factors that changed between the groups of a source, and within none of them."""
    if name not in _CHANGED:
        return []
    groups, variants = _groups_of_variants(name, evidence)
    settings = {factor: evidence.settings[factor].to_numpy()[variants] for factor in evidence.varied}
    return [
        factor
        for factor, values in settings.items()
        if len(set(values)) > 1 and all(len(set(values[groups == group])) == 1 for group in np.unique(groups))
    ]


def _is_shown(name: str, evidence: Evidence) -> bool:
    """Whether a reference object was read in several groups of a source, and so shows how they differ."""
    references = evidence.variant >= evidence.n_built
    read = pairs(evidence.variant[references], _codes(name, evidence)[references])
    return len(np.unique(read[:, 0])) < len(read)


def _groups_of_variants(name: str, evidence: Evidence) -> tuple[Index, Index]:
    """Pairs of group and variant that were read together; reference objects and what names no group left out."""
    codes = _codes(name, evidence)
    counts = (codes >= 0) & (evidence.variant < evidence.n_built)
    groups, variants = pairs(codes[counts], evidence.variant[counts]).T
    return groups, variants


def _codes(name: str, evidence: Evidence) -> Index:
    return {"unit": evidence.units_of_cells, "session": evidence.session, "rater": evidence.rater}[name]
