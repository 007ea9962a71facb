"""Hypothesis strategies for everything that a setup consists of; new features join them here."""

from __future__ import annotations

from typing import Any

from hypothesis import settings
from hypothesis import strategies as st

from doe.model.choices import Value
from doe.model.effort import Effort
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.names import ADVICE_COLUMNS, RESERVED, same_name
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.model.wording import exact

LABEL_ALPHABET = "abcXYZ0189 .,;:'\"%_-/()éßİΩ名🙂\N{NO-BREAK SPACE}\N{ZERO WIDTH JOINER}"
"""Signs that tend to go wrong: quotes, separators, letters without a single small form; a short list is also quick."""


def examples(count: int) -> settings:
    """So many examples in the usual profile of 20, and as many times more or fewer in another one."""
    return settings(max_examples=max(1, count * settings().max_examples // 20))


def names() -> st.SearchStrategy[str]:
    """Names that a factor, an outcome or a quantity may have, in several scripts."""
    first = st.sampled_from("abcdefxyzABZäéßжλ名")
    rest = st.text("abcxyzABZ0189_éλ名", max_size=8)
    return st.builds(lambda a, b: same_name(a + b), first, rest).filter(
        lambda name: name.casefold() not in RESERVED | ADVICE_COLUMNS
    )


def distinct_names(least: int = 1, most: int = 5) -> st.SearchStrategy[list[str]]:
    """Names that differ by more than capitals."""
    return st.lists(names(), min_size=least, max_size=most, unique_by=str.casefold)


def labels() -> st.SearchStrategy[str]:
    """Level names and other text on one line."""
    return st.text(LABEL_ALPHABET, min_size=1, max_size=12).map(str.strip).filter(bool)


def texts() -> st.SearchStrategy[str]:
    """Notes and units of measure, often empty."""
    return st.one_of(st.just(""), labels())


def decimals(low: int = -(10**6), high: int = 10**6) -> st.SearchStrategy[float]:
    """Numbers as a person writes them: up to three places after the point."""
    return st.builds(lambda whole, places: whole / 10**places, st.integers(low, high), st.integers(0, 3))


def amounts() -> st.SearchStrategy[float]:
    """Minutes, prices and weights."""
    return st.one_of(st.just(0.0), decimals(0, 10**5))


@st.composite
def continuous_factors(draw: st.DrawFn, name: str | None = None, *, stepped: bool | None = None) -> Factor:
    """A number on a range, with or without a step that leads from low to high."""
    places = 10 ** draw(st.integers(0, 3))
    low, width, count = draw(st.integers(-(10**5), 10**5)), draw(st.integers(1, 10**3)), draw(st.integers(1, 60))
    has_step = draw(st.booleans()) if stepped is None else stepped
    return Factor(
        name or draw(names()),
        "continuous",
        low=low / places,
        high=(low + width * count) / places,
        step=width / places if has_step else None,
        **draw(_common(("either", "up", "down", "rebuild"))),
    )


@st.composite
def count_factors(draw: st.DrawFn, name: str | None = None) -> Factor:
    """Whole numbers, by ones or in larger steps."""
    low, step, count = draw(st.integers(-50, 50)), draw(st.sampled_from([None, 1, 2, 5])), draw(st.integers(1, 12))
    high = low + (step or 1) * count
    common = draw(_common(("either", "up", "down", "rebuild")))
    return Factor(name or draw(names()), "count", low=low, high=high, step=step, **common)


@st.composite
def level_factors(draw: st.DrawFn, name: str | None = None, *, kind: str | None = None) -> Factor:
    """Named levels, with an order or without one."""
    kind = kind or draw(st.sampled_from(["ordered", "categorical"]))
    levels = draw(st.lists(labels(), min_size=2, max_size=6, unique_by=str.casefold))
    ways = ("either", "rebuild") if kind == "categorical" else ("either", "up", "down", "rebuild")
    prices = draw(st.dictionaries(st.sampled_from(levels), amounts(), max_size=2))
    return Factor(name or draw(names()), kind, levels=levels, prices=prices, **draw(_common(ways)))  # type: ignore[arg-type]


def factors(name: str | None = None) -> st.SearchStrategy[Factor]:
    """A factor of any kind."""
    return st.one_of(continuous_factors(name), count_factors(name), level_factors(name))


@st.composite
def factor_sets(draw: st.DrawFn, least: int = 1, most: int = 4) -> tuple[Factor, ...]:
    """Factors with different names."""
    return tuple(draw(factors(name)) for name in draw(distinct_names(least, most)))


def settings_of(factor: Factor) -> st.SearchStrategy[Value]:
    """Settings that the factor stores."""
    if not factor.is_numeric:
        return st.sampled_from(list(factor.levels))
    low, high = factor.span
    if factor.step is None:
        return st.floats(low, high).map(factor.read)
    step, count = factor.step, round((high - low) / factor.step)
    return st.integers(0, count).map(lambda place: factor.read(low + place * step))


def settings_for(known: tuple[Factor, ...]) -> st.SearchStrategy[dict[str, Value]]:
    """One setting for each factor."""
    return st.fixed_dictionaries({factor.name: settings_of(factor) for factor in known})


@st.composite
def outcomes(draw: st.DrawFn, name: str | None = None) -> Outcome:
    """Outcomes of every kind with every goal, and without one."""
    kind = draw(st.sampled_from(["measured", "rated", "compared"]))
    low, width = draw(decimals(-(10**4), 10**4)), draw(decimals(1, 10**4))
    fields: dict[str, Any] = draw(_goal(low, width))
    if kind == "rated":
        fields["scale"] = (low, low + width)
    if kind == "measured" and draw(st.booleans()):
        fields["recipe"] = {"from": draw(labels()), **draw(st.dictionaries(names(), decimals(), max_size=2))}
    return Outcome(
        name or draw(names()),
        kind,  # type: ignore[arg-type]
        unit=draw(texts()),
        matters=draw(st.none() | decimals(1, 1000)),
        weight=draw(amounts()),
        relative_to=draw(st.none() | labels()),
        note=draw(texts()),
        **fields,
    )


def efforts() -> st.SearchStrategy[Effort]:
    """Minutes and money outside the factors."""
    return st.builds(Effort, amounts(), amounts(), amounts(), amounts())


@st.composite
def setups(draw: st.DrawFn, *, most_factors: int = 4) -> Setup:
    """Whole setups: factors, outcomes, effort, and rules where there are numbers to write them in."""
    free = draw(distinct_names(3, most_factors + 4))
    count = draw(st.integers(1, min(most_factors, len(free) - 2)))
    known = tuple(draw(factors(name)) for name in free[:count])
    parts = [factor for factor in known if factor.is_numeric]
    numeric = [factor.name for factor in parts]
    shared = [draw(shared_limits(parts[0], parts[1]))] if len(parts) > 1 and draw(st.booleans()) else []
    derived = [Derived(free[count], " + ".join(numeric), draw(texts()))] if numeric and draw(st.booleans()) else []
    judged = [draw(outcomes(name)) for name in free[count + 1 :]]
    return Setup(
        title=draw(labels()),
        question=draw(texts()),
        factors=known,
        outcomes=judged,
        effort=draw(efforts()),
        limits=[*shared, *(Limit(f"{name} >= {draw(st.integers(-9, 9))}", draw(texts())) for name in numeric[:2])],
        derived=derived,
        expectations=[draw(expectations(factor, outcome.name)) for factor in known[:2] for outcome in judged[:1]],
    )


@st.composite
def shared_limits(draw: st.DrawFn, one: Factor, other: Factor) -> Limit:
    """What two numbers add up to, or how much at most; some settings keep it."""
    settings = draw(settings_for((one, other)))
    sign, total = draw(st.sampled_from(["==", "<="])), float(settings[one.name]) + float(settings[other.name])
    return Limit(f"{one.name} + {other.name} {sign} {exact(round(total, 3))}", draw(texts()))


@st.composite
def expectations(draw: st.DrawFn, factor: Factor, outcome: str) -> Expectation:
    """What a maker may expect of a factor: a direction only where it has one, a size only with a direction."""
    ways = ["nothing"] if factor.kind == "categorical" else ["raises", "lowers", "nothing"]
    effect = draw(st.sampled_from(ways))
    size = None if effect == "nothing" else draw(st.none() | decimals(1, 1000))
    return Expectation(factor.name, outcome, effect, size, draw(texts()))  # type: ignore[arg-type]


def _common(ways: tuple[str, ...]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {
            "way": st.sampled_from(ways),
            "unit": texts(),
            "minutes": amounts(),
            "minutes_per_step": amounts(),
            "price": amounts(),
            "note": texts(),
        }
    )


def _goal(low: float, width: float) -> st.SearchStrategy[dict[str, Any]]:
    high = low + width
    pair = (low - width, high + width)
    return st.sampled_from(
        [
            {},
            {"goal": "raise", "best": high, "worst": low},
            {"goal": "lower", "best": low, "worst": high},
            {"goal": "hit", "target": low, "worst": high},
            {"goal": "hit", "target": low, "worst": pair},
            {"goal": "within", "low": low, "high": high},
            {"goal": "within", "low": low, "high": high, "worst": high + width},
            {"goal": "within", "low": low, "high": high, "worst": pair},
        ]
    )
