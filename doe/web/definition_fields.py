"""Definitions as forms: what may be typed, and the record that it makes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, get_args

from doe.model.choices import Direction, FactorKind, Goal, OutcomeKind, Way
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError
from doe.model.expectation import Expectation
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.numbers import read_minutes, read_number
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.model.wording import exact
from doe.web.contexts import Choice, Field

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
    "ordered": "named levels with an order",
    "categorical": "named levels without one",
}
_WAYS = {
    "either": "up and down, as often as one likes",
    "up": "only up: what is drilled stays drilled",
    "down": "only down",
    "rebuild": "not at all: another setting needs a new unit",
}
_OUTCOME_KINDS = {
    "measured": "measured by an instrument",
    "rated": "rated by people on a scale",
    "compared": "compared: which of two is better",
}
_DIRECTIONS = {
    "raises": "more of it raises the outcome",
    "lowers": "more of it lowers it",
    "nothing": "it does nothing to it",
}
_GOALS = {"raise": "more is better", "lower": "less is better", "hit": "hit a target", "within": "stay in a range"}


def _choices(words: Mapping[str, str], chosen: str, literal: Any, none: str = "") -> tuple[Choice, ...]:
    first = (Choice("", none, not chosen),) if none else ()
    return (*first, *(Choice(name, f"{name} - {words[name]}", name == chosen) for name in get_args(literal)))


def _names(records: Sequence[Factor] | Sequence[Outcome], chosen: str) -> tuple[Choice, ...]:
    """List names to choose from, and what came back of another one, so that it is not lost."""
    names = dict.fromkeys([*(item.name for item in records), *([chosen] if chosen else [])])
    return tuple(Choice(name, name, name == chosen) for name in names)


def fields_of(
    kind: str, values: Mapping[str, str], error: str, setup: Setup, *, with_was: bool = False
) -> tuple[Field, ...]:
    """Return the fields of a form.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    values : mapping of str to str
        What stands in them.
    error : str
        Why the last version was not stored; told at the field that it names.
    setup : Setup
        Its factors and outcomes can be chosen from.
    with_was : bool
        Whether a factor is new, so that variants on record need a setting of it.
    """

    def made(name: str, label: str, what: str = "text", hint: str = "", unit: str = "", **more: Any) -> Field:
        value = values.get(name, "")
        return Field(name, label, what, value, unit, hint, error if _is_about(error, name) else "", **more)

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
                "size", "By how much over its range", "number", "In the outcome's unit, without sign; may stay empty."
            ),
            made("note", "Why", "long"),
        )
    if kind == "effort":
        return (
            made("new_unit_minutes", "A new unit, before its settings are counted", "number", unit="min"),
            made("session_minutes", "A session: set up and put away", "number", unit="min"),
            made("reading_minutes", "A round of readings of one variant", "number", unit="min"),
            made("new_unit_price", "Money for a new unit", "number"),
        )
    return made("title", "What is tuned", is_needed=True), made("question", "What is wrong with it", "long")


def _factor_fields(values: Mapping[str, str], made: Any, *, with_was: bool) -> tuple[Field, ...]:
    was = "If variants are logged already: the setting that they all had."
    late = (made("was", "Until now it was", hint=was),) if with_was else ()
    kind, way = values.get("kind", "continuous"), values.get("way", "either")
    return (
        made("name", "Name", hint="Letters, digits and underscores, such as tip_gap.", is_needed=True),
        made("kind", "Kind", "list", choices=_choices(_FACTOR_KINDS, kind, FactorKind)),
        made("low", "Low", "number", "Of a number: the range worth trying."),
        made("high", "High", "number"),
        made("step", "Step", "number", "Smallest useful change; may stay empty."),
        made("levels", "Levels", "long", "Of named levels: one on each line."),
        made("unit", "Unit of measure", hint="Such as mm or %."),
        made("way", "On a unit that exists it goes", "list", choices=_choices(_WAYS, way, Way)),
        made("minutes", "One change takes", "number", unit="min"),
        made("minutes_per_step", "and for each step more", "number", unit="min"),
        made("price", "Money for one change", "number"),
        made("note", "How to change it, what to beware of", "long"),
        *late,
    )


def _outcome_fields(values: Mapping[str, str], made: Any) -> tuple[Field, ...]:
    kind, goal = values.get("kind", "measured"), values.get("goal", "")
    return (
        made("name", "Name", hint="Letters, digits and underscores.", is_needed=True),
        made("kind", "Kind", "list", choices=_choices(_OUTCOME_KINDS, kind, OutcomeKind)),
        made("unit", "Unit of measure"),
        made("scale_low", "Scale from", "number", "Of a rated outcome: the ends of the grading scale."),
        made("scale_high", "Scale to", "number"),
        made("goal", "Goal", "list", choices=_choices(_GOALS, goal, Goal, "none yet")),
        made("best", "Best", "number", "Goals raise and lower: beyond it more is worth nothing more."),
        made("target", "Target", "number", "Goal hit."),
        made("low", "Wanted from", "number", "Goal within."),
        made("high", "Wanted to", "number"),
        made("worst", "Worst", "number", "Where it is worth nothing."),
        made(
            "matters", "Smallest change that matters", "number", "Without it nothing can be called too small to matter."
        ),
        made("weight", "Weight beside the other outcomes", "number", "1 if left empty."),
        made("relative_to", "Relative to the reference object", hint="Its label; may stay empty."),
        made("note", "How to take a reading", "long"),
    )


def _is_about(error: str, name: str) -> bool:
    """Tell whether a sentence names this field."""
    if error.startswith("'"):  # the parser of expressions begins with what it could not read
        return name in ("rule", "expression")
    words = {"scale_low": "scale", "scale_high": ""}.get(name, name)
    if name == "name" and " name '" in error[:25]:
        return True
    return bool(error and words) and (f": {words} " in error or f": {words}:" in error or error.startswith(f"{words} "))


def as_typed(kind: str, record: Any) -> dict[str, str]:
    """Return a definition as it would be typed; empty for a new one."""
    if record is None:
        return {}
    if isinstance(record, Setup):
        return {"title": record.title, "question": record.question}
    names = {
        "factor": [item.name for item in fields(Factor) if item.name != "prices"],
        "outcome": [item.name for item in fields(Outcome) if item.name not in ("scale", "recipe")],
        "limit": ["rule", "note"],
        "derived": ["name", "expression", "unit"],
        "expectation": [item.name for item in fields(Expectation)],
        "effort": [item.name for item in fields(Effort)],
    }[kind]
    typed = {name: _text(getattr(record, name)) for name in names}
    if isinstance(record, Outcome):
        low, high = record.scale if record.scale is not None else (None, None)
        typed |= {"scale_low": _text(low), "scale_high": _text(high)}
    return typed


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple | list):
        joiner = "\n" if all(isinstance(item, str) for item in value) else " "
        return joiner.join(_text(item) for item in value)
    return exact(value) if isinstance(value, int | float) else str(value)


def build(kind: str, typed: Mapping[str, str], old: Any) -> Record:
    """Make a definition from what was typed; what the form does not show stays as it was.

    Raises
    ------
    UsageError, DataError
        If it contradicts itself; the sentence names the field.
    """
    if kind == "factor":
        return _factor(typed, old)
    if kind == "outcome":
        return _outcome(typed, old)
    if kind == "limit":
        return Limit(typed.get("rule", ""), typed.get("note", ""))
    if kind == "derived":
        return Derived(typed.get("name", ""), typed.get("expression", ""), typed.get("unit", ""))
    if kind == "expectation":
        effect: Any = typed.get("effect", "raises")
        names = typed.get("factor", ""), typed.get("outcome", "")
        return Expectation(*names, effect, _number(typed, "size"), typed.get("note", ""))
    return Effort(**{item.name: _spent(typed, item.name) for item in fields(Effort)})


def _factor(typed: Mapping[str, str], old: Factor | None) -> Factor:
    levels = [line.strip() for line in typed.get("levels", "").replace(",", "\n").split("\n") if line.strip()]
    kind: Any = typed.get("kind", "continuous")
    is_numeric = kind in ("continuous", "count")
    return Factor(
        typed.get("name", ""),
        kind,
        low=_number(typed, "low") if is_numeric else None,
        high=_number(typed, "high") if is_numeric else None,
        step=_number(typed, "step") if is_numeric else None,
        levels=() if is_numeric else levels,
        unit=typed.get("unit", ""),
        way=typed.get("way", "either"),  # type: ignore[arg-type]
        minutes=_spent(typed, "minutes"),
        minutes_per_step=_spent(typed, "minutes_per_step"),
        price=_spent(typed, "price"),
        prices={level: price for level, price in (old.prices if old else {}).items() if level in levels},
        note=typed.get("note", ""),
    )


def _outcome(typed: Mapping[str, str], old: Outcome | None) -> Outcome:
    kind: Any = typed.get("kind", "measured")
    goal: Any = typed.get("goal") or None
    ends = (_number(typed, "scale_low"), _number(typed, "scale_high"))
    worst = [_read(part, "worst") for part in typed.get("worst", "").split()]
    if len(worst) > 2:
        raise UsageError(f"worst is '{typed['worst'][:60]}'; it must be one number, or two with a blank between.")
    weight = _number(typed, "weight")
    return Outcome(
        typed.get("name", ""),
        kind,
        unit=typed.get("unit", ""),
        goal=goal,
        best=_number(typed, "best"),
        worst=worst[0] if len(worst) == 1 else (worst or None),
        target=_number(typed, "target"),
        low=_number(typed, "low"),
        high=_number(typed, "high"),
        scale=ends if kind == "rated" and None not in ends else None,  # type: ignore[arg-type]
        matters=_number(typed, "matters"),
        weight=1.0 if weight is None else weight,
        relative_to=typed.get("relative_to") or None,
        recipe=old.recipe if old is not None else {},
        note=typed.get("note", ""),
    )


def _spent(typed: Mapping[str, str], name: str) -> float:
    """Read minutes or money; nothing where the field is empty."""
    if "minutes" in name and typed.get(name):
        return read_minutes(typed[name], name)
    return _number(typed, name) or 0.0


def _number(typed: Mapping[str, str], name: str) -> float | None:
    return _read(typed[name], name) if typed.get(name) else None


def _read(text: str, name: str) -> float:
    try:
        return read_number(text, name)
    except DataError:
        raise DataError(f"{name} is '{text[:60]}'; it must be a number.") from None
