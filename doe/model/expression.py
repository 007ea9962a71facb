"""Safe expressions over factors, for limits and derived quantities.

A rule such as ``rings * 42 - wool * 2.1 >= 180`` is parsed by Python's own `ast` and walked against a white list;
nothing is ever handed to `eval`. Length, depth and exponents are bounded, so no rule can stall the program.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from doe.model.errors import DataError, UsageError, did_you_mean, listed

LONGEST = 500
DEEPEST = 24
LARGEST_EXPONENT = 12.0

_OPERATORS: dict[type[ast.AST], Callable[[Any, Any], Any]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Mod: lambda a, b: a % b,
    ast.Pow: lambda a, b: a**b,
    ast.Lt: lambda a, b: a < b,
    ast.LtE: lambda a, b: a <= b,
    ast.Gt: lambda a, b: a > b,
    ast.GtE: lambda a, b: a >= b,
    ast.Eq: lambda a, b: a == b,
    ast.NotEq: lambda a, b: a != b,
}
_FUNCTIONS = ("abs", "ceil", "exp", "floor", "log", "log10", "max", "min", "sqrt")
_NODES = (
    ast.Expression, ast.BinOp, ast.UnaryOp, ast.BoolOp, ast.Compare, ast.Call, ast.Name, ast.Constant, ast.Load,
    ast.USub, ast.UAdd, ast.Not, ast.And, ast.Or, *_OPERATORS,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Expression:
    """A parsed rule or quantity.

    Attributes
    ----------
    text : str
        As written.
    names : frozenset of str
        Factor names it uses.

    Raises
    ------
    UsageError
        If the text is no expression, too long or too deep, or uses anything but numbers, level names in quotes, factor
        names, ``+ - * / % **``, comparisons, ``and or not``, and a few functions.
    """

    text: str
    names: frozenset[str] = field(init=False)
    _tree: ast.expr = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        tree = _parse(self.text)
        _check(tree, self.text, 0)
        called = {id(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
        names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and id(node) not in called}
        object.__setattr__(self, "names", frozenset(names - {"pi"}))
        object.__setattr__(self, "_tree", tree)

    @property
    def is_comparison(self) -> bool:
        """Whether it yields true or false rather than a number."""
        return _is_boolean(self._tree)

    def check_names(self, known: Mapping[str, object] | frozenset[str], what: str) -> None:
        """Raise `UsageError` where the expression uses a name that is not known."""
        for name in sorted(self.names - set(known)):
            raise UsageError(f"{what} '{self.text}' uses '{name}', which is no factor.{did_you_mean(name, known)}")

    def evaluate(self, values: Mapping[str, Any]) -> Any:
        """Compute the expression.

        Parameters
        ----------
        values : mapping of str to number, str or numpy array
            One entry per name; arrays of shape (n_variants,) give an array back.

        Raises
        ------
        DataError
            If a name has no value, or the arithmetic fails (a division by zero, a root of a negative number).
        """
        try:
            result = _evaluate(self._tree, values)
        except KeyError as err:
            raise DataError(f"'{self.text}' needs a value for {err.args[0]}.") from None
        except (ArithmeticError, ValueError, TypeError) as err:
            raise DataError(f"'{self.text}' cannot be computed for {_shown(values, self.names)}: {err}.") from None
        if isinstance(result, complex) or (isinstance(result, float) and not math.isfinite(result)):
            raise DataError(f"'{self.text}' has no finite value for {_shown(values, self.names)}.")
        return result


def _shown(values: Mapping[str, Any], names: frozenset[str]) -> str:
    shown = [f"{name} = {values[name]}" for name in sorted(names) if not hasattr(values.get(name), "__array__")]
    return ", ".join(shown) or "these settings"


def _parse(text: str) -> ast.expr:
    if not isinstance(text, str) or not text.strip():
        raise UsageError("A rule is empty; write one such as 'rings * 42 - wool * 2.1 >= 180'.")
    if len(text) > LONGEST:
        raise UsageError(f"A rule has {len(text)} characters; it may have {LONGEST}.")
    try:
        return ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError) as err:
        column = getattr(err, "offset", None)
        where = f" near character {column}" if column else ""
        raise UsageError(f"'{text}' is no expression that can be read{where}.") from None


def _check(node: ast.AST, text: str, depth: int) -> None:
    if depth > DEEPEST:
        raise UsageError(f"'{text}' is nested deeper than {DEEPEST} levels; split it in two.")
    if not isinstance(node, _NODES):
        raise UsageError(
            f"'{text}' uses something that a rule may not: only arithmetic, comparisons and {listed(_FUNCTIONS)}."
        )
    if isinstance(node, ast.Constant) and (
        isinstance(node.value, bool) or not isinstance(node.value, int | float | str)
    ):
        raise UsageError(f"'{text}' holds {node.value!r}; a rule may hold numbers and level names in quotes.")
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not abs(node.value) <= 1e15:
        raise UsageError(f"'{text}' holds a number beyond 1e15.")
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
        _check_exponent(node.right, text)
    if isinstance(node, ast.Call):
        _check_call(node, text)
    for child in ast.iter_child_nodes(node):
        _check(child, text, depth + 1)


def _check_exponent(node: ast.expr, text: str) -> None:
    sign = 1.0
    while isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        sign, node = (-sign if isinstance(node.op, ast.USub) else sign), node.operand
    value = node.value if isinstance(node, ast.Constant) else None
    if not isinstance(value, int | float) or isinstance(value, bool) or abs(value) > LARGEST_EXPONENT:
        raise UsageError(f"'{text}' has an exponent that is not a plain number up to {LARGEST_EXPONENT:g}.")


def _check_call(node: ast.Call, text: str) -> None:
    name = node.func.id if isinstance(node.func, ast.Name) else ""
    if name not in _FUNCTIONS:
        raise UsageError(
            f"'{text}' calls '{name or '?'}'; a rule may call {listed(_FUNCTIONS)}.{did_you_mean(name, _FUNCTIONS)}"
        )
    many = name in ("min", "max")
    if node.keywords or (len(node.args) < 2 if many else len(node.args) != 1):
        raise UsageError(f"'{text}': {name} takes {'two or more values' if many else 'one value'}.")


def _is_boolean(node: ast.AST) -> bool:
    if isinstance(node, ast.BoolOp | ast.Compare):
        return True
    return isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not)


def _evaluate(node: ast.AST, values: Mapping[str, Any]) -> Any:
    if isinstance(node, ast.Constant):
        return node.value
    if isinstance(node, ast.Name):
        return math.pi if node.id == "pi" else values[node.id]
    if isinstance(node, ast.BinOp):
        return _OPERATORS[type(node.op)](_evaluate(node.left, values), _evaluate(node.right, values))
    if isinstance(node, ast.UnaryOp):
        return _unary(node.op, _evaluate(node.operand, values))
    if isinstance(node, ast.BoolOp):
        return _join([_evaluate(part, values) for part in node.values], isinstance(node.op, ast.And))
    if isinstance(node, ast.Compare):
        return _compare(node, values)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return _call(node.func.id, [_evaluate(argument, values) for argument in node.args])
    raise TypeError("it is no expression")  # _check lets nothing else through


def _unary(operator: ast.unaryop, value: Any) -> Any:
    if isinstance(operator, ast.Not):
        return ~value if hasattr(value, "__array__") else not value
    return -value if isinstance(operator, ast.USub) else +value


def _compare(node: ast.Compare, values: Mapping[str, Any]) -> Any:
    sides = [_evaluate(side, values) for side in (node.left, *node.comparators)]
    return _join([_OPERATORS[type(op)](a, b) for op, a, b in zip(node.ops, sides, sides[1:], strict=False)], True)


def _join(parts: list[Any], is_and: bool) -> Any:
    """Combine truth values; ``&`` and ``|`` also serve arrays."""
    joined = parts[0]
    for part in parts[1:]:
        joined = (joined & part) if is_and else (joined | part)
    return joined


def _call(name: str, arguments: list[Any]) -> Any:
    if any(hasattr(argument, "__array__") for argument in arguments):
        return _array_call(name, arguments)
    if name in ("min", "max", "abs"):
        functions: dict[str, Callable[..., Any]] = {"min": min, "max": max, "abs": abs}
        return functions[name](*arguments)
    return getattr(math, name)(*arguments)


def _array_call(name: str, arguments: list[Any]) -> Any:
    import numpy as np  # slow to import, and only arrays need it

    function = getattr(np, {"min": "minimum", "max": "maximum"}.get(name, name))
    result = arguments[0]
    if name not in ("min", "max"):
        return function(result)
    for argument in arguments[1:]:
        result = function(result, argument)
    return result
