"""Which settings an optimal plan may use: the levels worth trying, and those that the limits leave."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import NoReturn

import numpy as np

from doe.coding import Coding, Term
from doe.grids import summed_grids
from doe.model.choices import Value
from doe.model.errors import UsageError, listed
from doe.model.factor import Factor
from doe.model.limit import Limit
from doe.model.sums import sums
from doe.model.wording import capital, rounded, spaced
from doe.plans.frame import setting
from doe.plans.layout import Array, keeps

MOST_COMBINATIONS = 200_000
"""Combinations looked at one by one; where there are more, so many are drawn at random."""

_STEPS = 11
"""Settings tried of a range without steps that limits cut."""

_LOOKED_AT = 400
"""Combinations by which a factor is judged that limits hardly let move by itself."""

_FINE = 1001
"""Settings looked at to say where a range without steps ends that limits cut, or whether they leave a sliver of it."""


@dataclass(frozen=True, slots=True)
class Region:
    """The settings that a plan may use.

    Attributes
    ----------
    coding : Coding
        Factors and derived quantities.
    limits : tuple of Limit
        Rules.
    candidates : tuple of ndarray
        For each factor the plain numbers to try.
    pool : ndarray of shape (n_rows, n_limited)
        Combinations of the limited factors' candidates that keep the limits: all of them, or a random part.
    notes : tuple of str
        What the limits cut off.
    """

    coding: Coding
    limits: tuple[Limit, ...]
    candidates: tuple[Array, ...]
    pool: Array
    notes: tuple[str, ...]

    @property
    def limited(self) -> tuple[int, ...]:
        """Places of the factors that the limits speak of, straight or through derived quantities."""
        return limited_places(self.coding, self.limits)

    @property
    def tied(self) -> tuple[tuple[int, int], ...]:
        """Pairs of limited factors that can hardly change but together, as where settings must add up to a number."""
        return tuple(itertools.combinations((place for place in self.limited if self._is_stuck(place)), 2))

    def _is_stuck(self, place: int) -> bool:
        """Tell whether most combinations leave a factor one setting, all others as they are."""
        picked = np.unique(np.linspace(0, len(self.pool) - 1, _LOOKED_AT).astype(np.intp))
        rows = np.zeros((len(picked), 1, len(self.candidates)))
        rows[:, :, list(self.limited)] = self.pool[picked, None]
        settings = self.candidates[place]
        rows = np.repeat(rows, len(settings), axis=1)
        rows[:, :, place] = settings
        n_left = keeps(self.coding, self.limits, rows).sum(axis=1)
        return bool((n_left == 1).sum() > len(picked) / 2)

    def draw(self, shape: tuple[int, ...], rng: np.random.Generator) -> Array:
        """Draw settings at random that keep the limits, shape (*shape, n_factors)."""
        columns = [values[rng.integers(len(values), size=shape)] for values in self.candidates]
        drawn = np.stack(columns, axis=-1)
        if self.limited:
            drawn[..., list(self.limited)] = self.pool[rng.integers(len(self.pool), size=shape)]
        return drawn


def limited_places(coding: Coding, limits: Sequence[Limit]) -> tuple[int, ...]:
    """Return the places of the factors that limits use."""
    names = used_names(limits, coding)
    return tuple(place for place, factor in enumerate(coding.factors) if factor.name in names)


def used_names(limits: Sequence[Limit], coding: Coding) -> set[str]:
    """Return the factor names that limits use, derived quantities followed down."""
    written = {quantity.name: quantity.parsed.names for quantity in coding.derived}
    names: set[str] = set()
    for limit in limits:
        for name in limit.expression.names:
            names |= set(written.get(name, (name,)))
    return names


def region(coding: Coding, terms: Sequence[Term], limits: Sequence[Limit], seed: int) -> Region:
    """Choose the candidates and look which of their combinations keep the limits.

    Raises
    ------
    UsageError
        If the limits leave nothing or hardly anything, or a level that the model needs cannot be reached.
    """
    summed = _summed(coding, limits)
    candidates = tuple(_candidates(coding, factor, terms, limits, summed) for factor in coding.factors)
    pool = _pool(coding, candidates, limits, np.random.default_rng(seed))
    if not len(pool):
        _check_finer(coding, limits, seed)
        raise UsageError(_nothing_left(coding, candidates, limits, seed))
    notes = _unreachable(coding, candidates, pool, limits)
    return Region(coding, tuple(limits), candidates, pool, tuple(notes))


def _summed(coding: Coding, limits: Sequence[Limit], most: int = _STEPS) -> dict[str, tuple[Value, ...]]:
    """Return settings of the factors in rules about sums that can be kept."""
    found = summed_grids(sums(coding.factors, limits, coding.derived), most)
    return {name: settings for name, settings in found.items() if settings}


def _candidates(
    coding: Coding,
    factor: Factor,
    terms: Sequence[Term],
    limits: Sequence[Limit],
    summed: Mapping[str, tuple[Value, ...]],
) -> Array:
    """Both ends where the model is straight; the middle too where it bends; a finer grid where rules cut corners off."""
    if factor.name in summed:
        return np.array(summed[factor.name], dtype=float)
    if not factor.is_numeric:
        return np.arange(float(len(factor.levels)))
    names = {factor.name} | {quantity.name for quantity in coding.derived if factor.name in quantity.parsed.names}
    in_derived_term = any(name in term.factors for term in terms for name in names - {factor.name})
    if factor.name in used_names(limits, coding) or in_derived_term:
        return _grid(factor, _STEPS)
    is_curved = any(term.is_square and term.factors[0] in names for term in terms)
    return np.array([float(value) for value in factor.grid(3 if is_curved else 2)])


def grid_pool(coding: Coding, limits: Sequence[Limit], rng: np.random.Generator) -> Array:
    """Return the combinations on a grid that keep the limits, in the columns of the limited factors (`limited_places`)."""
    return _pool(coding, _grids(coding, _summed(coding, limits), _STEPS), limits, rng)


def _grids(coding: Coding, summed: Mapping[str, tuple[Value, ...]], most: int) -> list[Array]:
    return [np.array(summed[one.name], float) if one.name in summed else _grid(one, most) for one in coding.factors]


def _grid(factor: Factor, most: int) -> Array:
    return np.array([float(factor.position(value)) for value in factor.grid(most)])


def _pool(coding: Coding, candidates: Sequence[Array], limits: Sequence[Limit], rng: np.random.Generator) -> Array:
    """Return the combinations that keep the limits, in the columns of the limited factors."""
    places = list(limited_places(coding, limits))
    sizes = [len(candidates[place]) for place in places]
    if math.prod(sizes) <= MOST_COMBINATIONS:
        codes = np.stack(np.unravel_index(np.arange(math.prod(sizes)), sizes), axis=1) if places else np.empty((1, 0))
    else:
        codes = np.stack([rng.integers(size, size=MOST_COMBINATIONS) for size in sizes], axis=1)
    rows = np.empty((len(codes), len(candidates)))
    rows[:] = [values[0] for values in candidates]
    for column, place in enumerate(places):
        rows[:, place] = candidates[place][codes[:, column]]
    return rows[keeps(coding, limits, rows)][:, places]


def _check_finer(coding: Coding, limits: Sequence[Limit], seed: int) -> None:
    """Check that settings between those tried do not keep the limits either.

    Raises
    ------
    UsageError
        If some do: naming the factor that they leave next to no room, if there is one.
    """
    summed = _summed(coding, limits, _FINE // 10)
    pool = _pool(coding, _grids(coding, summed, _FINE), limits, np.random.default_rng(seed))
    if not len(pool):
        return
    for place, found in zip(limited_places(coding, limits), pool.T, strict=True):
        factor = coding.factors[place]
        if not summed and factor.is_numeric and np.ptp(found) < (factor.span[1] - factor.span[0]) / (_STEPS - 1):
            _refuse_fixed(factor, found.min(), found.max(), _rules_of(factor, coding, limits))
    rules = listed([f"'{limit.rule}'" for limit in limits], "and")
    raise UsageError(f"Hardly any settings keep {rules}; loosen {'it' if len(limits) == 1 else 'one of them'}.")


def _rules_of(factor: Factor, coding: Coding, limits: Sequence[Limit]) -> list[str]:
    return [f"'{limit.rule}'" for limit in limits if factor.name in used_names([limit], coding)]


def _nothing_left(coding: Coding, candidates: Sequence[Array], limits: Sequence[Limit], seed: int) -> str:
    """Name the rule at fault: one that nothing keeps, else one whose removal would leave a plan."""
    for limit in limits:
        if not len(_pool(coding, candidates, [limit], np.random.default_rng(seed))):
            return f"No settings keep the limit '{limit.rule}' within the factors' ranges; loosen it or widen a range."
    for limit in limits:
        others = [other for other in limits if other is not limit]
        if len(_pool(coding, candidates, others, np.random.default_rng(seed))):
            return f"No settings keep all limits together; without '{limit.rule}' there are some, so loosen that one."
    rules = listed([f"'{limit.rule}'" for limit in limits], "and")
    return f"No settings keep the limits {rules} together; loosen more than one of them."


def _unreachable(coding: Coding, candidates: Sequence[Array], pool: Array, limits: Sequence[Limit]) -> list[str]:
    notes = []
    for column, place in enumerate(limited_places(coding, limits)):
        factor = coding.factors[place]
        found = np.unique(pool[:, column])
        lost = [value for value in candidates[place] if not _reaches(coding, candidates, limits, place, value, found)]
        if not lost or (factor.is_numeric and {candidates[place].min(), candidates[place].max()} <= set(found)):
            continue
        rules = _rules_of(factor, coding, limits)
        if not factor.is_numeric:
            _refuse_cut_off(factor, lost, found, rules)
        low, high = _range_left(factor, found, partial(_reaches, coding, candidates, limits, place, found=found))
        if len(found) < 2:
            _refuse_fixed(factor, low, high, rules)
        rule = f"{listed(rules, 'and')} {'rules' if len(rules) == 1 else 'rule'}"
        name = capital(spaced(factor.name))
        notes.append(
            f"{name} is planned from {rounded(low)} to {rounded(high)} only: {rule} out the rest of its range."
        )
    return notes


def _range_left(factor: Factor, found: Array, reaches: Callable[[float], bool]) -> tuple[float, float]:
    """Return the ends of what the limits leave of a range; the search polishes plans between the candidates too."""
    finer = _grid(factor, _FINE)
    low = _farthest([found.min(), *finer[finer < found.min()][::-1]], reaches)
    high = _farthest([found.max(), *finer[finer > found.max()]], reaches)
    return low, high


def _farthest(values: Sequence[float], reaches: Callable[[float], bool]) -> float:
    """Return the last value that can be reached, of values that lead away from one that can be."""
    first, last = 0, len(values) - 1
    while first < last:
        middle = (first + last + 1) // 2
        first, last = (middle, last) if reaches(values[middle]) else (first, middle - 1)
    return float(values[first])


def _reaches(
    coding: Coding, candidates: Sequence[Array], limits: Sequence[Limit], place: int, value: float, found: Array
) -> bool:
    """Tell whether a setting can be reached; where the pool is a random part, look again with it held, others at their ends."""
    if value in found:
        return True
    held = [np.array([value]) if other == place else values for other, values in enumerate(candidates)]
    return any(len(_pool(coding, tried, limits, np.random.default_rng(0))) for tried in (held, _at_ends(coding, held)))


def _at_ends(coding: Coding, candidates: Sequence[Array]) -> list[Array]:
    """Keep of each number's settings both ends, and all of the one that has most: few combinations, and the farthest."""
    most = max(range(len(candidates)), key=lambda place: len(candidates[place]))
    return [
        values if place == most or not coding.factors[place].is_numeric else np.unique(values[[0, -1]])
        for place, values in enumerate(candidates)
    ]


def _refuse_cut_off(factor: Factor, lost: Sequence[float], found: Array, rules: Sequence[str]) -> NoReturn:
    """Refuse limits that cut off a level.

    Raises
    ------
    UsageError
        Always.
    """
    left = listed([str(setting(factor, value)) for value in found], "and")
    shown = listed([str(setting(factor, value)) for value in lost])
    named = listed(rules, "and")
    raise UsageError(
        f"{factor.name} cannot be {shown}: no such settings keep {named}; plan with {left}, or loosen the limit."
    )


def _refuse_fixed(factor: Factor, low: float, high: float, rules: Sequence[str]) -> NoReturn:
    """Refuse limits that leave a number fixed, or a sliver of its range.

    Raises
    ------
    UsageError
        Always.
    """
    leave = f"{listed(rules, 'and')} {'leaves' if len(rules) == 1 else 'leave'} it"
    if low == high:
        raise UsageError(f"{factor.name} cannot vary: {leave} at {rounded(low)}; loosen the limit.")
    raise UsageError(
        f"{factor.name} can hardly vary: {leave} from {rounded(low)} to {rounded(high)}; make that its range, or loosen the "
        "limit."
    )
