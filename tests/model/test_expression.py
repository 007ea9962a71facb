from __future__ import annotations

import ast
import math
import time
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from doe.model.errors import DataError, UsageError
from doe.model.expression import DEEPEST, LONGEST, Expression
from doe.model.names import same_name
from tests.refusing import refused
from tests.strategies import names

NAMES = ("a", "b", "c")
VALUES = st.one_of(st.integers(-20, 20), st.floats(-1e6, 1e6))
FUNCTIONS: dict[str, Any] = {
    "abs": abs,
    "ceil": math.ceil,
    "exp": math.exp,
    "floor": math.floor,
    "log": math.log,
    "log10": math.log10,
    "max": max,
    "min": min,
    "sqrt": math.sqrt,
    "pi": math.pi,
}
# These agree to the last bit in Python and NumPy, so that a comparison or a floor cannot tip over; the rest may not.
EXACT = ("abs", "ceil", "floor", "sqrt")
ROUGH = (*EXACT, "exp", "log", "log10")


def leaves() -> st.SearchStrategy[str]:
    return st.one_of(
        st.sampled_from([*NAMES, "pi"]), st.integers(0, 50).map(str), st.sampled_from(["0.5", "1e3", "2.25"])
    )


def arithmetic(functions: tuple[str, ...], operators: str = "+-*/%") -> st.SearchStrategy[str]:
    """Texts of arithmetic over a, b and c."""

    def grow(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
        return st.one_of(
            st.builds(lambda x, sign, y: f"({x} {sign} {y})", inner, st.sampled_from(list(operators)), inner),
            st.builds(lambda sign, x: f"({sign}{x})", st.sampled_from("+-"), inner),
            st.builds(lambda name, x: f"{name}({x})", st.sampled_from(functions), inner),
            st.builds(lambda name, x, y: f"{name}({x}, {y})", st.sampled_from(["min", "max"]), inner, inner),
            st.builds(lambda x, power: f"({x}) ** {power}", inner, st.sampled_from(["0", "1", "2", "-1", "0.5"])),
        )

    return st.recursive(leaves(), grow, max_leaves=8).filter(lambda text: len(text) <= LONGEST)


def comparisons() -> st.SearchStrategy[str]:
    """Texts of rules over a, b and c."""
    signs = st.sampled_from(["<", "<=", ">", ">=", "==", "!="])
    side = arithmetic(EXACT, "+-*/%").filter(lambda text: "**" not in text)
    simple = st.one_of(
        st.builds(lambda x, sign, y: f"{x} {sign} {y}", side, signs, side),
        st.builds(lambda x, s, y, t, z: f"{x} {s} {y} {t} {z}", leaves(), signs, leaves(), signs, leaves()),
    )

    def grow(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
        return st.one_of(
            st.builds(lambda x: f"not ({x})", inner),
            st.builds(lambda x, word, y: f"({x}) {word} ({y})", inner, st.sampled_from(["and", "or"]), inner),
        )

    return st.recursive(simple, grow, max_leaves=4).filter(lambda text: len(text) <= LONGEST)


def by_python(text: str, values: dict[str, float]) -> Any:
    """What Python itself makes of it, in floats; None where it, or a part of it, has no finite real value."""
    tree = ast.parse(text, mode="eval")
    parts = [node for node in ast.walk(tree) if isinstance(node, ast.expr) and not _is_function_name(node, tree)]
    names = {**FUNCTIONS, **{name: float(value) for name, value in values.items()}}
    try:
        results = [eval(compile(_in_floats(part), "test", "eval"), {"__builtins__": {}}, names) for part in parts]
    except (ArithmeticError, ValueError, TypeError):
        return None
    if any(isinstance(result, complex) or not math.isfinite(result) for result in results):
        return None
    return results[0]


def _is_function_name(node: ast.AST, tree: ast.AST) -> bool:
    return any(isinstance(call, ast.Call) and call.func is node for call in ast.walk(tree))


def _in_floats(node: ast.expr) -> ast.Expression:
    class Floats(ast.NodeTransformer):
        def visit_Constant(self, constant: ast.Constant) -> ast.Constant:
            return ast.copy_location(ast.Constant(float(constant.value)), constant)  # type: ignore[arg-type]

    return ast.fix_missing_locations(ast.Expression(Floats().visit(ast.parse(ast.unparse(node), mode="eval").body)))


def alone(text: str, values: dict[str, float]) -> Any:
    try:
        return Expression(text).evaluate(values)
    except DataError:
        return None


@given(arithmetic(ROUGH), st.fixed_dictionaries(dict.fromkeys(NAMES, VALUES)))
@example("a ** 0.5", {"a": -1, "b": 0, "c": 0})
@example("exp(a) * 0", {"a": 1000, "b": 0, "c": 0})
@example("a ** 2 * 1e15 ** 12", {"a": 1e150, "b": 0, "c": 0})
@example("a % b", {"a": -7, "b": 3, "c": 0})
def test_arithmetic_is_what_python_makes_of_it(text: str, values: dict[str, float]) -> None:
    """Same value as Python's eval, and refused exactly where a part of it has no finite real value."""
    ours, theirs = alone(text, values), by_python(text, values)
    assert ours == theirs
    assert ours is None or type(ours) is float


@given(comparisons(), st.fixed_dictionaries(dict.fromkeys(NAMES, VALUES)))
@example("a < b < c", {"a": 1, "b": 2, "c": 2})
@example("a < b or 1 / c > 0", {"a": 1, "b": 2, "c": 0})
@example("not a", {"a": 1, "b": 2, "c": 0}).xfail(raises=UsageError, reason="a number is no comparison")
def test_a_rule_is_what_python_makes_of_it(text: str, values: dict[str, float]) -> None:
    ours = alone(text, values)
    assert ours is by_python(text, values)


@given(arithmetic(ROUGH), st.lists(st.tuples(VALUES, VALUES, VALUES), min_size=1, max_size=8))
@example("a ** 0", [(0.0, 0, 0), (1e6, 0, 0)])
@example("(1 / a) ** 0", [(0.0, 0, 0), (1e6, 0, 0)])
@example("floor(exp(a)) * 0", [(1000.0, 0, 0), (1.0, 0, 0)])
def test_an_array_gives_each_variant_its_own_value(text: str, rows: list[tuple[float, float, float]]) -> None:
    """Cell by cell the scalar result, NaN where the scalar is refused, and never a warning (those are errors here)."""
    if any(name in text for name in ("exp", "log", "**")) and any(name in text for name in ("floor", "ceil", "%")):
        return  # NumPy and Python may differ in the last bit of these, and a floor or a remainder would show it
    columns = {name: np.array(column) for name, column in zip(NAMES, zip(*rows, strict=True), strict=True)}
    singles = [alone(text, dict(zip(NAMES, row, strict=True))) for row in rows]
    try:
        result = np.broadcast_to(Expression(text).evaluate(columns), (len(rows),))
    except DataError:  # a part without names cannot be computed for any variant
        assert singles == [None] * len(rows)
        return
    expected = [math.nan if single is None else single for single in singles]
    scale = max(1.0, *(abs(value) for row in rows for value in row))
    np.testing.assert_allclose(result, expected, rtol=1e-9, atol=1e-9 * scale)


@given(comparisons(), st.lists(st.tuples(VALUES, VALUES, VALUES), min_size=1, max_size=8))
@example("not 1 / a > 2", [(0.0, 0, 0), (1.0, 0, 0)])
@example("1 / a != 2 or b == 0", [(0.0, 0, 0), (1.0, 0, 0)])
def test_a_rule_is_kept_in_an_array_exactly_where_it_is_kept_alone(
    text: str, rows: list[tuple[float, float, float]]
) -> None:
    """A cell that cannot be computed is never kept, however the rule is negated or joined."""
    columns = {name: np.array(column) for name, column in zip(NAMES, zip(*rows, strict=True), strict=True)}
    singles = [alone(text, dict(zip(NAMES, row, strict=True))) is True for row in rows]
    try:
        result = np.broadcast_to(Expression(text).evaluate(columns), (len(rows),))
    except DataError:
        assert not any(singles)
        return
    assert result.dtype == bool
    assert result.tolist() == singles


def bounded(text: str) -> Expression | None:
    """Read and compute any text: within milliseconds it is an expression or a UsageError, and nothing else."""
    start = time.perf_counter()
    try:
        expression = Expression(text)
    except UsageError as err:
        assert str(err).isprintable()
        assert time.perf_counter() - start < 0.1
        return None
    for value in (1e15, 3, "felt", np.array([1e15, 0.0])):
        try:
            result = expression.evaluate(dict.fromkeys(expression.names, value))
        except DataError as err:
            assert str(err).isprintable()
        else:
            assert isinstance(result, float | bool | str | np.ndarray | np.bool_)
    assert time.perf_counter() - start < 0.2
    return expression


PIECES = [
    "a", "b1", "_", "pi", "1", "0", "1e3", "9" * 30, "0x1f", "1_0", "'felt'", "\"", "'", "+", "-", "*", "/", "//", "%", "**",
    "@", "&", "|", "^", "~", "<", "<=", "==", "!=", "<>", "=", ":=", "(", ")", "[", "]", "{", "}", ",", ";", ":", ".", "..",
    "->",
    " and ", " or ", " not ", " in ", " is ", " if ", " else ", " for ", "lambda ", "await ", "yield ", "abs(", "min(", "sqrt(",
    "eval(", "exec(", "__import__", "__class__", "__builtins__", "open(", "f'{a}'", "b'x'", "*a", "**a", "\\", "\n", "\t",
    "\x00",
    "#", "\u202e", "é", "ｎ", "🙂", "\ud800", "\x0c", "None", "True", "...", "1j", "NaN", "inf",
]  # fmt: skip


@given(st.text(max_size=60))
def test_arbitrary_text_is_bounded(text: str) -> None:
    bounded(text)


@given(st.lists(st.sampled_from(PIECES), max_size=20).map("".join))
def test_arbitrary_pieces_of_python_are_bounded(text: str) -> None:
    bounded(text)


HARD = {
    "deep brackets": "(" * 249 + "1" + ")" * 249,
    "more brackets than Python reads": "(" * LONGEST,
    "deep signs": "-" * 400 + "a",
    "deep nots": "not " * 100 + "a > 1",
    "deep calls": "abs(" * 100 + "a" + ")" * 100,
    "deep lists": "[" * 150 + "]" * 150,
    "powers of powers": "((((a ** 12) ** 12) ** 12) ** 12) ** 12",
    "powers of constants": "((((999999999999999 ** 12) ** 12) ** 12) ** 12) ** 12",
    "a tower": "9 ** 9 ** 9 ** 9",
    "a long product": " * ".join(["a"] * 24),
    "a long number": "9" * LONGEST,
    "a long text": "'" + "x" * 490 + "'",
    "text times number": "'x' * 999999999999999",
    "number times text": "999999999999999 * 'x'",
    "text formatting": "'%999999999d' % a",
    "many comparisons": " < ".join("a" * 100),
    "many truths": " and ".join(["a > 1"] * 50),
}


@pytest.mark.parametrize("text", HARD.values(), ids=HARD.keys())
def test_no_rule_can_stall_the_program(text: str) -> None:
    bounded(text)


NOT_ALLOWED = [
    "a.real",
    "a.__class__",
    "().__class__.__bases__",
    "a[0]",
    "a[0:1]",
    "[x for x in a]",
    "{x: 1 for x in a}",
    "(x for x in a)",
    "lambda: 1",
    "lambda a: a > 1",
    "1 if a else 2",
    "(b := a)",
    "[a, b]",
    "(a, b)",
    "{a}",
    "{a: b}",
    "f'{a}'",
    "a // b",
    "a @ b",
    "a | b",
    "a & b",
    "~a",
    "a << 99",
    "a is b",
    "a in b",
    "a not in b",
]
CALLS = "abs, ceil, exp, floor, log, log10, max, min or sqrt"
WORDS = "only arithmetic, comparisons and abs, ceil, exp, floor, log, log10, max, min or sqrt"


@pytest.mark.parametrize("text", NOT_ALLOWED)
def test_nothing_outside_the_white_list_is_read(text: str) -> None:
    with refused(UsageError, f"'{text}' uses something that a rule may not: {WORDS}."):
        Expression(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("__import__('os')", "'__import__('os')' calls '__import__'; a rule may call " + CALLS + "."),
        ("a.sqrt(1)", "'a.sqrt(1)' calls 'a.sqrt'; a rule may call " + CALLS + ". Did you mean 'sqrt'?"),
        ("sqr(a)", "'sqr(a)' calls 'sqr'; a rule may call " + CALLS + ". Did you mean 'sqrt'?"),
        ("abs(a, b)", "'abs(a, b)': abs takes one value."),
        ("sqrt()", "'sqrt()': sqrt takes one value."),
        ("min(a)", "'min(a)': min takes two or more values."),
        ("min(a, b, key=c)", "'min(a, b, key=c)': min takes two or more values."),
        ("a ^ b", "'a ^ b' uses something that a rule may not: " + WORDS + ". Write ** for 'to the power of'."),
        ("max(*a, b)", "'max(*a, b)' uses something that a rule may not: " + WORDS + "."),
        ("a ** b", "'a ** b' has an exponent that is not a plain number up to 12."),
        ("a ** 13", "'a ** 13' has an exponent that is not a plain number up to 12."),
        ("2 ** 2 ** 2", "'2 ** 2 ** 2' has an exponent that is not a plain number up to 12."),
        ("a ** 'x'", "'a ** 'x'' has an exponent that is not a plain number up to 12."),
        ("True", "'True' holds True; a rule may hold numbers and level names in quotes."),
        ("a == None", "'a == None' holds None; a rule may hold numbers and level names in quotes."),
        ("2j", "'2j' holds 2j; a rule may hold numbers and level names in quotes."),
        ("b'x'", "'b'x'' holds b'x'; a rule may hold numbers and level names in quotes."),
        ("a * 1e16", "'a * 1e16' holds a number beyond 1e15."),
        ("a * 1e999", "'a * 1e999' holds a number beyond 1e15."),
        ("not a", "'not a' joins something by and, or, not that is no comparison, such as 'wool > 10'."),
        ("a > 1 and b", "'a > 1 and b' joins something by and, or, not that is no comparison, such as 'wool > 10'."),
        ("a >= ", "'a >= ' is no expression that can be read."),
        ("a\n+ b", "'a + b' is no expression that can be read near character 1."),
        ("a = 3", "'a = 3' is no expression that can be read near character 3. Write == for 'equal to'."),
        ("a => 3", "'a => 3' is no expression that can be read near character 3. Write >= for 'at least'."),
        ("a =< 3", "'a =< 3' is no expression that can be read near character 3. Write <= for 'at most'."),
        ("a ≥ 3", "'a ≥ 3' is no expression that can be read near character 3. Write >= for 'at least'."),
        ("a ≤ 3", "'a ≤ 3' is no expression that can be read near character 3. Write <= for 'at most'."),
        (
            "a * 0,5",
            "'a * 0,5' has a comma in a number. Write '0,5' with a decimal point instead of the comma.",
        ),
        (
            "a + 1,5 * b >= 3",
            "'a + 1,5 * b >= 3' has a comma in a number. Write '1,5' with a decimal point instead of the comma.",
        ),
        (
            "sqrt(2,5)",
            "'sqrt(2,5)': sqrt takes one value. Write '2,5' with a decimal point instead of the comma.",
        ),
        (
            "a > 1,200",
            "'a > 1,200' has a comma in a number. Write '1,200' with a decimal point instead of the comma, or without it.",
        ),
        ("a; b", "'a; b' is no expression that can be read near character 2."),
        ("a == '\\d'", "'a == '\\d'' is no expression that can be read."),
        ("a\x00", "'a ' is no expression that can be read."),
        ("", "A rule is empty; write one such as 'rings * 42 - wool * 2.1 >= 180'."),
        (" " * 600, "A rule is empty; write one such as 'rings * 42 - wool * 2.1 >= 180'."),
        ("a" * 501, "A rule has 501 characters; it may have 500."),
    ],
)
def test_a_rule_that_cannot_be_is_refused_in_words(text: str, message: str) -> None:
    with refused(UsageError, message):
        Expression(text)


def test_a_rule_may_be_as_deep_as_the_bound_and_no_deeper() -> None:
    assert Expression("+" * DEEPEST + "a").evaluate({"a": 2}) == 2
    deep = "+" * (DEEPEST + 1) + "a"
    with refused(UsageError, f"'{deep}' is nested deeper than 24 levels; split it in two."):
        Expression(deep)


@pytest.mark.parametrize(
    ("text", "values", "message"),
    [
        ("1 / a", {"a": 0}, "'1 / a' cannot be computed for a = 0: it divides by zero."),
        ("1 % a", {"a": np.float64(0)}, "'1 % a' cannot be computed for a = 0.0: it divides by zero."),
        ("a ** -1", {"a": np.int64(0)}, "'a ** -1' cannot be computed for a = 0: it divides by zero."),
        ("sqrt(a)", {"a": -1}, "'sqrt(a)' cannot be computed for a = -1: a root or logarithm does not exist."),
        ("a ** 0.5", {"a": -1}, "'a ** 0.5' cannot be computed for a = -1: a root or logarithm does not exist."),
        (
            "abs(a ** 0.5)",
            {"a": -1},
            "'abs(a ** 0.5)' cannot be computed for a = -1: a root or logarithm does not exist.",
        ),
        ("log(a)", {"a": 0}, "'log(a)' cannot be computed for a = 0: a root or logarithm does not exist."),
        ("exp(a) > 0", {"a": 800}, "'exp(a) > 0' cannot be computed for a = 800: the number is too large."),
        ("a * a * 0", {"a": 1e200}, "'a * a * 0' cannot be computed for a = 1e+200: the number is too large."),
        ("a ** 12", {"a": 10**400}, f"'a ** 12' cannot be computed for a = 1{'0' * 116}...: the number is too large."),
        ("a + b", {"a": 1}, "'a + b' needs a value for b."),
        ("a + b", {"a": 1, "b": None}, "'a + b' cannot be computed for a = 1, b = None: a value is missing."),
        ("a < 2", {"a": math.nan}, "'a < 2' cannot be computed for a = nan: a value is missing."),
        ("a < 2", {"a": pd.NA}, "'a < 2' cannot be computed for a = <NA>: a value is missing."),
        ("a < 2", {"a": "felt"}, "'a < 2' cannot be computed for a = felt: a level is compared with a number."),
        ("a == 2", {"a": "2"}, "'a == 2' cannot be computed for a = 2: a level is compared with a number."),
        ("a != 'x'", {"a": 2}, "'a != 'x'' cannot be computed for a = 2: a level is compared with a number."),
        ("a < 'x'", {"a": "w"}, "'a < 'x'' cannot be computed for a = w: levels are only compared with == and !=."),
        ("a * 2", {"a": "felt"}, "'a * 2' cannot be computed for a = felt: a level is no number."),
        ("'%d' % a", {"a": 3}, "''%d' % a' cannot be computed for a = 3: a level is no number."),
        ("max(a, 1)", {"a": "felt"}, "'max(a, 1)' cannot be computed for a = felt: a level is no number."),
        ("a + 1", {"a": [1]}, "'a + 1' cannot be computed for a = [1]: it is neither a number nor a level."),
        ("a + 1", {"a": np.array(["x", "y"])}, "'a + 1' cannot be computed for these settings: a level is no number."),
        (
            "a < 1",
            {"a": np.array(["x", "y"])},
            "'a < 1' cannot be computed for these settings: a level is compared with a number.",
        ),
        (
            "a == 'x'",
            {"a": np.array([1, 2])},
            "'a == 'x'' cannot be computed for these settings: a level is compared with a number.",
        ),
        (
            "a == 'x'",
            {"a": np.array(["x", 2], dtype=object)},
            "'a == 'x'' cannot be computed for these settings: a column mixes numbers and levels.",
        ),
        (
            "a + 1 / 0",
            {"a": np.array([1, 2])},
            "'a + 1 / 0' cannot be computed for these settings: it divides by zero.",
        ),
    ],
)
def test_what_cannot_be_computed_is_refused_in_words(text: str, values: dict[str, Any], message: str) -> None:
    with refused(DataError, message):
        Expression(text).evaluate(values)


@pytest.mark.parametrize(
    "column",
    [
        np.array([4.0, -4.0, 0.0, np.nan, np.inf]),
        np.array([4, -4, 0, None, math.inf], dtype=object),
        pd.Series([4.0, -4.0, 0.0, None, math.inf]),
        pd.Series([4.0, -4.0, 0.0, pd.NA, math.inf], dtype="Float64"),
    ],
    ids=["floats", "objects", "series", "masked series"],
)
def test_cells_that_cannot_be_computed_are_nan_and_not_kept(column: Any) -> None:
    """Missing, infinite and impossible cells, whatever kind of column holds them, and without a warning."""
    values = {"a": column}
    nan = math.nan
    np.testing.assert_array_equal(Expression("1 / sqrt(a)").evaluate(values), [0.5, nan, nan, nan, nan])
    np.testing.assert_array_equal(
        Expression("a ** 0 + log(a + 4)").evaluate(values), [1 + math.log(8), nan, 1 + math.log(4), nan, nan]
    )
    for rule, kept in [
        ("1 / a < 9", [1, 1, 0, 0, 0]),
        ("not 1 / a < -9", [1, 1, 0, 0, 0]),
        ("a != 7", [1, 1, 1, 0, 0]),
    ]:
        assert Expression(rule).evaluate(values).tolist() == [bool(cell) for cell in kept]


@pytest.mark.parametrize(
    "column",
    [
        np.array(["felt", "cork", "felt"]),
        np.array(["felt", "cork", "felt"], dtype=object),
        pd.Series(["felt", "cork", "felt"]),
        pd.Series(["felt", "cork", "felt"], dtype="category"),
    ],
    ids=["text", "objects", "series", "categories"],
)
def test_columns_of_levels_are_compared(column: Any) -> None:
    values = {"feet": column, "wool": np.array([1, 2, 3])}
    assert Expression("feet == 'felt'").evaluate(values).tolist() == [True, False, True]
    assert Expression("'felt' != feet").evaluate(values).tolist() == [False, True, False]
    assert Expression("feet == 'felt' and wool > 2").evaluate(values).tolist() == [False, False, True]
    np.testing.assert_array_equal(Expression("wool + 5 * (feet == 'cork')").evaluate(values), [1.0, 7.0, 3.0])


@pytest.mark.parametrize("column", [np.array(["x", None, math.nan], dtype=object), pd.Series(["x", None, pd.NA])])
def test_a_missing_level_is_neither_equal_nor_different(column: Any) -> None:
    assert Expression("a == 'x'").evaluate({"a": column}).tolist() == [True, False, False]
    assert Expression("a != 'x'").evaluate({"a": column}).tolist() == [False, False, False]
    assert Expression("not a == 'y'").evaluate({"a": column}).tolist() == [True, False, False]


def test_arrays_of_any_shape_keep_it() -> None:
    grid = np.arange(6).reshape(2, 3)
    assert Expression("a % 2 == 0 or a > 4").evaluate({"a": grid}).tolist() == [
        [True, False, True],
        [False, True, True],
    ]
    feet = np.array([["felt", "cork"]], dtype=object)
    assert Expression("a == 'felt'").evaluate({"a": feet}).tolist() == [[True, False]]


def test_whole_numbers_do_not_overflow_in_arrays() -> None:
    """NumPy's own whole numbers would wrap round without a word."""
    np.testing.assert_allclose(Expression("a * a * a").evaluate({"a": np.array([10**9, 3])}), [1e27, 27.0])
    np.testing.assert_allclose(Expression("a ** -2").evaluate({"a": np.array([2, 4])}), [0.25, 0.0625])


@given(st.lists(st.tuples(VALUES, VALUES, VALUES), min_size=1, max_size=3))
def test_the_callers_arrays_are_left_alone(rows: list[tuple[float, float, float]]) -> None:
    columns = {name: np.array(column, dtype=float) for name, column in zip(NAMES, zip(*rows, strict=True), strict=True)}
    before = {name: column.copy() for name, column in columns.items()}
    Expression("a / b + sqrt(c) * min(a, b)").evaluate(columns)
    for name in NAMES:
        np.testing.assert_array_equal(columns[name], before[name])


def test_names_are_those_of_factors_only() -> None:
    assert Expression("sqrt(wool) * pi + max(rings, 2)").names == {"wool", "rings"}
    assert Expression("sqrt(wool) > 1").is_comparison
    assert not Expression("sqrt(wool) + (wool > 1)").is_comparison


def test_expressions_are_equal_by_their_text() -> None:
    assert Expression("a + 1") == Expression("a + 1")
    assert len({Expression("a + 1"), Expression("a + 1"), Expression("a + 2")}) == 2


@given(arithmetic(EXACT), arithmetic(EXACT), st.fixed_dictionaries(dict.fromkeys(NAMES, VALUES)))
def test_a_quantity_written_out_is_the_same_quantity(outer: str, inner: str, values: dict[str, float]) -> None:
    """Putting an expression in the place of a name gives what computing it first gives."""
    try:
        written = Expression(outer).inlined({"a": Expression(inner)})
    except UsageError:  # too long or too deep by that
        return
    first = alone(inner, values)
    if first is None or "a" not in Expression(outer).names:
        return
    assert alone(written.text, values) == alone(outer, {**values, "a": first})


def test_a_comma_between_values_stays_one() -> None:
    assert Expression("max(1,5)").evaluate({}) == 5


@given(names().filter(lambda name: name != "pi"), names().filter(lambda name: name != "pi"))
def test_a_name_is_changed_in_any_script_and_nothing_else(old: str, new: str) -> None:
    """Offsets in the parsed text count bytes; a level of the same name in quotes stays."""
    text = f"{old} +  2 >= max({old}, wide) and kind == '{old}'"
    expected = f"{new} +  2 >= max({new}, wide) and kind == '{old}'"
    if old not in ("wide", "kind"):
        assert Expression(text).renamed(same_name(old), new) == expected
