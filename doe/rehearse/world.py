"""A bench being worked on: units that change, readings that scatter, and a clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from doe.advise.effort import change_cost, new_unit_cost, reading_minutes
from doe.advise.worth import worth
from doe.model.choices import Settings
from doe.model.errors import DataError
from doe.model.records import Unit, check_ways
from doe.rehearse.benches import Bench


@dataclass(frozen=True, slots=True)
class Move:
    """One thing to do at the bench.

    Attributes
    ----------
    unit : str or None
        Unit to work on; None for a new one.
    settings : dict
        What the unit is to be; as it is now for a mere reading.
    rounds : int
        Rounds of readings afterwards.
    """

    unit: str | None
    settings: Settings
    rounds: int = 1


@dataclass
class World:
    """State of one simulated job; `do` is the only thing that changes it.

    Attributes
    ----------
    bench : Bench
    units : list of Unit
    variants : dict
        Variant name -> settings.
    rows : list of dict
        Readings, as columns of the readings frame.
    minutes : float
        Bench minutes spent.
    """

    bench: Bench
    units: list[Unit] = field(default_factory=list)
    variants: dict[str, Settings] = field(default_factory=dict)
    rows: list[dict[str, Any]] = field(default_factory=list)
    minutes: float = 0.0
    _true: dict[str, list[float]] = field(default_factory=dict)
    _sessions: int = 0

    def minutes_for(self, move: Move, *, is_new_session: bool = True) -> float:
        """Return the bench minutes that a move takes.

        Raises
        ------
        DataError
            If the unit cannot be changed that way.
        """
        setup = self.bench.setup
        reading = reading_minutes(setup.effort, move.rounds, is_new_session=is_new_session)
        if move.unit is None:
            return new_unit_cost(setup.factors, move.settings, setup.effort).minutes + reading
        unit = self.unit(move.unit)
        check_ways(unit.settings, move.settings, setup.factors, unit.name)
        return change_cost(setup.factors, unit.settings, move.settings).minutes + reading

    def unit(self, name: str) -> Unit:
        """Return a unit by its name.

        Raises
        ------
        DataError
            If there is none.
        """
        for unit in self.units:
            if unit.name == name:
                return unit
        raise DataError(f"unit is '{name}'; there is no such unit on this bench.")

    def do(self, moves: Sequence[Move]) -> list[str]:
        """Make moves one after another within one session and return the variants that were read."""
        self._sessions += 1
        rng, read = self._rng("reading", self._sessions), []
        total = sum(move.rounds for move in moves)
        for place, move in enumerate(moves):
            self.minutes += self.minutes_for(move, is_new_session=place == 0)
            variant = self._build(move)
            self._read(variant, move.rounds, sum(one.rounds for one in moves[:place]), total, rng)
            read.append(variant)
        return read

    def _build(self, move: Move) -> str:
        if move.unit is not None:
            unit = self.unit(move.unit)
            if unit.variant is not None and dict(unit.settings) == move.settings:
                return unit.variant
        name = str(len(self.variants) + 1)
        self.add_variant(name, move.settings)
        self.stand(move, name)
        return name

    def stand(self, move: Move, variant: str | None = None) -> None:
        """Put a unit, or a new one, at a move's settings."""
        label = move.unit if move.unit is not None else f"unit {len(self.units) + 1}"
        self.units = [*(unit for unit in self.units if unit.name != label), Unit(label, dict(move.settings), variant)]

    def add_variant(self, name: str, settings: Settings) -> None:
        """Build a variant: its true values are those of the design, each off by its own build offset."""
        rng = self._rng("build", len(self.variants))
        self.variants[name] = dict(settings)
        design = {factor: [value] for factor, value in settings.items()}
        self._true[name] = [
            float(truth.mean(design)[0] + truth.scatter.build * rng.standard_normal()) for truth in self.bench.truths
        ]

    def read(self, variant: str, rounds: int) -> None:
        """Read a variant in a session of its own: every outcome, every rater, so many rounds."""
        self._sessions += 1
        self._read(variant, rounds, 0, rounds, self._rng("reading", self._sessions))

    def _read(self, variant: str, rounds: int, before: int, total: int, rng: np.random.Generator) -> None:
        """Read a variant within the running session, after `before` of `total` rounds."""
        session = self._rng("session", self._sessions)
        offsets = [truth.scatter.session * session.standard_normal() for truth in self.bench.truths]
        for turn in range(before, before + rounds):
            part = turn / (total - 1) if total > 1 else 0.5
            for place, truth in enumerate(self.bench.truths):
                raters: Sequence[str] = self.bench.raters if truth.outcome.kind == "rated" else ("meter",)
                for rater in raters:
                    value = truth.read(
                        self._true[variant][place], self._rater_offset(rater, place), offsets[place], part, rng
                    )
                    self.rows.append(self._row(variant, truth.outcome.name, value, rater, turn + 1))

    def _row(self, variant: str, outcome: str, value: float, rater: str, order: int) -> dict[str, Any]:
        unit = next((unit.name for unit in self.units if unit.variant == variant), None)
        return {
            "variant": variant, "outcome": outcome, "value": value, "session": f"session {self._sessions}",
            "rater": rater, "order": order, "unit": unit, **self.variants[variant],
        }  # fmt: skip

    def _rater_offset(self, rater: str, place: int) -> float:
        scatter = self.bench.truths[place].scatter
        names = [*self.bench.raters, "meter"]
        return float(scatter.rater * self._rng("rater", 10 * place + names.index(rater)).standard_normal())

    def worth_of(self, variant: str) -> float:
        """Return the true worth of a variant as it was built: what endless readings by these raters would come to."""
        values = []
        for place, (truth, own) in enumerate(zip(self.bench.truths, self._true[variant], strict=True)):
            raters = self.bench.raters if truth.outcome.kind == "rated" else ("meter",)
            panel = float(np.mean([self._rater_offset(rater, place) for rater in raters]))
            values.append(np.array([truth.outcome.on_scale(own + panel)]))
        return float(worth([truth.outcome for truth in self.bench.truths], values)[0])

    def _rng(self, what: str, number: int) -> np.random.Generator:
        """Return the source of one thing's randomness, the same for every strategy on the same bench."""
        kind = ("build", "session", "reading", "rater").index(what)
        return np.random.default_rng([self.bench.seed, kind, number, 77])

    def frame(self) -> pd.DataFrame:
        """Return the readings so far."""
        return pd.DataFrame(self.rows)

    def observed(self) -> dict[str, dict[str, float]]:
        """Return the plain mean reading of each outcome, variant by variant."""
        sums: dict[str, dict[str, list[float]]] = {}
        for row in self.rows:
            sums.setdefault(row["variant"], {}).setdefault(row["outcome"], []).append(row["value"])
        return {
            variant: {outcome: float(np.mean(values)) for outcome, values in found.items()}
            for variant, found in sums.items()
        }


def start(bench: Bench) -> World:
    """Set a bench up: one unit as it stands, unread, or with the readings of its history; the clock at zero."""
    world = World(bench)
    for settings in bench.history:
        name = str(len(world.variants) + 1)
        world.add_variant(name, settings)
        world.units = [Unit("unit 1", dict(settings), name)]
        world.read(name, 1)
    if not bench.history:
        world.units = [Unit("unit 1", dict(bench.start))]
    return world
