"""Whether anything can keep the limits: contradictions are proved, not guessed, before they are stored.

Rules are computed over boxes of settings by interval arithmetic. Rounded sums, products and quotients rise and fall with
their operands, so the ends computed here hold what any single setting gives, to the last digit. A box in which a rule cannot
hold is dropped, any other is halved; once none is left, no settings keep the rule. Where the search is given up first,
nothing is claimed.

References
----------
Moore, Kearfott & Cloud (2009), Introduction to Interval Analysis, SIAM, chapters 2, 5 and 8: arithmetic, and halving boxes.
"""

from __future__ import annotations

import ast
import functools
import itertools
import math
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from doe.model.arithmetic import ROUNDING, added_up
from doe.model.choices import Value
from doe.model.errors import UsageError, listed
from doe.model.expression import Expression
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit, broken_limits, derive_possible, names_behind
from doe.model.setup import Setup
from doe.model.sums import made_up, sums

MOST_BOXES = 600
"""Boxes looked at before a question is left open."""

Span = tuple[float, float]
Texts = frozenset[str]
Truth = tuple[bool, bool]
"""May be true, may be false; neither where it can never be computed."""

_EVERYTHING: Span = (-math.inf, math.inf)
_NEVER: Truth = (False, False)


def check_storable(setup: Setup) -> None:
    """Check what is asked of definitions where they are stored, though older projects may hold them otherwise.

    Raises
    ------
    UsageError
        Naming the outcome whose goal lies beyond its scale, the quantity that never gives a number, the limit that nothing
        keeps, or those that nothing keeps together.
    """
    for outcome in setup.outcomes:
        outcome.check_on_scale()
    fault = impossible(setup)
    if fault:
        raise UsageError(fault)


def impossible(setup: Setup) -> str:
    """Return the first of `faults`; empty where there is none."""
    return next(faults(setup), "")


def faults(setup: Setup) -> Iterator[str]:
    """List what can be proved to have no settings, each in a sentence: what is so by itself before what is so together."""
    if not setup.factors:
        return
    for quantity in setup.derived:
        if _is_empty(setup, (), quantity):
            yield (
                f"Derived quantity '{quantity.name}': '{quantity.expression}' gives no number at any setting; "
                "look for a division by zero, or a root or logarithm of a negative number."
            )
    if not _point_found(setup, setup.limits):  # else, as is usual, nothing contradicts
        yield from _unkept(setup)


def doubtful(setup: Setup) -> str:
    """Name the limits that no settings were found to keep, though nothing proves that there are none; empty where some were.

    Examples
    --------
    >>> setup = Setup(factors=[Factor("a", low=0, high=9), Factor("b", low=0, high=9)], limits=[Limit("a * b - b * a > 0")])
    >>> doubtful(setup)
    "no settings were found that keep the limit 'a * b - b * a > 0'; there may be none"
    """
    if not setup.factors or _point_found(setup, setup.limits):
        return ""
    sets = [(limit,) for limit in setup.limits] + list(itertools.combinations(setup.limits, 2)) + [tuple(setup.limits)]
    found = next(some for some in sets if not _point_found(setup, some))
    rules = listed([f"'{limit.rule}'" for limit in found], "and")
    what = ("the limit", "both limits")[len(found) - 1] if len(found) < 3 else "all of"
    return f"no settings were found that keep {what} {rules}; there may be none"


def _unkept(setup: Setup) -> Iterator[str]:
    alone = [limit for limit in setup.limits if _is_empty(setup, (limit,))]
    for limit in alone:
        yield f"No settings keep the limit '{limit.rule}' within the factors' ranges; loosen it or widen a range."
    rest = [limit for limit in setup.limits if limit not in alone]
    pairs = [pair for pair in itertools.combinations(rest, 2) if _is_empty(setup, pair)]
    for one, other in pairs:
        yield f"No settings keep both limits '{one.rule}' and '{other.rule}'; loosen or remove one of them."
    if len(rest) > 2 and not alone and not pairs and _is_empty(setup, rest):
        rules = "', '".join(limit.rule for limit in rest)
        yield f"No settings keep all the limits together: '{rules}'; loosen or remove one of them."


@dataclass(frozen=True, slots=True)
class _Box:
    """A range of settings of one factor.

    Attributes
    ----------
    factor : Factor
    low, high : float
        Settings of a continuous factor without a step; otherwise the first and last step or level, counted from 0.
    """

    factor: Factor
    low: float
    high: float

    @classmethod
    def of(cls, factor: Factor) -> _Box:
        low, high = factor.span
        if not factor.is_numeric:
            return cls(factor, 0, len(factor.levels) - 1)
        if factor.step is None:
            return cls(factor, low, high)
        return cls(factor, 0, round((factor.highest - low) / factor.step))

    @property
    def is_counted(self) -> bool:
        return not self.factor.is_numeric or self.factor.step is not None

    @property
    def share(self) -> float:
        """How much of the factor's whole range it still is."""
        whole = _Box.of(self.factor)
        return (self.high - self.low) / (whole.high - whole.low)

    def setting(self, place: float) -> Value:
        if not self.factor.is_numeric:
            return self.factor.levels[int(place)]
        if self.factor.step is None:
            return place
        return self.factor.read(min(self.factor.span[0] + place * self.factor.step, self.factor.highest))

    def middle(self) -> Value:
        half = (self.low + self.high) / 2
        return self.setting(math.floor(half) if self.is_counted else half)

    def values(self) -> Span | Texts:
        if not self.factor.is_numeric:
            return frozenset(self.factor.levels[int(self.low) : int(self.high) + 1])
        return float(self.setting(self.low)), float(self.setting(self.high))

    def halves(self) -> tuple[_Box, _Box]:
        half = (self.low + self.high) / 2
        if not self.is_counted:
            return _Box(self.factor, self.low, half), _Box(self.factor, half, self.high)
        return _Box(self.factor, self.low, math.floor(half)), _Box(self.factor, math.floor(half) + 1, self.high)


