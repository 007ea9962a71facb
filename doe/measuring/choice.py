"""Which outcomes are measured - those named, or all that have a recipe - and each computed from takes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from doe.measuring.check import check_outcome
from doe.model.errors import DataError, UsageError, did_you_mean, there_are
from doe.model.outcome import Outcome
from doe.signals.recipes import Measured, compute
from doe.signals.sources import Context


def chosen_outcomes(outcomes: Sequence[Outcome], names: Sequence[str]) -> list[Outcome]:
    """Return the outcomes to measure, each with a recipe that can be used.

    Raises
    ------
    DataError
        If a name is no outcome, or an outcome has no recipe.
    UsageError
        If a recipe cannot be used.
    """
    known = {outcome.name: outcome for outcome in outcomes}
    for name in names:
        if name not in known:
            raise DataError(f"'{name}' is no outcome of this project; {there_are(known)}.{did_you_mean(name, known)}")
        if not known[name].recipe and known[name].kind != "measured":
            raise DataError(f"{name} is {known[name].kind}; only measured outcomes are computed from files.")
        if not known[name].recipe:
            raise DataError(
                f"{name} has no recipe.", command=f"set from in it: 'fettle outcome change {name} --from RECIPE'"
            )
    chosen = [known[name] for name in dict.fromkeys(names)] or [outcome for outcome in outcomes if outcome.recipe]
    if not chosen:
        raise DataError(
            "No outcome has a recipe.",
            command="set from in one of them: 'fettle outcome change NAME --from RECIPE', and 'fettle measure --recipes' lists "
            "the recipes",
        )
    for outcome in chosen:
        check_outcome(outcome)
    return chosen


def compute_outcome(outcome: Outcome, paths: Sequence[Path], context: Context) -> Measured:
    """Compute one outcome from takes.

    Raises
    ------
    DataError, UsageError
        As the recipe does, with the outcome's name in front.
    """
    try:
        return compute(outcome.recipe, paths, context)
    except (DataError, UsageError) as err:
        err.args = (f"{outcome.name}: {err}",)  # in place: what to type against it stays with it
        raise
