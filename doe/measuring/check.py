"""Whether the recipes of outcomes can be used, told before the first file is measured."""

from __future__ import annotations

from doe.model.errors import UsageError
from doe.model.outcome import Outcome
from doe.model.setup import Setup
from doe.signals.recipes import Recipe, check_recipe


def check_outcome(outcome: Outcome) -> Recipe | None:
    """Return the recipe of an outcome, None where it has none.

    Raises
    ------
    UsageError
        If a key is misspelt or holds what it may not, or the outcome is not measured.
    """
    if not outcome.recipe:
        return None
    if outcome.kind != "measured":
        raise UsageError(f"Outcome {outcome.name} is {outcome.kind}; only measured outcomes are computed from files.")
    try:
        return check_recipe(outcome.recipe)[0]
    except UsageError as err:
        raise UsageError(f"Outcome {outcome.name}: {err}") from None


def check_setup(setup: Setup) -> None:
    """Check the recipes of all outcomes.

    Raises
    ------
    UsageError
        As for `check_outcome`, for the first one that cannot be used.
    """
    for outcome in setup.outcomes:
        check_outcome(outcome)


def unit_doubt(outcome: Outcome) -> str:
    """Say that the recipe of an outcome gives another unit than the outcome has; empty where they agree or there is none."""
    try:
        recipe, settings = check_recipe(outcome.recipe)
    except UsageError:  # there is none, or one of an older version; that is told where it is to be used
        return ""
    return unit_warning(outcome, settings.get("time_unit", recipe.unit))


def unit_warning(outcome: Outcome, unit: str) -> str:
    """Say that a recipe gives another unit than the outcome has; empty where they agree.

    A level in dB may be called dB(A) or dB SPL, but is none in dB/octave.
    """
    is_level = unit == "dB" and outcome.unit.casefold().startswith("db") and "/" not in outcome.unit
    if not unit or outcome.unit == unit or is_level:
        return ""
    has = f"is in {outcome.unit}" if outcome.unit else "has no unit"
    return f"{outcome.name} {has}, but its recipe gives {unit}; put one of them right."