def _point_found(setup: Setup, limits: Sequence[Limit]) -> bool:
    return not limits or _search(setup, limits, None) is True


def _is_empty(setup: Setup, limits: Sequence[Limit], quantity: Derived | None = None) -> bool:
    return _search(setup, limits, quantity) is False


def _search(setup: Setup, limits: Sequence[Limit], quantity: Derived | None) -> bool | None:
    """Tell whether some settings keep the limits and give the quantity a number; None where it stays open."""
    named = [*(item.expression.names for item in limits), quantity.parsed.names if quantity else ()]
    used = names_behind(itertools.chain(*named), setup.derived)
    fixed = {item.name: _Box.of(item).middle() for item in setup.factors if item.name not in used}
    waiting = deque([tuple(_Box.of(item) for item in setup.factors if item.name in used)])
    rules = sums(setup.factors, limits, setup.derived)
    for _ in range(MOST_BOXES):
        if not waiting:
            return False
        box = waiting.popleft()
        point = {**fixed, **{side.factor.name: side.middle() for side in box}}
        if _holds(made_up(point, rules), setup, limits, quantity):
            return True
        if not _may_hold(box, setup, limits, quantity):
            continue
        widest = max(range(len(box)), key=lambda place: box[place].share, default=None)
        if widest is not None and box[widest].high > box[widest].low:
            waiting.extend((*box[:widest], half, *box[widest + 1 :]) for half in box[widest].halves())
    return None if waiting else False


def _holds(point: Mapping[str, Value], setup: Setup, limits: Sequence[Limit], quantity: Derived | None) -> bool:
    if quantity is None:
        return not broken_limits(point, limits, setup.derived)
    return quantity.name in derive_possible(point, setup.derived)


def _may_hold(box: Sequence[_Box], setup: Setup, limits: Sequence[Limit], quantity: Derived | None) -> bool:
    known: dict[str, Any] = {side.factor.name: side.values() for side in box}
    for item in setup.derived:
        if item.parsed.names <= known.keys():
            known[item.name] = _bounds(_tree(item.parsed), known)
    if quantity is not None and known[quantity.name] is None:
        return False
    return all(_truth(_tree(limit.expression), known)[0] for limit in limits)


@functools.lru_cache(maxsize=64)
def _tree(expression: Expression) -> ast.expr:
    return expression.tree()


def _bounds(node: ast.AST, known: Mapping[str, Any]) -> Any:
    """Return between what a part of a rule lies: a `Span`, the `Texts` it may be, or None if it is never a number."""
    match node:
        case ast.Constant(value=str() as text):
            return frozenset([text])
        case ast.Constant(value=number):
            return float(number), float(number)  # type: ignore[arg-type]
        case ast.Name(id=name):
            return (math.pi, math.pi) if name == "pi" else known[name]
        case ast.UnaryOp(op=ast.USub()):
            found = _bounds(node.operand, known)
            return None if found is None else (-found[1], -found[0])
        case ast.UnaryOp():
            return _bounds(node.operand, known)
        case ast.BinOp():
            first, second = _bounds(node.left, known), _bounds(node.right, known)
            return None if first is None or second is None else _finite(_BINARY[type(node.op)](first, second))
        case ast.Call(func=ast.Name(id=name)):
            parts = [_bounds(part, known) for part in node.args]
            return None if any(part is None for part in parts) else _finite(_call(name, parts))
    return _EVERYTHING


def _truth(node: ast.AST, known: Mapping[str, Any]) -> Truth:
    match node:
        case ast.UnaryOp(op=ast.Not()):
            true, false = _truth(node.operand, known)
            return false, true
        case ast.BoolOp():
            parts = [_truth(part, known) for part in node.values]
            return _all(parts) if isinstance(node.op, ast.And) else _any(parts)
        case ast.Compare():
            written = (node.left, *node.comparators)
            sides = [_bounds(side, known) for side in written]
            if any(side is None for side in sides):
                return _NEVER
            sizes = [added_up(side, lambda term: _largest(term, known)) for side in written]
            compared = zip(node.ops, itertools.pairwise(sides), itertools.pairwise(sizes), strict=True)
            return _all([_compared(type(sign), *pair, ROUNDING * sum(size)) for sign, pair, size in compared])
    return True, True


