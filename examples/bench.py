"""A simulated bench: turns a truth and a history, both written down, into the log that a maker would have kept.

The two demo scripts beside this file use it. Nothing here is measured; every number comes from the truth at the top of
such a script, plus seeded scatter of four honest kinds: build, session, listener and reading.
"""

from __future__ import annotations

import csv
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Settings = dict[str, Any]


@dataclass(frozen=True)
class Truth:
    """What really decides one outcome.

    Attributes
    ----------
    name : str
        Outcome.
    mean : callable
        Settings -> the value that an endless row of builds and readings would average to.
    reference : float
        The same for the bought reference object.
    build_sd, session_sd, reading_sd : float
        Scatter between builds of the same settings, between sessions, and of one reading, in the outcome's unit.
    raters : mapping of str to float
        Listener -> how far above the others that listener grades; empty for an instrument.
    rounds : int
        Readings per variant and session, for each rater.
    grades : pair of int or None
        Ends of the scale of whole grades; None for an instrument.
    digits : int
        Decimal places that the instrument shows.
    """

    name: str
    mean: Callable[[Settings], float]
    reference: float
    build_sd: float
    session_sd: float
    reading_sd: float
    raters: Mapping[str, float] = field(default_factory=dict)
    rounds: int = 1
    grades: tuple[int, int] | None = None
    digits: int = 1

    def shown(self, value: float) -> float:
        """Return what the instrument or the grading sheet would show."""
        if self.grades is None:
            return round(value, self.digits) if self.digits else round(value)
        low, high = self.grades
        return min(max(round(value), low), high)


@dataclass(frozen=True)
class Step:
    """One line of the history: a variant made, or (`changes` None) one heard again.

    Attributes
    ----------
    session : str
        Session in which it was read right after.
    unit : str or None
        The object worked on; None for the reference object.
    changes : dict or None
        What was changed from the state of the unit; all settings where the unit is new.
    note : str
        What the maker wrote beside it.
    """

    session: str
    unit: str | None
    changes: Settings | None = None
    note: str = ""


@dataclass(frozen=True)
class Carried:
    """What a unit is now: its variant, the one before, and the settings."""

    variant: str
    parent: str
    settings: Settings


def keep_log(
    steps: Sequence[Step],
    truths: Sequence[Truth],
    dates: Mapping[str, str],
    reference: str,
    seed: int,
) -> list[dict[str, Any]]:
    """Play the history once.

    Parameters
    ----------
    steps : sequence of Step
        In the order in which they happened.
    truths : sequence of Truth
        One per outcome.
    dates : mapping of str to str
        Session -> when it took place.
    reference : str
        Label of the reference object.
    seed : int
        Of the scatter.

    Returns
    -------
    list of dict
        One row per reading round, as in a spreadsheet.
    """
    rng = random.Random(seed)
    shifts = {(truth.name, session): rng.gauss(0, truth.session_sd) for session in dates for truth in truths}
    state: dict[str | None, Carried] = {None: Carried(reference, "", {})}
    builds: dict[str, dict[str, float]] = {reference: dict.fromkeys([truth.name for truth in truths], 0.0)}
    rows: list[dict[str, Any]] = []
    places: dict[str, int] = {}
    for step in steps:
        facts = _make(step, state, builds, truths, rng)
        places[step.session] = places.get(step.session, 0) + 1
        facts |= {"session": step.session, "order": places[step.session], "when": dates[step.session]}
        carried = state[step.unit]
        for truth in truths:
            center = truth.mean(carried.settings) if carried.settings else truth.reference
            center += builds[carried.variant][truth.name] + shifts[truth.name, step.session]
            rows += _read(truth, center, facts, rng)
    return _merged(rows, [truth.name for truth in truths])


def _make(
    step: Step,
    state: dict[str | None, Carried],
    builds: dict[str, dict[str, float]],
    truths: Sequence[Truth],
    rng: random.Random,
) -> dict[str, Any]:
    """Change the unit if the step says so, and return the cells that describe what is being read."""
    if step.changes is not None:
        before = state.get(step.unit, Carried("", "", {}))
        variant = str(sum(1 for name in builds if name.isdigit()) + 1)
        state[step.unit] = Carried(variant, before.variant, {**before.settings, **step.changes})
        builds[variant] = {truth.name: rng.gauss(0, truth.build_sd) for truth in truths}
    now = state[step.unit]
    return {
        "variant": now.variant,
        "unit": step.unit or "",
        "parent": now.parent,
        **now.settings,
        "note": step.note,
    }


def _read(truth: Truth, center: float, facts: Mapping[str, Any], rng: random.Random) -> list[dict[str, Any]]:
    rows = []
    for rater, shift in (truth.raters or {"": 0.0}).items():
        for turn in range(truth.rounds):
            value = truth.shown(center + shift + rng.gauss(0, truth.reading_sd))
            rows.append({**facts, "rater": rater, "round": turn, truth.name: value})
    return rows


def _merged(rows: Sequence[dict[str, Any]], outcomes: Sequence[str]) -> list[dict[str, Any]]:
    """Put outcomes read in the same round on one row, as one would write them down."""
    merged: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in rows:
        key = (row["session"], row["order"], row["rater"], row["round"])
        if key in merged:
            merged[key] |= {name: row[name] for name in outcomes if name in row}
        else:
            merged[key] = {name: value for name, value in row.items() if name != "round"}
    return list(merged.values())


def write(folder: Path, setup: str, columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
    """Write `setup.toml` and `log.csv` into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "setup.toml").write_text(setup, encoding="utf-8", newline="\n")
    with (folder / "log.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        table.writeheader()
        table.writerows(rows)
