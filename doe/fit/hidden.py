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

from doe.fit.evidence import Evidence
from doe.fit.reml import Grouping
from doe.model.errors import listed

Array = npt.NDArray[Any]

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


def hidden_notes(taken: Collection[str], left_out: Collection[str], evidence: Evidence) -> list[str]:
    """Say of each hidden source that it cannot be seen, what is taken for it, and what would show it.

    Parameters
    ----------
    taken : collection of str
        Sources for which `TAKEN_AS` stands in the verdicts.
    left_out : collection of str
        Sources without which the classical table was made.
    evidence : Evidence
    """
    return [_note(name, name in left_out, evidence) for name in _OTHERWISE if name in taken]


def _note(name: str, is_left_out: bool, evidence: Evidence) -> str:
    factors = factors_between(name, evidence)
    own = "how readings drift in a session" if name == "drift" else f"how {name}s differ by themselves"
    what = "What the settings do"
    if factors:
        them = "it does" if len(factors) == 1 else "they do"
        what = f"{listed(factors, 'and')} changed only {_CHANGED[name]}, so what {them}"
    allowed = "verdicts allow for half the scatter of a reading"
    alone = ", the classical table for none" if is_left_out else ""
    return f"{what} cannot be told from {own}; {allowed}{alone}. {_OTHERWISE[name]}"


def factors_between(name: str, evidence: Evidence) -> list[str]:
    """Name the factors that changed between the groups of a source, and within none of them."""
    if name == "drift":
        return []
    codes = {"unit": evidence.units_of_cells, "session": evidence.session, "rater": evidence.rater}[name]
    built = evidence.variant < evidence.n_built
    groups, variants = codes[built], evidence.variant[built]
    settings = {factor: evidence.settings[factor].to_numpy()[variants] for factor in evidence.varied}
    return [
        factor
        for factor, values in settings.items()
        if all(len(set(values[groups == group])) == 1 for group in np.unique(groups))
    ]
