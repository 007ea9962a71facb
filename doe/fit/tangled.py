"""Terms that the log cannot tell apart, and the variant that would.

Two terms are tangled if their columns, with the mean and the known scatter taken out, point the same way: the largest
canonical correlation between them is near one. Credit is then shared by the model averaging; here the tie is named.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import linalg

from doe.coding import Coding, Term
from doe.fit.evidence import Evidence, pairs
from doe.fit.whiten import Problem
from doe.model.choices import Value
from doe.model.errors import DataError, listed
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits
from doe.model.sums import sums
from doe.model.wording import rounded, spaced

Array = npt.NDArray[Any]

EXACT = 1.0 - 1e-9
NEAR = 0.95
RELATED = 0.8
_HELPS = 0.95


@dataclass(frozen=True, slots=True)
class Tie:
    """Two terms that go together.

    Attributes
    ----------
    first, second : str
        Term names; `second` may be ``"session"``.
    correlation : float
        Largest canonical correlation, 0..1.
    """

    first: str
    second: str
    correlation: float


def correlations(problem: Problem) -> Array:
    """Largest canonical correlation between each two terms, shape (n_terms, n_terms), 1 on the diagonal."""
    bases = [_whitened_block(problem, problem.slices[term.name]) for term in problem.terms]
    widths = [basis.shape[1] for basis in bases]
    spread = np.zeros((len(problem.cross), sum(widths)))
    edges = np.cumsum([0, *widths])
    for place, term in enumerate(problem.terms):
        spread[problem.slices[term.name], edges[place] : edges[place + 1]] = bases[place]
    products = spread.T @ problem.gram @ spread
    if all(width == 1 for width in widths):
        return np.asarray(np.minimum(np.abs(products), 1.0))
    found = np.eye(len(bases))
    for a in range(len(bases)):
        for b in range(a):
            block = products[edges[a] : edges[a + 1], edges[b] : edges[b + 1]]
            largest = np.linalg.norm(block, 2) if block.size else 0.0
            found[a, b] = found[b, a] = min(largest, 1.0)
    return found


def _whitened_block(problem: Problem, place: slice) -> Array:
    block = problem.gram[place, place]
    values, vectors = np.linalg.eigh(block)
    keep = values > 1e-9 * max(values.max(initial=0.0), 1e-300)
    return np.asarray(vectors[:, keep] / np.sqrt(values[keep]))


def session_ties(evidence: Evidence, coding: Coding) -> list[Tie]:
    """Factors that changed only together with the session, each setting in a session of its own.

    None where a variant or a reference object was read in several sessions, which shows how these differ.
    """
    sessions = evidence.session
    if len(np.unique(sessions[sessions >= 0])) < 2:
        return []
    held = pairs(evidence.variant, sessions)
    if len(np.unique(held[:, 0])) < len(held):
        return []
    held = held[held[:, 0] < evidence.n_built]
    ties = []
    n_sessions = len(np.unique(held[:, 1]))
    for factor in coding.factors:
        settings, names = pd.factorize(evidence.settings[factor.name])
        if len(names) > 1 and len(pairs(held[:, 1], settings[held[:, 0]])) == n_sessions == len(names):
            ties.append(Tie(factor.name, "session", 1.0))
    return ties


def main_ties(problem: Problem, related: Array) -> list[Tie]:
    """Pairs of main effects that go together."""
    mains = [place for place, term in enumerate(problem.terms) if term.is_main]
    return [
        Tie(problem.terms[a].name, problem.terms[b].name, float(related[a, b]))
        for index, a in enumerate(mains)
        for b in mains[index + 1 :]
        if related[a, b] >= NEAR
    ]


@dataclass(frozen=True, slots=True)
class Rules:
    """What every variant must keep.

    Attributes
    ----------
    limits : tuple of Limit
    derived : tuple of Derived
        Quantities that limits may use.
    """

    limits: tuple[Limit, ...] = ()
    derived: tuple[Derived, ...] = ()

    def kept(self, settings: Mapping[str, Value]) -> bool:
        """Tell whether a variant keeps all of them."""
        return not broken_limits(settings, self.limits, self.derived)


@dataclass(frozen=True, slots=True, order=True)
class _Way:
    """One way to pull two terms apart, the best first in order.

    Attributes
    ----------
    needs_unit : bool
        Whether it cannot be made on the unit as it stands.
    is_beginning : bool
        Whether it parts some levels only.
    still_near : bool
        Whether they stay nearly tangled.
    in_common : float
        What a beginning leaves in common; 0 otherwise.
    minutes : float
    correlation : float
        That is left.
    moved : mapping
        Factor name -> new setting.
    """

    needs_unit: bool
    is_beginning: bool
    still_near: bool
    in_common: float
    minutes: float
    correlation: float
    moved: Mapping[str, Value] = field(compare=False)


def breaking_variant(tie: tuple[Term, Term], settings: pd.DataFrame, coding: Coding, rules: Rules | None = None) -> str:
    """Name the cheapest single change to a variant in the log that pulls two terms apart.

    Parameters
    ----------
    tie : tuple of Term
        The two terms.
    settings : DataFrame of shape (n_variants, n_factors)
        Settings of the variants, oldest first; the change is made to the last.
    coding : Coding
        Factors with their ranges and efforts.
    rules : Rules, optional
        What the changed variant must keep. Where settings must add up, another one makes up for the change.

    Returns
    -------
    str
        Such as ``"change driver alone to poly"``. Terms of several levels may take more than one variant: then the change
        that leaves least in common, as a beginning. A new unit where no change that can be made would help. Empty where
        no variant within the limits would.
    """
    rules = Rules() if rules is None else rules
    first, second = (_made_of(term, coding) for term in tie)
    only = list(dict.fromkeys(first + second))
    apart = [name for name in only if (name in first) != (name in second)] or only
    factors = {factor.name: factor for factor in coding.factors}
    last = {name: factor.read(settings.iloc[-1][name]) for name, factor in factors.items()}
    before, in_common = _correlation(tie, settings, coding)
    helps = _HELPS if rules.limits else 1.0  # within narrow limits every change does a little
    ways = []
    for moved in (moved for name in apart for moved in _moves(name, last, factors, rules)):
        after, left = _correlation(tie, pd.concat([settings, pd.DataFrame([{**last, **moved}])]), coding)
        parts, begins = after < helps * min(before, EXACT) - 1e-6, left < helps * in_common - 1e-6
        if parts or begins:
            stuck = not all(factors[name].can_go(last[name], value) for name, value in moved.items())
            minutes = sum(factors[name].change_minutes(last[name], value) for name, value in moved.items())
            left = 0.0 if parts else left
            ways.append(_Way(stuck, not parts, parts and after >= NEAR, left, minutes, after, moved))
    if not ways:
        return "" if rules.limits else f"build one new unit with {spaced(apart[0])} changed and the rest as it was"
    return _told(min(ways))


def _moves(name: str, last: Mapping[str, Value], factors: Mapping[str, Factor], rules: Rules) -> list[dict[str, Value]]:
    """List changes of one factor that keep the rules: to an end of its range, or what comes next."""
    factor = factors[name]
    for values in (_ends(factor), factor.grid(5)):
        alone = [{name: value} for value in values if value != last[name] and rules.kept({**last, name: value})]
        if alone:
            return alone
    return _made_up(factor, last, list(factors.values()), rules)


def _made_up(
    factor: Factor, last: Mapping[str, Value], factors: Sequence[Factor], rules: Rules
) -> list[dict[str, Value]]:
    """List changes of one factor for which another makes up where settings must add up."""
    summed = [rule for rule in sums(factors, rules.limits, rules.derived) if factor in rule.parts]
    partners = [(rule, other) for rule in summed for other in rule.parts if other != factor]
    found: list[dict[str, Value]] = []
    for (rule, other), value in itertools.product(partners, factor.grid()):
        with contextlib.suppress(DataError):
            settings = rule.completed({**last, factor.name: value}, other)
            if value != last[factor.name] and rules.kept(settings):
                found.append({factor.name: value, other.name: settings[other.name]})
    return found


def _told(way: _Way) -> str:
    names = [spaced(name) for name in way.moved]
    values = [rounded(float(one)) if isinstance(one, int | float) else one for one in way.moved.values()]
    if way.needs_unit and len(names) == 1:
        return f"build one new unit with {names[0]} changed and the rest as it was"
    if way.needs_unit:
        changed = [f"{name} {value}" for name, value in zip(names, values, strict=True)]
        return f"build one new unit with {listed(changed, 'and')} and the rest as it was"
    how = (
        f"{names[0]} alone to {values[0]}"
        if len(names) == 1
        else f"{names[0]} to {values[0]} and {names[1]} to {values[1]}"
    )
    return f"change {how}{', as a beginning: levels are parted one at a time' if way.is_beginning else ''}"


def _made_of(term: Term, coding: Coding) -> list[str]:
    """Return the factors that a term moves with: those of a derived quantity are its parts."""
    parts = {quantity.name: sorted(quantity.parsed.names) for quantity in coding.derived}
    return [name for factor in term.factors for name in parts.get(factor, [factor])]


def _correlation(tie: tuple[Term, Term], settings: pd.DataFrame, coding: Coding) -> tuple[float, float]:
    """Largest canonical correlation between two terms over variants that count alike, and the sum of all squared."""
    bases = []
    for term in tie:
        columns = coding.matrix(settings, [term]).values
        bases.append(linalg.orth(columns - columns.mean(axis=0), rcond=1e-9))
    product = bases[0].T @ bases[1]
    return (float(np.linalg.norm(product, 2)), float(np.sum(product**2))) if product.size else (0.0, 0.0)


def changed_together(first: str, second: str, settings: pd.DataFrame) -> bool:
    """Tell whether each setting of one factor came with a single setting of the other, and the other way round.

    Never of a derived quantity, which nobody sets.
    """
    if not {first, second} <= set(settings.columns):
        return False
    pairs_seen = settings[[first, second]].drop_duplicates()
    return len(pairs_seen) == pairs_seen[first].nunique() == pairs_seen[second].nunique()


def _ends(factor: Factor) -> tuple[Value, ...]:
    grid = factor.grid(3)
    return tuple(grid) if not factor.is_numeric else (grid[0], grid[-1])
