"""Rules by which settings must add up to a number, such as ``resin + filler + fibre == 100``.

One factor of each such rule takes what the others leave. The shares of a mixture are the best known case (Cornell 2002,
Experiments with Mixtures, ch. 1).
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from doe.model.choices import Value
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, derive, names_behind

_STRAIGHT = 1e-9


@dataclass(frozen=True, slots=True)
class Sum:
    """A rule that says what weighted settings add up to.

    Attributes
    ----------
    parts : tuple of Factor
        The factors in it, two at least.
    weights : tuple of float
        The weight of each.
    total : float
        What they add up to.
    rest : Factor
        The part that takes what the others leave.
    rule : str
        As written.
    """

    parts: tuple[Factor, ...]
    weights: tuple[float, ...]
    total: float
    rest: Factor
    rule: str

    @property
    def others(self) -> tuple[Factor, ...]:
        """The parts whose settings are chosen first."""
        return tuple(part for part in self.parts if part is not self.rest)

    def takes_up(self, moved: Factor | None = None) -> Factor:
        """Return the part that makes up for a change of another: the `rest`, or the widest other where `rest` moved."""
        if moved != self.rest:
            return self.rest
        shares = {part: weight for part, weight in zip(self.parts, self.weights, strict=True) if part is not self.rest}
        return max(shares, key=lambda part: abs(shares[part]) * (part.span[1] - part.span[0]))

    def left(self, settings: Mapping[str, Any], to: Factor | None = None) -> Any:
        """Return what settings leave to a part, by default `rest`, whatever its range and steps.

        Parameters
        ----------
        settings : mapping of str to float or ndarray
            The other parts' settings, of shapes that go together.
        to : Factor, optional
        """
        to = self.rest if to is None else to
        share = self.weights[self.parts.index(to)]
        taken = sum(w * settings[part.name] for part, w in zip(self.parts, self.weights, strict=True) if part is not to)
        return (self.total - taken) / share

    def completed(self, settings: Mapping[str, Value], to: Factor | None = None) -> dict[str, Value]:
        """Return settings in which a part, by default `rest`, takes what the others leave.

        Raises
        ------
        DataError
            If it cannot be set so.
        """
        to = self.rest if to is None else to
        return {**settings, to.name: to.read(self.left(settings, to))}


def sums(factors: Sequence[Factor], limits: Sequence[Limit], derived: Sequence[Derived]) -> tuple[Sum, ...]:
    """Find the rules that say what settings add up to; each leaves the rest to another factor.

    Parameters
    ----------
    factors : sequence of Factor
    limits : sequence of Limit
        Of these the equations that are straight in numeric factors, through derived quantities too.
    derived : sequence of Derived
        Quantities that limits may use.

    Returns
    -------
    tuple of Sum
        The `rest` of one may be among the others of a later one, never of an earlier one.
    """
    found: list[Sum] = []
    used: set[str] = set()
    for limit in limits:
        weights, total = _weighed(limit, factors, derived)
        free = [factor for factor in factors if factor.name in weights and factor.name not in used]
        if len(weights) < 2 or not free:
            continue
        rest = max(free, key=lambda part: (part.step is None, abs(weights[part.name]) * (part.span[1] - part.span[0])))
        used |= set(weights)
        parts = tuple(factor for factor in factors if factor.name in weights)
        found.append(Sum(parts, tuple(weights[part.name] for part in parts), total, rest, limit.rule))
    return tuple(found)


def _weighed(limit: Limit, factors: Sequence[Factor], derived: Sequence[Derived]) -> tuple[dict[str, float], float]:
    """Return the weights of the factors that count, and what they add up to; none where the rule is no straight equation."""
    sides = limit.expression.sides
    names = names_behind(limit.expression.names, derived)
    parts = [factor for factor in factors if factor.name in names]
    used = [quantity for quantity in derived if quantity.name in names]
    if sides is None or not all(factor.is_numeric for factor in parts):
        return {}, 0.0
    left, right = sides

    def excess(settings: Mapping[str, float]) -> float:
        known = derive(settings, used)
        return float(left.evaluate(known) - right.evaluate(known))

    try:
        return _slopes(excess, {factor.name: factor.span for factor in parts})
    except DataError:
        return {}, 0.0


def _slopes(
    excess: Callable[[Mapping[str, float]], float], spans: Mapping[str, tuple[float, float]]
) -> tuple[dict[str, float], float]:
    low = {name: span[0] for name, span in spans.items()}
    start = excess(low)
    weights = {name: (excess({**low, name: high}) - start) / (high - low[name]) for name, (_, high) in spans.items()}
    total = sum(weights[name] * low[name] for name in low) - start
    sizes = {name: abs(weights[name]) * (high - low[name]) for name, (_, high) in spans.items()}
    size = sum(sizes.values()) + abs(total)
    for share in (0.31, 0.83):  # what bends is not straight at both by chance
        at = {name: low[name] + share * (high - low[name]) for name, (_, high) in spans.items()}
        if abs(excess(at) + total - sum(weights[name] * at[name] for name in at)) > _STRAIGHT * size:
            return {}, 0.0
    return {name: weight for name, weight in weights.items() if sizes[name] > _STRAIGHT * size}, total


def made_up(settings: Mapping[str, Value], rules: Sequence[Sum]) -> dict[str, Value]:
    """Give one factor of each rule what the others leave; settings stay as they are where it cannot be set so."""
    result = dict(settings)
    for rule in rules:
        with contextlib.suppress(DataError):
            result = rule.completed(result)
    return result
