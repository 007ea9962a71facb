"""Definitions as forms: what may be typed, and the record that it makes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, get_args

from doe.measuring.check import check_outcome
from doe.model.choices import Direction, FactorKind, Goal, OutcomeKind, Way
from doe.model.effort import Effort
from doe.model.errors import FettleError
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.model.wording import exact
from doe.web.contexts import Choice, Field
from doe.web.definition_faults import NotRead, pinned
from doe.web.recipe_fields import read_recipe, recipe_fields, typed_recipe
from doe.web.typed_numbers import TypedNumbers

Record = Factor | Outcome | Limit | Derived | Expectation | Effort


@dataclass(frozen=True, slots=True)
class Kind:
    """What one kind of definition is called on a page."""

    singular: str
    plural: str
    title: str
    add: str
    purpose: str
    intro: tuple[str, ...] = ()
    is_single: bool = False


KINDS = {
    "factor": Kind(
        "Factor",
        "Factors",
        "A new factor",
        "Add a factor",
        "What could be changed, over which range, which way, and at what effort.",
        ("A factor is one thing that could be changed.",),
    ),
    "outcome": Kind(
        "Outcome",
        "Outcomes",
        "A new outcome",
        "Add an outcome",
        "What is judged, and what would be good.",
        ("An outcome is what a variant is judged by: measured, rated by people, or compared with another variant.",),
    ),
    "limit": Kind(
        "Limit",
        "Limits",
        "A new limit",
        "Add a limit",
        "Rules over several factors that every variant must keep.",
        (
            "A rule with <, <=, >, >= or == over factors and derived quantities, such as rings * 42 - wool * 2.1 >= 180.",
        ),
    ),
    "derived": Kind(
        "Derived quantity",
        "Derived quantities",
        "A new derived quantity",
        "Add a derived quantity",
        "Quantities computed from the settings, such as the air that is left.",
        ("Arithmetic over factors, such as rings * 42 - wool * 2.1; it may stand in limits.",),
    ),
    "expectation": Kind(
        "Expectation",
        "Expectations",
        "What you expect",
        "Add an expectation",
        "What you think a factor does. It steers the next change a little; a few clear readings overrule it.",
        ("A mild opinion: such effects count three times likelier to begin with, and readings overrule it.",),
    ),
    "effort": Kind(
        "Effort",
        "Effort",
        "What bench work costs",
        "Change",
        "Minutes and money outside the factors.",
        ("The next change is weighed by the bench time that it takes.",),
        is_single=True,
    ),
    "about": Kind(
        "About",
        "About",
        "What is tuned, and what is wrong",
        "Change",
        "",
        ("Say it in your own words; the question stands on top of every report.",),
        is_single=True,
    ),
}


_FACTOR_KINDS = {
    "continuous": "a number on a range",
    "count": "a whole number",
    "ordered": "levels with an order",
    "categorical": "levels without order",
}
_WAYS = {
    "either": "up and down, at any time",
    "up": "only up: drilled stays drilled",
    "down": "only down",
    "rebuild": "not at all: needs a new unit",
}
_OUTCOME_KINDS = {
    "measured": "by an instrument",
    "rated": "by people on a scale",
    "compared": "which of two is better",
}
_DIRECTIONS = {
    "raises": "more of it raises it",
    "lowers": "more of it lowers it",
    "nothing": "it does nothing to it",
}
_SAID = {
    "minutes": "The time of one change",
    "minutes_per_step": "The time for each step more",
    "price": "The money for one change",
    "prices": "The prices of levels",
    "new_unit_minutes": "The time for a new unit",
    "session_minutes": "The time for a session",
    "reading_minutes": "The time for a round of readings",
    "new_unit_price": "The money for a new unit",
    "size": "The size",
    "was": "What it was until now",
}
"""What a sentence calls a field whose label would not do as the beginning of one."""
_GOALS = {"raise": "more is better", "lower": "less is better", "hit": "hit a target", "within": "stay in a range"}


def _choices(words: Mapping[str, str], chosen: str, literal: Any, none: str = "") -> tuple[Choice, ...]:
    first = (Choice("", none, not chosen),) if none else ()
    return (*first, *(Choice(name, f"{name} - {words[name]}", name == chosen) for name in get_args(literal)))


def _names(records: Sequence[Factor] | Sequence[Outcome], chosen: str) -> tuple[Choice, ...]:
    """List names to choose from, and what came back of another one, so that it is not lost."""
    names = dict.fromkeys([*(item.name for item in records), *([chosen] if chosen else [])])
    return tuple(Choice(name, name, name == chosen) for name in names)


_NUMBER = "kind=continuous count"
_BARE = "It begins with every number at its low end, or at the high one where it only goes down; the rest counts as changes."


def fields_of(
    kind: str, values: Mapping[str, str], error: FettleError | None, setup: Setup, *, with_was: bool = False
) -> tuple[Field, ...]:
    """Return the fields of a form.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    values : mapping of str to str
        What stands in them.
    error : FettleError or None
        Why the last version was not stored; told at the fields that it names, by their labels.
    setup : Setup
        Its factors and outcomes can be chosen from.
    with_was : bool
        Whether a factor is new, so that variants on record need a setting of it.
    """
    at_fields = pinned(kind, error, values)

    def made(name: str, label: str, what: str = "text", hint: str = "", unit: str = "", **more: Any) -> Field:
        own = values.get("name", "")
        told = at_fields.get(name, "") if at_fields else _told(error, name, _SAID.get(name, label), own)
        return Field(name, label, what, values.get(name, ""), unit, hint, told, **more)

    if kind == "factor":
        return _factor_fields(values, made, with_was=with_was)
    if kind == "outcome":
        return _outcome_fields(values, made)
    if kind == "limit":
        return made("rule", "Rule", is_needed=True), made("note", "Why", "long")
    if kind == "derived":
        return (
            made("name", "Name", hint="Letters, digits and underscores.", is_needed=True),
            made("expression", "Expression", is_needed=True),
            made("unit", "Unit of measure"),
        )
    if kind == "expectation":
        effect = values.get("effect", "raises")
        return (
            made("factor", "Of which factor", "list", choices=_names(setup.factors, values.get("factor", ""))),
            made("outcome", "On which outcome", "list", choices=_names(setup.outcomes, values.get("outcome", ""))),
            made("effect", "What it does", "list", choices=_choices(_DIRECTIONS, effect, Direction)),
            made(
                "size",
                "By how much over its range",
                "number",
                "In the outcome's unit, without sign; may stay empty.",
                when="effect=raises lowers",
            ),
            made("note", "Why", "long"),
        )
    if kind == "effort":
        return (
            made("new_unit_minutes", "A new unit, before its settings are counted", "number", _BARE, unit="min"),
            made("session_minutes", "A session: set up and put away", "number", unit="min"),
            made("reading_minutes", "A round of readings of one variant", "number", unit="min"),
            made("new_unit_price", "Money for a new unit", "number"),
        )
    return made("title", "What is tuned", is_needed=True), made("question", "What is wrong with it", "long")


def _factor_fields(values: Mapping[str, str], made: Callable[..., Field], *, with_was: bool) -> tuple[Field, ...]:
    was = "If variants are logged already: the setting that they all had."
    late = (made("was", "Until now it was", hint=was),) if with_was else ()
    kind, way = values.get("kind", "continuous"), values.get("way", "either")
    return (
        made("name", "Name", hint="Letters, digits and underscores, such as tip_gap.", is_needed=True),
        made("kind", "Kind", "list", choices=_choices(_FACTOR_KINDS, kind, FactorKind)),
        made("low", "Low", "number", "Of a number: the range worth trying.", when=_NUMBER),
        made("high", "High", "number", when=_NUMBER),
        made("step", "Step", "number", "Smallest useful change; may stay empty.", when=_NUMBER),
        made("levels", "Levels", "long", "Of named levels: one on each line.", when="kind=ordered categorical"),
        made("unit", "Unit of measure", hint="Such as mm or %."),
        made("way", "On a unit that exists it goes", "list", choices=_choices(_WAYS, way, Way)),
        made("minutes", "One change takes", "number", unit="min"),
        made("minutes_per_step", "and for each step more", "number", unit="min", when=f"{_NUMBER} ordered"),
        made("price", "Money for one change", "number"),
        made(
            "prices",
            "Prices of levels, paid once",
            "long",
            "What has to be bought for it: one level on each line, such as cork = 12.",
            when="kind=ordered categorical",
        ),
        made("note", "How to change it, what to beware of", "long"),
        *late,
    )


def _outcome_fields(values: Mapping[str, str], made: Callable[..., Field]) -> tuple[Field, ...]:
    kind, goal = values.get("kind", "measured"), values.get("goal", "")
    return (
        made("name", "Name", hint="Letters, digits and underscores.", is_needed=True),
        made("kind", "Kind", "list", choices=_choices(_OUTCOME_KINDS, kind, OutcomeKind)),
        made("unit", "Unit of measure"),
        made(
            "scale_low", "Scale from", "number", "Of a rated outcome: the ends of the grading scale.", when="kind=rated"
        ),
        made("scale_high", "Scale to", "number", when="kind=rated"),
        made("goal", "Goal", "list", choices=_choices(_GOALS, goal, Goal, "none yet")),
        made(
            "best",
            "Best",
            "number",
            "Goals raise and lower: beyond it more is worth nothing more.",
            when="goal=raise lower",
        ),
        made("target", "Target", "number", "Goal hit.", when="goal=hit"),
        made("low", "Wanted from", "number", "Goal within.", when="goal=within"),
        made("high", "Wanted to", "number", when="goal=within"),
        made("worst", "Worst", "number", "Where it is worth nothing.", when="goal=*"),
        made(
            "matters", "Smallest change that matters", "number", "Without it nothing can be called too small to matter."
        ),
        made("weight", "Weight beside the other outcomes", "number", "1 if left empty.", when="goal=*"),
        made(
            "relative_to",
            "Relative to the reference object",
            hint="Its label; may stay empty. What is best, worst or wanted is then a difference from it.",
        ),
        *recipe_fields(values, made),
        made("note", "How to take a reading", "long"),
    )


def _told(error: FettleError | None, name: str, said: str, own: str) -> str:
    """Return what an error says of a field, which it calls as the page does; empty if it is about another.

    Parameters
    ----------
    error : FettleError or None
        Why the form was not stored.
    name : str
        Of the field.
    said : str
        What the page calls it.
    own : str
        What the definition is to be called; a setting that it cannot have is told by that name.
    """
    if isinstance(error, NotRead):
        return _as_said(error.errors.get(name, ""), name, said)
    sentence = str(error or "")
    if name == "was" and own and sentence.startswith(f"{own} "):
        return said + sentence.removeprefix(own)
    return _as_said(sentence, _word(name), said) if _is_about(sentence, name) else ""


def _as_said(sentence: str, word: str, said: str) -> str:
    """Put what the page calls a field in the place of its name."""
    if sentence.startswith(f"{word} "):
        return said + sentence.removeprefix(word)
    return sentence.replace(f": {word} ", f": {said[:1].lower()}{said[1:]} ", 1)


def _word(name: str) -> str:
    return {"scale_low": "scale", "scale_high": ""}.get(name, name)


def _is_about(error: str, name: str) -> bool:
    """Tell whether a sentence names this field."""
    if name == "name" and (" name '" in error[:25] or error.endswith("or take another name.")):
        return True
    words = _word(name)
    return f": {words} " in error or f": {words}:" in error or error.startswith(f"{words} ")


def as_typed(kind: str, record: Any) -> dict[str, str]:
    """Return a definition as it would be typed; empty for a new one."""
    if record is None:
        return {}
    if isinstance(record, Setup):
        return {"title": record.title, "question": record.question}
    names = {
        "factor": [item.name for item in fields(Factor)],
        "outcome": [item.name for item in fields(Outcome) if item.name not in ("scale", "recipe")],
        "limit": ["rule", "note"],
        "derived": ["name", "expression", "unit"],
        "expectation": [item.name for item in fields(Expectation)],
        "effort": [item.name for item in fields(Effort)],
    }[kind]
    typed = {name: _text(getattr(record, name)) for name in names}
    if isinstance(record, Outcome):
        low, high = record.scale if record.scale is not None else (None, None)
        typed |= {"scale_low": _text(low), "scale_high": _text(high), **typed_recipe(record)}
        unasked = {"weight": "1"} if record.goal is None else {}
    else:
        unasked = {"minutes_per_step": "0"}
    # a field that is not asked for stays in sight while it holds something, so it does not hold what counts anyway
    return {name: "" if unasked.get(name) == value else value for name, value in typed.items()}


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, Mapping):
        return "\n".join(f"{name} = {_text(item)}" for name, item in value.items())
    if isinstance(value, tuple | list):
        joiner = "\n" if all(isinstance(item, str) for item in value) else " "
        return joiner.join(_text(item) for item in value)
    return exact(value) if isinstance(value, int | float) else str(value)


def build(kind: str, typed: Mapping[str, str], setup: Setup) -> Record:
    """Make a definition from what was typed.

    Raises
    ------
    NotRead
        If a number cannot be read, all of them at once.
    UsageError, DataError
        If it contradicts itself; the sentence names the field.
    """
    if kind == "factor":
        return _factor(typed)
    if kind == "outcome":
        return _outcome(typed)
    if kind == "limit":
        return Limit(typed.get("rule", ""), typed.get("note", ""))
    if kind == "derived":
        return Derived(typed.get("name", ""), typed.get("expression", ""), typed.get("unit", ""))
    if kind == "expectation":
        return _expectation(typed, setup)
    numbers = TypedNumbers(typed)
    spent = {item.name: numbers.spent(item.name) for item in fields(Effort)}
    numbers.check()
    return Effort(**spent)


def _levels(text: str) -> list[str]:
    """Return one level for each line, or of a single line, which would be one level only, what its commas part."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines if len(lines) > 1 else [part.strip() for part in text.split(",") if part.strip()]


