"""Factors and readings as fields of a form, and as lines of a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from doe.charts import text
from doe.model.choices import Value
from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.model.wording import duration, exact, number, setting, unit_behind
from doe.web import urls
from doe.web.contexts import Choice, Field, ReadingRow


def factor_field(
    factor: Factor, value: str, *, before: Value | None = None, is_new: bool = False, error: str = ""
) -> Field:
    """Return the field of one factor.

    Parameters
    ----------
    factor : Factor
        Which one.
    value : str
        What stands in it.
    before : setting, optional
        What the unit has now.
    is_new : bool
        Whether a new unit is made, on which every setting can be reached.
    error : str
        Why it was not taken.
    """
    is_stuck = not is_new and before is not None
    error = in_labels(error, {factor.name: text.name(factor.name)})
    hint = ". ".join(part.rstrip(".") for part in (_reach(factor, before if is_stuck else None), factor.note) if part)
    common: dict[str, Any] = {
        "name": f"f.{factor.name}",
        "label": text.name(factor.name),
        "unit": factor.unit,
        "hint": hint,
    }
    was = text.plain(before) if before is not None else ""
    if factor.is_numeric:
        low, high = factor.span
        if is_stuck and before is not None and not isinstance(before, str):
            low = before if factor.way in ("up", "rebuild") else low
            high = before if factor.way in ("down", "rebuild") else high
        step = factor.step if factor.step is not None else (factor.span[1] - factor.span[0]) / 20
        return Field(
            **common,
            kind="number",
            value=value,
            error=error,
            was=was,
            step=exact(step),
            low=exact(low),
            high=exact(high),
        )
    choices = tuple(
        Choice(level, level, level == value, is_stuck and before is not None and not factor.can_go(before, level))
        for level in factor.levels
    )
    return Field(**common, kind="choice", value=value, error=error, was=was, choices=choices)


def _reach(factor: Factor, before: Value | None) -> str:
    """Say how far a setting may go."""
    allowed = factor.allowed().removeprefix("must be ") if factor.is_numeric else ""
    if before is None:
        return allowed
    if factor.way == "rebuild":
        return "stays as it is on this unit: another setting needs a new unit"
    if factor.way in ("up", "down"):
        return f"{allowed}; on this unit it only goes {factor.way}"
    return allowed


def read_fields(
    factors: Sequence[Factor], typed: Mapping[str, str], before: Mapping[str, Value] | None = None
) -> tuple[dict[str, Value], dict[str, str]]:
    """Read what was typed for each factor; what cannot be read is told by factor.

    A setting that stands as the form was drawn with it is the one `before`: 122.99999999999999 is shown as 123, and a form
    that comes back with 123 changes nothing.
    """
    settings: dict[str, Value] = {}
    errors: dict[str, str] = {}
    for factor in factors:
        try:
            if typed.get(factor.name, ""):
                read, old = factor.read(typed[factor.name]), (before or {}).get(factor.name)
                settings[factor.name] = old if old is not None and text.plain(old) == text.plain(read) else read
            else:
                errors[factor.name] = f"{factor.name} has no value; it {factor.allowed()}."
        except DataError as err:
            errors[factor.name] = str(err)
    return settings, errors


def blame(message: str, names: Sequence[str]) -> str:
    """Return the field that a sentence is about: the name it begins with, if that is a field."""
    return next((name for name in names if message.startswith(f"{name} ")), "")


def blamed(message: str, names: Sequence[str]) -> dict[str, str]:
    """Return a sentence by the field that it is about; one that tells of several fields in turn is taken apart."""
    parts = [f"{part.removesuffix('.')}." for part in message.split("; ")]
    fields = [blame(part, names) for part in parts]
    if all(fields):
        return dict(zip(fields, parts, strict=True))
    return {fields[0]: message} if fields[0] else {}


def in_labels(message: str, labels: Mapping[str, str]) -> str:
    """Begin a sentence with a field's label in the place of its name, which stands nowhere on the page."""
    name = blame(message, list(labels))
    return f"{labels[name]}{message[len(name) :]}" if name else message


