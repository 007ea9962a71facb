"""Arithmetic of a parsed rule, for one variant or for many at once.

Truth is carried as 1 and 0. What cannot be computed raises `ArithmeticError` for single numbers; in an array it is a NaN
in its own cell, which every later step keeps, so that no cell of a rule is ever true by accident (``not 1 / a > 2``).
All numbers are floats: whole numbers of any size would let a short rule run for minutes.
"""

from __future__ import annotations

import ast
import functools
import itertools
import math
import operator
from collections.abc import Callable, Mapping
from numbers import Real
from typing import TYPE_CHECKING, Any

from doe.model.numbers import is_missing

if TYPE_CHECKING:
    import numpy as np

_ARITHMETIC: dict[type[ast.AST], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Mod: operator.mod,
    # the plain operator would make 1 of NaN ** 0
    ast.Pow: lambda base, exponent: base**exponent if exponent else base * 0.0 + 1.0,
}
_COMPARISONS: dict[type[ast.AST], Callable[[Any, Any], Any]] = {
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
}
_SIGNS: dict[type[ast.AST], Callable[[Any], Any]] = {ast.USub: operator.neg, ast.UAdd: operator.pos}
_FUNCTIONS: dict[str, Callable[..., Any]] = {
    "abs": abs,
    "ceil": math.ceil,
    "exp": math.exp,
    "floor": math.floor,
    "log": math.log,
    "log10": math.log10,
    "max": max,
    "min": min,
    "sqrt": math.sqrt,
}
_OF_ARRAYS = {"max": "maximum", "min": "minimum"}

ROUNDING = 1e-12
"""Share of two numbers, or of what was added up to them, by which they may differ and still count as equal.

0.1 + 0.2 keeps a limit of 0.3, and 0.1 + 0.2 - 0.3 one of 0.
"""

FUNCTIONS = tuple(_FUNCTIONS)
OPERATORS = (*_ARITHMETIC, *_COMPARISONS)


def compute(node: ast.AST, values: Mapping[str, Any]) -> Any:
    """Compute one node of a rule that has passed the white list.

    Parameters
    ----------
    node : ast.AST
        The expression.
    values : mapping of str to number, str or array
        One entry per name.

    Returns
    -------
    float, str or ndarray
        Arrays are of float, NaN where there is no result, or of level names.

    Raises
    ------
    KeyError
        If a name has no value.
    ArithmeticError, ValueError
        If a number does not exist or is too large.
    TypeError
        If text is used as a number, or levels are put in an order.
    """
    match node:
        case ast.Constant(value=value):
            return float(value) if isinstance(value, int | float) else str(value)
        case ast.Name(id=name):
            return math.pi if name == "pi" else _operand(values[name])
        case ast.BinOp():
            return _apply(_ARITHMETIC[type(node.op)], compute(node.left, values), compute(node.right, values))
        case ast.UnaryOp(op=ast.Not()):
            return 1.0 - compute(node.operand, values)
        case ast.UnaryOp():
            return _apply(_SIGNS[type(node.op)], compute(node.operand, values))
        case ast.BoolOp():
            return _join(
                [compute(part, values) for part in node.values], "min" if isinstance(node.op, ast.And) else "max"
            )
        case ast.Compare():
            return _compare(node, values)
        case ast.Call(func=ast.Name(id=name)):
            return _call(name, [compute(argument, values) for argument in node.args])
    raise TypeError("it is no expression")  # the white list lets nothing else through


def as_truth(result: Any) -> Any:
    """Turn 1, 0 and NaN into true and false; what cannot be computed is false."""
    return result == 1.0


def _operand(value: Any) -> Any:
    """Bring a setting, or a column of settings, into the form that is computed with."""
    if isinstance(value, str):
        return str(value)
    if hasattr(value, "__array__") and not isinstance(value, Real):
        return _column(value)
    if is_missing(value):
        raise ArithmeticError("a value is missing")
    if not isinstance(value, Real):
        raise TypeError("it is neither a number nor a level")
    return _finite(value)


