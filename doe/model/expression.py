"""Safe expressions over factors, for limits and derived quantities.

A rule such as ``rings * 42 - wool * 2.1 >= 180`` is parsed by Python's own `ast` and walked against a white list;
nothing is ever handed to `eval`. Length, depth and exponents are bounded, so no rule can stall the program.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from doe.model.arithmetic import FUNCTIONS, OPERATORS, as_truth, compute
from doe.model.errors import DataError, UsageError, did_you_mean, listed, or_else, shown

LONGEST = 500
DEEPEST = 24
LARGEST_EXPONENT = 12.0
_LONE_EQUALS = re.compile(r"(?<![<>=!:])=(?!=)")
_DECIMAL_COMMA = re.compile(r"(?<![\w.,])\d+,\d+(?![\w.,])")
_OTHERWISE = {
    "=>": (">=", "at least"),
    "=<": ("<=", "at most"),
    "≥": (">=", "at least"),
    "≤": ("<=", "at most"),
    "≠": ("!=", "not equal to"),
    "<>": ("!=", "not equal to"),
}

_NODES = (
    ast.Expression, ast.BinOp, ast.UnaryOp, ast.BoolOp, ast.Compare, ast.Call, ast.Name, ast.Constant, ast.Load,
    ast.USub, ast.UAdd, ast.Not, ast.And, ast.Or, *OPERATORS,
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

    @property
    def sides(self) -> tuple[Expression, Expression] | None:
        """What an equation (``left == right``) says is equal; None of any other rule."""
        tree = self._tree
        if not isinstance(tree, ast.Compare) or len(tree.ops) != 1 or not isinstance(tree.ops[0], ast.Eq):
            return None
        return Expression(ast.unparse(tree.left)), Expression(ast.unparse(tree.comparators[0]))

    def check_names(self, known: Mapping[str, object] | frozenset[str], what: str) -> None:
        """Raise `UsageError` where the expression uses a name that is not known."""
        for name in sorted(self.names - set(known)):
            raise UsageError(f"{what} '{shown(self.text)}' uses '{name}', which is no factor{or_else(name, known)}")

    def check_levels(self, levels: Mapping[str, Sequence[str]], what: str) -> None:
        """Check that names stand where their kind may stand.

        Parameters
        ----------
        levels : mapping of str to sequence of str
            For each name whose settings are levels, those levels; all other names are numbers.
        what : str
            What the expression is, for messages.

        Raises
        ------
        UsageError
            If a level is calculated with, compared with a number or by size, or is not one of its factor's levels.
        """
        where = f"{what} '{shown(self.text)}'"
        if _is_text(self._tree, levels):
            raise UsageError(f"{where} is a level; it must be a number.")
        for node in ast.walk(self._tree):
            if isinstance(node, ast.Compare):
                _check_comparison(node, levels, where)
            else:
                _check_numbers(node, levels, where)

    def inlined(self, known: Mapping[str, Expression]) -> Expression:
        """Return the expression with the names in `known` written out.

        Raises
        ------
        UsageError
            If it grows too long or too deep by that.
        """
        if not self.names & set(known):
            return self
        return Expression(ast.unparse(_Inline(known).visit(ast.parse(self.text.strip(), mode="eval"))))

    def renamed(self, old: str, new: str) -> str:
        """Return the text with another name in the place of one, and all else as it was written.

        Examples
        --------
        >>> Expression("wool*2 + max(wool, 3) >= 5").renamed("wool", "felt")
        'felt*2 + max(felt, 3) >= 5'
        """
        if old not in self.names:
            return self.text
        lines = [line.encode() for line in self.text.strip().splitlines()]
        found = [node for node in ast.walk(self.tree()) if isinstance(node, ast.Name) and node.id == old]
        for node in sorted(found, key=lambda node: (node.lineno, node.col_offset), reverse=True):
            line = lines[node.lineno - 1]
            lines[node.lineno - 1] = line[: node.col_offset] + new.encode() + line[node.end_col_offset :]
        return "\n".join(line.decode() for line in lines)

    def tree(self) -> ast.expr:
        """Return a copy of the parsed text that may be put into another expression."""
        return ast.parse(self.text.strip(), mode="eval").body

    def evaluate(self, values: Mapping[str, Any]) -> Any:
        """Compute the expression.

        Parameters
        ----------
        values : mapping of str to number, str or numpy array
            One entry per name; arrays of shape (n_variants,) give an array back.

        Returns
        -------
        float, bool or ndarray
            Where an array holds settings for which the arithmetic fails, its cell is NaN in a quantity and False in a
            comparison.

        Raises
        ------
        DataError
            If a name has no value, a level is used as a number, or the arithmetic fails for single numbers (a division
            by zero, a root of a negative number).
        """
        try:
            result = compute(self._tree, values)
        except KeyError as err:
            raise DataError(f"'{shown(self.text)}' needs a value for {err.args[0]}.") from None
        except (ArithmeticError, ValueError, TypeError) as err:
            raise DataError(
                f"'{shown(self.text)}' cannot be computed for {_settings(values, self.names)}: {_reason(err)}."
            ) from None
        return as_truth(result) if self.is_comparison else result


class _Inline(ast.NodeTransformer):
    def __init__(self, known: Mapping[str, Expression]) -> None:
        self._known = known

    def visit_Name(self, node: ast.Name) -> ast.expr:
        return self._known[node.id].tree() if node.id in self._known else node


def _reason(err: Exception) -> str:
    if isinstance(err, ZeroDivisionError):
        return "it divides by zero"
    if isinstance(err, OverflowError):
        return "the number is too large"
    if isinstance(err, ValueError):
        return "a root or logarithm does not exist"
    return str(err)


def _settings(values: Mapping[str, Any], names: frozenset[str]) -> str:
    single = [f"{name} = {shown(values[name])}" for name in sorted(names) if not getattr(values.get(name), "shape", ())]
    return ", ".join(single) or "these settings"


def _parse(text: str) -> ast.expr:
    if not isinstance(text, str):
        raise UsageError(f"A rule is {shown(text, 40)}; it must be text, such as 'rings * 42 - wool * 2.1 >= 180'.")
    if not text.strip():
        raise UsageError("A rule is empty; write one such as 'rings * 42 - wool * 2.1 >= 180'.")
    if len(text) > LONGEST:
        raise UsageError(f"A rule has {len(text)} characters; it may have {LONGEST}.")
    try:
        if "\\" in text:  # escapes and joined lines have no use here, and bad ones only warn
            raise ValueError(text)
        return ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError) as err:
        column = getattr(err, "offset", None)
        where = f" near character {column}" if column else ""
        raise UsageError(f"'{shown(text)}' is no expression that can be read{where}.{_hint(text)}") from None


def _hint(text: str) -> str:
    """Say how to write what is often written otherwise; empty where nothing of the kind is found."""
    for wrong, (right, told) in _OTHERWISE.items():
        if wrong in text:
            return f" Write {right} for '{told}'."
    if _LONE_EQUALS.search(text):
        return " Write == for 'equal to'."
    return _comma_hint(text)


def _comma_hint(text: str) -> str:
    """Name a number with a comma; three digits behind it could mean thousands."""
    found = _DECIMAL_COMMA.search(text)
    if not found:
        return ""
    or_without = ", or without it" if len(found[0].partition(",")[2]) == 3 else ""
    return f" Write '{found[0]}' with a decimal point instead of the comma{or_without}."


def _check(node: ast.AST, text: str, depth: int) -> None:
    quoted = f"'{shown(text)}'"
    if depth > DEEPEST:
        raise UsageError(f"{quoted} is nested deeper than {DEEPEST} levels; split it in two.")
    if isinstance(node, ast.Tuple) and _comma_hint(text):
        raise UsageError(f"{quoted} has a comma in a number.{_comma_hint(text)}")
    if not isinstance(node, _NODES):
        power = " Write ** for 'to the power of'." if isinstance(node, ast.BitXor) else ""
        raise UsageError(
            f"{quoted} uses something that a rule may not: only arithmetic, comparisons and {listed(FUNCTIONS)}.{power}"
        )
    if isinstance(node, ast.Constant):
        _check_constant(node.value, quoted)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
        _check_exponent(node.right, quoted)
    if isinstance(node, ast.Call):
        _check_call(node, quoted)
    _check_truths(node, quoted)
    for child in ast.iter_child_nodes(node):
        _check(child, text, depth + isinstance(child, ast.expr))


def _check_constant(value: object, quoted: str) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise UsageError(f"{quoted} holds {value!r}; a rule may hold numbers and level names in quotes.")
    if isinstance(value, int | float) and not abs(value) <= 1e15:
        raise UsageError(f"{quoted} holds a number beyond 1e15.")


def _check_truths(node: ast.AST, quoted: str) -> None:
    parts = node.values if isinstance(node, ast.BoolOp) else []
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        parts = [node.operand]
    if not all(_is_boolean(part) for part in parts):
        raise UsageError(f"{quoted} joins something by and, or, not that is no comparison, such as 'wool > 10'.")


def _check_exponent(node: ast.expr, quoted: str) -> None:
    sign = 1.0
    while isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        sign, node = (-sign if isinstance(node.op, ast.USub) else sign), node.operand
    value = node.value if isinstance(node, ast.Constant) else None
    if not isinstance(value, int | float) or isinstance(value, bool) or abs(value) > LARGEST_EXPONENT:
        raise UsageError(f"{quoted} has an exponent that is not a plain number up to {LARGEST_EXPONENT:g}.")


def _check_call(node: ast.Call, quoted: str) -> None:
    name = node.func.id if isinstance(node.func, ast.Name) else ast.unparse(node.func)
    if name not in FUNCTIONS:
        raise UsageError(
            f"{quoted} calls '{shown(name, 40)}'; a rule may call {listed(FUNCTIONS)}.{did_you_mean(name, FUNCTIONS)}"
        )
    many = name in ("min", "max")
    if node.keywords or (len(node.args) < 2 if many else len(node.args) != 1):
        hint = "" if many else _comma_hint(ast.unparse(node).replace(", ", ","))
        raise UsageError(f"{quoted}: {name} takes {'two or more values' if many else 'one value'}.{hint}")


def _is_boolean(node: ast.AST) -> bool:
    if isinstance(node, ast.BoolOp | ast.Compare):
        return True
    return isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not)


def _is_text(node: ast.AST, levels: Mapping[str, Sequence[str]]) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str)
    return isinstance(node, ast.Name) and node.id in levels


def _check_numbers(node: ast.AST, levels: Mapping[str, Sequence[str]], where: str) -> None:
    for part in ast.iter_child_nodes(node):
        if _is_text(part, levels):
            raise UsageError(f"{where} calculates with {ast.unparse(part)}, which is a level and no number.")


def _check_comparison(node: ast.Compare, levels: Mapping[str, Sequence[str]], where: str) -> None:
    sides = [node.left, *node.comparators]
    for sign, first, second in zip(node.ops, sides, sides[1:], strict=False):
        if _is_text(first, levels) != _is_text(second, levels):
            level, other = (first, second) if _is_text(first, levels) else (second, first)
            raise UsageError(
                f"{where} compares {ast.unparse(level)} with {shown(ast.unparse(other), 40)}; "
                "a level is compared with a level's name in quotes."
            )
        if not _is_text(first, levels):
            continue
        if not isinstance(sign, ast.Eq | ast.NotEq):
            raise UsageError(f"{where} puts levels in an order; they are only compared with == and !=.")
        _check_level(first, second, levels, where)
        _check_level(second, first, levels, where)


def _check_level(name: ast.AST, level: ast.AST, levels: Mapping[str, Sequence[str]], where: str) -> None:
    """Check that a quoted level is spelled as its factor spells it; otherwise the rule could never hold."""
    if not isinstance(name, ast.Name) or not isinstance(level, ast.Constant):
        return
    text, allowed = str(level.value), levels[name.id]
    if text not in allowed:
        hint = did_you_mean(text, allowed)
        raise UsageError(f"{where}: {name.id} has no level '{text}'; it must be {listed(allowed)}.{hint}")
