"""What a project's readings say of the scatter that a plan has to see through."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from doe.model.errors import FettleError, UsageError, did_you_mean, there_are
from doe.model.outcome import Outcome
from doe.model.wording import number, spaced, unit_behind

if TYPE_CHECKING:
    from doe.fit.effects import Effects

BETWEEN_RUNS = ("unit", "build", "reading", "build and reading together")
"""Sources that make two fresh builds of the same settings differ, read once each in one session."""


@dataclass(frozen=True, slots=True)
class Judged:
    """The outcome that a plan is judged by.

    Attributes
    ----------
    outcome : str
        Its name; empty where none is known well enough.
    scatter : float or None
        Standard deviation between runs of the same settings, read once each, in outcome units.
    matters : float or None
        Smallest difference that matters, in outcome units.
    note : str
        Where the numbers come from, in one sentence; empty where there is nothing to say.
    """

    outcome: str = ""
    scatter: float | None = None
    matters: float | None = None
    note: str = ""


def scatter_of(effects: Effects) -> float | None:
    """Return the standard deviation between runs that an analysis found; None where it could not tell."""
    rows = effects.variance
    total = math.sqrt(sum(float(sd) ** 2 for sd in rows[rows["source"].isin(BETWEEN_RUNS)]["sd"]))
    return total if effects.basis is not None and math.isfinite(total) and total > 0 else None


def judged_by(
    outcomes: Sequence[Outcome],
    analyse: Callable[[str], Effects],
    outcome: str | None,
    scatter: float | None,
    matters: float | None,
) -> Judged:
    """Choose the outcome to judge plans by: the one named, or the one whose scatter hides most of what matters.

    Parameters
    ----------
    outcomes : sequence of Outcome
        Of the project.
    analyse : callable
        Analyses the outcome of a name.
    outcome : str or None
        The one to take.
    scatter, matters : float or None
        Numbers that are given rather than known.

    Raises
    ------
    UsageError
        If there is no outcome of that name, or it compares two variants.
    """
    if scatter is not None and outcome is None:
        return Judged("", scatter, matters)
    if outcome is not None:
        chosen = _named(outcomes, outcome)
        found = [(chosen, scatter if scatter is not None else _known(analyse, chosen))]
    else:
        found = [(item, _known(analyse, item)) for item in outcomes if item.kind != "compared"]
    known = [(item, sd) for item, sd in found if sd is not None]
    if not known:
        about = found[0][0] if outcome is not None else None
        return Judged(about.name if about is not None else "", None, matters, _unknown(about))
    hardest, sd = max(known, key=lambda pair: pair[1] / pair[0].matters if pair[0].matters else 0.0)
    compared = [item for item, _ in known if item.matters is not None]
    return Judged(hardest.name, sd, matters or hardest.matters or None, _note(hardest, sd, scatter, len(compared)))


def _known(analyse: Callable[[str], Effects], outcome: Outcome) -> float | None:
    try:
        return scatter_of(analyse(outcome.name))
    except FettleError:
        return None


def _named(outcomes: Sequence[Outcome], name: str) -> Outcome:
    known = {outcome.name: outcome for outcome in outcomes}
    if name not in known:
        raise UsageError(f"There is no outcome '{name}'; {there_are(known)}.{did_you_mean(name, known)}")
    if known[name].kind == "compared":
        raise UsageError(f"{name} compares two variants, so it has no scatter in a unit; name another outcome.")
    return known[name]


def _unknown(outcome: Outcome | None) -> str:
    what = f"of {spaced(outcome.name)} " if outcome is not None else ""
    return f"No scatter {what}is known from the log yet, so intervals are in multiples of it."


def _note(outcome: Outcome, sd: float, given: float | None, count: int) -> str:
    unit = unit_behind(outcome.unit)
    if given is not None:
        return f"Judged by {spaced(outcome.name)}, with a scatter of {number(sd)}{unit} between runs, as given."
    which = ", the outcome that is hardest to see" if count > 1 else ""
    return f"Judged by {spaced(outcome.name)}{which}: so far its scatter between builds is {number(sd)}{unit}, read once each."