def outcome_field(outcome: Outcome, value: str, error: str = "") -> Field:
    """Return the field of one reading; several values may be typed with blanks between."""
    label = text.name(outcome.name)
    error = in_labels(error, {outcome.name: label})
    if outcome.kind == "compared":
        choices = tuple(Choice(word, word, word == value) for word in ("first", "second", "tie"))
        return Field(f"o.{outcome.name}", label, "choice", value, hint=outcome.note, error=error, choices=choices)
    if outcome.scale is not None:
        grades = whole_grades(outcome)
        if grades:
            return Field(
                f"o.{outcome.name}",
                label,
                "choice",
                value,
                hint=outcome.note,
                error=error,
                choices=tuple(Choice(grade, grade, grade == value) for grade in grades),
            )
    hint = " ".join(part for part in (outcome.note, "Several takes: with a blank between.") if part)
    return Field(f"o.{outcome.name}", label, "number", value, unit=outcome.unit, hint=hint, error=error)


_MOST_DIGITS = 9


def whole_grades(outcome: Outcome) -> tuple[str, ...]:
    """Return the whole grades of a short scale; empty for a long or broken one, which is typed."""
    if outcome.scale is None:
        return ()
    low, high = outcome.scale
    if low % 1 or high % 1 or high - low > 10:
        return ()
    return tuple(exact(low + place) for place in range(int(high - low) + 1))


def change_steps(setup: Setup, before: Mapping[str, Value], after: Mapping[str, Value]) -> tuple[str, ...]:
    """List the bench steps from one state of a unit to another; from nothing, all settings."""
    steps = []
    for factor in setup.factors:
        new, old = after.get(factor.name), before.get(factor.name)
        if new is None or new == old:
            continue
        name, told = text.name(factor.name), setting(new, factor.unit)
        if old is None:
            steps.append(f"Set {name} to {told}.")
            continue
        minutes = factor.change_minutes(old, new)
        takes = f", {duration(minutes)}" if minutes else ""
        note = f" {factor.note}" if factor.note else ""
        steps.append(f"Change {name} from {setting(old, factor.unit)} to {told}{takes}.{note}")
    return tuple(steps)


def reading_rows(readings: Sequence[Mapping[str, Any]], setup: Setup) -> tuple[ReadingRow, ...]:
    """Put readings into words."""
    outcomes = {outcome.name: outcome for outcome in setup.outcomes}
    return tuple(
        ReadingRow(
            number=item["id"],
            variant=item["variant"],
            variant_href=urls.variant(item["variant"]),
            outcome=text.name(item["outcome"]),
            value=value_text(item, outcomes.get(item["outcome"])),
            about=_circumstances(item),
            note=item["note"] or "",
            correct=urls.reading(item["id"], "correct"),
        )
        for item in readings
    )


def value_text(item: Mapping[str, Any], outcome: Outcome | None) -> str:
    """Write the value of a reading."""
    if item["versus"] is not None:
        if item["value"] == 0.5:
            return f"tie, {item['variant']} against {item['versus']}"
        better = item["variant"] if item["value"] == 1 else item["versus"]
        return f"variant {better} better, {item['variant']} against {item['versus']}"
    unit = outcome.unit if outcome is not None else ""
    return f"{_readable(item['value'])}{unit_behind(unit)}"


def _readable(value: float) -> str:
    """Write a value as it was typed; of a computed one, more digits than anybody reads are left to its correction."""
    told = exact(value)
    return told if sum(sign.isdigit() for sign in told) <= _MOST_DIGITS else number(value, 6)


def _circumstances(item: Mapping[str, Any]) -> str:
    parts = [item["session"] or "", item["rater"] or ""]
    parts += [f"place {item['order']}"] if item["order"] else []
    parts += [time_text(item["when"])] if item["when"] else []
    return ", ".join(part for part in parts if part)


def time_text(when: datetime | None) -> str:
    """Write a time as the bench's clock shows it."""
    return when.strftime("%Y-%m-%d %H:%M") if when is not None else ""