def _column(value: Any) -> np.ndarray[Any, Any]:
    """Bring an array into floats with NaN for what is missing or infinite, or text with '' for what is missing."""
    import numpy as np  # slow to import, and only arrays need it

    array = np.asarray(value)
    if array.dtype.kind in "biuf":
        return _settled(array.astype(float))
    if array.dtype.kind != "O":
        return array
    kinds = set(map(type, array.flat))
    if kinds == {str}:
        return array
    cells = [None if is_missing(cell) else cell for cell in array.flat]
    if any(isinstance(cell, str) for cell in cells):
        if not all(cell is None or isinstance(cell, str) for cell in cells):
            raise TypeError("a column mixes numbers and levels")
        return np.array(["" if cell is None else str(cell) for cell in cells], dtype=object).reshape(array.shape)
    numbers = np.array([math.nan if cell is None else float(cell) for cell in cells], dtype=float)
    return _settled(numbers.reshape(array.shape))


def _apply(function: Callable[..., Any], *operands: Any) -> Any:
    """Apply arithmetic to numbers or arrays, without a warning and without an infinity."""
    if any(_is_text(value) for value in operands):
        raise TypeError("a level is no number")
    if not any(_is_array(value) for value in operands):
        return _finite(function(*operands))
    import numpy as np

    with np.errstate(all="ignore"):
        return _settled(np.asarray(function(*operands), dtype=float))


def _finite(number: Any) -> float:
    if isinstance(number, complex):
        raise ValueError("no real result")
    if not math.isfinite(number):
        raise OverflowError("no finite result")
    return float(number)


def _settled(array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    import numpy as np

    is_finite = np.isfinite(array)
    return array if is_finite.all() else np.where(is_finite, array, np.nan)


def _call(name: str, arguments: list[Any]) -> Any:
    if name in _OF_ARRAYS:
        return _join(arguments, name)
    if not _is_array(arguments[0]):
        return _apply(_FUNCTIONS[name], *arguments)
    import numpy as np

    return _apply(getattr(np, name), *arguments)


def _join(parts: list[Any], name: str) -> Any:
    """Take the least or the greatest part: of numbers, and as ``and`` and ``or`` of truths."""
    if not any(_is_array(part) for part in parts):
        return _apply(_FUNCTIONS[name], *parts)
    import numpy as np

    function = getattr(np, _OF_ARRAYS[name])  # these keep NaN
    return functools.reduce(lambda first, second: _apply(function, first, second), parts)


def _compare(node: ast.Compare, values: Mapping[str, Any]) -> Any:
    parts = (node.left, *node.comparators)
    sides = [compute(part, values) for part in parts]
    sizes = [
        0.0 if _is_text(side) else added_up(part, lambda term: abs(compute(term, values)))
        for part, side in zip(parts, sides, strict=True)
    ]
    truths = [
        _truth(type(sign), *pair, one + other)
        for sign, pair, (one, other) in zip(node.ops, itertools.pairwise(sides), itertools.pairwise(sizes), strict=True)
    ]
    return truths[0] if len(truths) == 1 else _join(truths, "min")


def added_up(node: ast.AST, size: Callable[[ast.AST], Any]) -> Any:
    """Return how large the numbers are that a part of a rule is a sum of: the sizes of its terms, or its own."""
    match node:
        case ast.BinOp(op=ast.Add() | ast.Sub()):
            return added_up(node.left, size) + added_up(node.right, size)
        case ast.UnaryOp():
            return added_up(node.operand, size)
    return size(node)


def _truth(sign: type[ast.cmpop], first: Any, second: Any, size: Any) -> Any:
    if _is_text(first) != _is_text(second):
        raise TypeError("a level is compared with a number")
    if _is_text(first) and sign not in (ast.Eq, ast.NotEq):
        raise TypeError("levels are only compared with == and !=")
    if not (_is_array(first) or _is_array(second)):
        met = second if not _is_text(first) and _is_equal(first, second, size) else first
        return float(_COMPARISONS[sign](met, second))
    import numpy as np

    with np.errstate(all="ignore"):
        met = first if _is_text(first) else np.where(_is_equal(first, second, size), second, first)
    answer = _COMPARISONS[sign](met, second)
    unknown = functools.reduce(operator.or_, (_is_unknown(side) for side in (first, second)))
    return np.where(unknown, np.nan, np.asarray(answer, dtype=float))


def _is_equal(first: Any, second: Any, size: Any) -> Any:
    """Whether two numbers differ by no more than rounding, of what was added up to them."""
    return abs(first - second) <= ROUNDING * size


def _is_unknown(side: Any) -> Any:
    import numpy as np

    return np.asarray(side == "") if _is_text(side) and _is_array(side) else np.asarray(side != side)


def _is_array(value: Any) -> bool:
    return not isinstance(value, float | str)


def _is_text(value: Any) -> bool:
    return isinstance(value, str) or (_is_array(value) and value.dtype.kind not in "biuf")