def _factor(typed: Mapping[str, str]) -> Factor:
    kind: Any = typed.get("kind", "continuous")
    numbers = TypedNumbers(typed, typed.get("unit", ""))
    span = ("low", "high", "step") if kind in ("continuous", "count") else ()
    levels = [] if span else _levels(typed.get("levels", ""))
    read: dict[str, Any] = {name: numbers.number(name) for name in span}
    read |= {name: numbers.spent(name) for name in ("minutes", "minutes_per_step", "price")}
    prices = {} if span else numbers.prices("prices")
    numbers.check()
    return Factor(
        typed.get("name", ""),
        kind,
        levels=levels,
        unit=typed.get("unit", ""),
        way=typed.get("way", "either"),  # type: ignore[arg-type]
        prices=prices,
        note=typed.get("note", ""),
        **read,
    )


def _outcome(typed: Mapping[str, str]) -> Outcome:
    kind: Any = typed.get("kind", "measured")
    goal: Any = typed.get("goal") or None
    numbers = TypedNumbers(typed, typed.get("unit", ""))
    ends = (numbers.number("scale_low"), numbers.number("scale_high"))
    read: dict[str, Any] = {
        name: numbers.number(name) for name in ("best", "target", "low", "high", "matters", "weight")
    }
    read["worst"] = numbers.pair("worst")
    numbers.check()
    outcome = Outcome(
        typed.get("name", ""),
        kind,
        unit=typed.get("unit", ""),
        goal=goal,
        scale=ends if kind == "rated" and None not in ends else None,  # type: ignore[arg-type]
        relative_to=typed.get("relative_to") or None,
        recipe=read_recipe(typed),
        note=typed.get("note", ""),
        **{**read, "weight": 1.0 if read["weight"] is None else read["weight"]},
    )
    check_outcome(outcome)
    return outcome


def _expectation(typed: Mapping[str, str], setup: Setup) -> Expectation:
    effect: Any = typed.get("effect", "raises")
    outcome = typed.get("outcome", "")
    numbers = TypedNumbers(typed, next((item.unit for item in setup.outcomes if item.name == outcome), ""))
    size = numbers.number("size")
    numbers.check()
    return Expectation(typed.get("factor", ""), outcome, effect, size, typed.get("note", ""))