def _largest(node: ast.AST, known: Mapping[str, Any]) -> float:
    """Return the most that the size of a part of a rule comes to."""
    found = _bounds(node, known)
    return 0.0 if found is None or isinstance(found, frozenset) else max(abs(found[0]), abs(found[1]))


def _all(parts: Sequence[Truth]) -> Truth:
    if _NEVER in parts:  # what cannot be computed spoils the whole rule, as in `doe.model.arithmetic`
        return _NEVER
    return all(true for true, _ in parts), any(false for _, false in parts)


def _any(parts: Sequence[Truth]) -> Truth:
    true, false = _all([(false, true) for true, false in parts])
    return false, true


def _compared(sign: type[ast.cmpop], first: Any, second: Any, rounding: float) -> Truth:
    if sign in (ast.Eq, ast.NotEq):
        equal = _equal(first, second, rounding)
        return equal if sign is ast.Eq else (equal[1], equal[0])
    if sign in (ast.Gt, ast.GtE):
        first, second = second, first
    if sign in (ast.Lt, ast.Gt):
        return first[0] < second[1], first[1] + rounding >= second[0] - rounding
    return first[0] - rounding <= second[1] + rounding, first[1] > second[0]


def _equal(first: Any, second: Any, rounding: float) -> Truth:
    if isinstance(first, frozenset):
        return bool(first & second), len(first | second) > 1
    may_be = first[0] - rounding <= second[1] + rounding and second[0] - rounding <= first[1] + rounding
    return may_be, not first[0] == first[1] == second[0] == second[1]


def _finite(span: Span | None) -> Span | None:
    """Leave out what is beyond all numbers, which is no result."""
    if span is None or math.isnan(span[0]) or math.isnan(span[1]):
        return span if span is None else _EVERYTHING
    return None if span[0] == math.inf or span[1] == -math.inf else span


def _corners(act: Callable[[float, float], float]) -> Callable[[Span, Span], Span]:
    def over(first: Span, second: Span) -> Span:
        ends = [act(a, b) for a in first for b in second]
        return _EVERYTHING if any(map(math.isnan, ends)) else (min(ends), max(ends))

    return over


def _quotient(first: Span, second: Span) -> Span | None:
    if second == (0.0, 0.0):
        return None
    if second[0] <= 0.0 <= second[1]:
        return _EVERYTHING
    return _corners(lambda a, b: a / b)(first, second)


def _power(base: Span, exponents: Span) -> Span | None:
    exponent = exponents[0]
    if exponent == 0.0:
        return 1.0, 1.0
    is_whole = exponent == round(exponent)
    if (base == (0.0, 0.0) and exponent < 0) or (base[1] < 0 and not is_whole):
        return None
    if base[0] < 0 and not is_whole:
        base = 0.0, base[1]
    if exponent < 0 and base[0] <= 0 <= base[1]:
        return _EVERYTHING
    try:
        ends = [end**exponent for end in base]
    except OverflowError:
        return _EVERYTHING
    if base[0] < 0 < base[1]:
        ends.append(0.0)
    return _loose((min(ends), max(ends)))


_BINARY: dict[type[ast.AST], Callable[[Span, Span], Span | None]] = {
    ast.Add: lambda a, b: (a[0] + b[0], a[1] + b[1]),
    ast.Sub: lambda a, b: (a[0] - b[1], a[1] - b[0]),
    ast.Mult: _corners(lambda a, b: a * b),
    ast.Div: _quotient,
    ast.Mod: lambda a, b: None if b == (0.0, 0.0) else (min(b[0], 0.0), max(b[1], 0.0)),
    ast.Pow: _power,
}


def _call(name: str, parts: Sequence[Span]) -> Span | None:
    if name in ("min", "max"):
        act = min if name == "min" else max
        return act(part[0] for part in parts), act(part[1] for part in parts)
    low, high = parts[0]
    if name == "abs":
        least = 0.0 if low <= 0 <= high else min(abs(low), abs(high))
        return least, max(abs(low), abs(high))
    if name in ("sqrt", "log", "log10"):
        return _of_positive(name, low, high)
    if not (math.isfinite(low) and math.isfinite(high)):
        return _EVERYTHING
    if name == "exp":
        return _loose((math.exp(low) if low < 709 else math.inf, math.exp(high) if high < 709 else math.inf))
    act_on = math.floor if name == "floor" else math.ceil
    return float(act_on(low)), float(act_on(high))


def _of_positive(name: str, low: float, high: float) -> Span | None:
    if high < 0 or (high == 0 and name != "sqrt"):
        return None
    act = {"sqrt": math.sqrt, "log": math.log, "log10": math.log10}[name]
    least = 0.0 if name == "sqrt" else -math.inf
    return _loose((act(low) if low > 0 else least, act(high) if high < math.inf else math.inf))


def _loose(span: Span, share: float = 4e-16) -> Span:
    """Widen by a share of the ends: by a few last digits, in which libraries of functions may differ, or more."""
    return span[0] - share * abs(span[0]), span[1] + share * abs(span[1])
