"""How a simulated prototype really behaves: effects of the factors, scatter of builds, sessions, raters and readings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.model.factor import Factor
from doe.model.outcome import Outcome

Array = npt.NDArray[np.float64]
Shape = Literal["line", "peak", "saturating", "step", "levels"]


@dataclass(frozen=True, slots=True)
class Effect:
    """What one factor does to one outcome.

    Attributes
    ----------
    factor : Factor
    shape : {"line", "peak", "saturating", "step", "levels"}
        Straight; a parabola with its top inside the range; rising fast, then flat; an S; one value per level.
    size : float
        Largest difference between two settings, in outcome units.
    place : float
        Where the top, the knee or the step lies, on the range coded to -1..1.
    values : tuple of float
        Shape ``levels``: one number per level, from -0.5 to 0.5.
    """

    factor: Factor
    shape: Shape
    size: float
    place: float = 0.0
    values: tuple[float, ...] = ()

    def at(self, settings: Sequence[Any] | npt.NDArray[Any]) -> Array:
        """Return the contribution at settings of shape (n_variants,), in outcome units."""
        places, distinct = pd.factorize(np.asarray(settings))
        return np.asarray(self._of_each(distinct.tolist())[places])

    def _of_each(self, settings: Sequence[Any]) -> Array:
        if self.shape == "levels":
            index = dict(zip(self.factor.levels, self.values, strict=True))
            return self.size * np.array([index[str(value)] for value in settings])
        low, high = self.factor.span
        coded = 2 * (np.array([self.factor.position(value) for value in settings]) - low) / (high - low) - 1
        return self.size * self._unit(coded)

    @property
    def bend(self) -> float:
        """How far the best parabola through the shape departs from a line, in outcome units; 0 for named levels."""
        if not self.factor.is_numeric or len(self.factor.grid(3)) < 3:
            return 0.0
        coded = np.linspace(-1, 1, 201)
        return abs(float(np.polyfit(coded, self.size * self._unit(coded), 2)[0]))

    def _unit(self, coded: Array) -> Array:
        """Return the shape scaled so that its largest difference over -1..1 is one."""
        fine = np.linspace(-1, 1, 201)
        curve = self._raw(fine)
        spread = curve.max() - curve.min()
        return np.asarray((self._raw(coded) - (curve.max() + curve.min()) / 2) / spread, dtype=float)

    def _raw(self, coded: Array) -> Array:
        if self.shape == "line":
            return coded
        if self.shape == "peak":
            return -((coded - self.place) ** 2)
        if self.shape == "saturating":
            return 1 - np.exp(-2.5 * (coded + 1))
        return np.tanh(3.0 * (coded - self.place))


@dataclass(frozen=True, slots=True)
class Together:
    """An interaction: the product of two factors' codes, each from -1 to 1.

    Attributes
    ----------
    one, other : Effect
        Their shapes scaled to -1..1 are multiplied.
    size : float
        Largest difference between two settings, in outcome units.
    """

    one: Effect
    other: Effect
    size: float

    def at(self, settings: Mapping[str, Sequence[Any] | npt.NDArray[Any]]) -> Array:
        """Return the contribution at settings of shape (n_variants,), in outcome units."""
        first = 2 * self.one.at(settings[self.one.factor.name]) / self.one.size
        second = 2 * self.other.at(settings[self.other.factor.name]) / self.other.size
        return self.size / 2 * first * second


@dataclass(frozen=True, slots=True)
class Scatter:
    """Everything that blurs a reading, in outcome units.

    Attributes
    ----------
    build, session, rater, reading : float
        Standard deviations.
    drift : float
        Change from the first to the last reading of a session.
    outlier_chance, outlier_size : float
        Chance that a reading is far off, and how far, in reading standard deviations.
    """

    build: float
    session: float
    rater: float
    reading: float
    drift: float = 0.0
    outlier_chance: float = 0.0
    outlier_size: float = 4.0


@dataclass(frozen=True, slots=True)
class Truth:
    """How one outcome comes about.

    Attributes
    ----------
    outcome : Outcome
    base : float
        In outcome units.
    effects : tuple of Effect
    pairs : tuple of Together
    scatter : Scatter
    """

    outcome: Outcome
    base: float
    effects: tuple[Effect, ...]
    pairs: tuple[Together, ...]
    scatter: Scatter
    active: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        names = {effect.factor.name for effect in self.effects}
        for pair in self.pairs:
            names |= {pair.one.factor.name, pair.other.factor.name}
        object.__setattr__(self, "active", frozenset(names))

    def mean(self, settings: Mapping[str, Sequence[Any] | npt.NDArray[Any]]) -> Array:
        """Return the outcome that settings give on average over builds, shape (n_variants,)."""
        count = len(next(iter(settings.values())))
        total = np.full(count, self.base)
        for effect in self.effects:
            total = total + effect.at(settings[effect.factor.name])
        for pair in self.pairs:
            total = total + pair.at(settings)
        return total

    @property
    def term_swings(self) -> dict[str, float]:
        """Swing of each term that a model in main effects, products and squares needs, in outcome units.

        A factor that does anything has its main effect listed, with the largest difference it makes; a square is listed
        where the best parabola through the shape bends by a tenth of that or more.
        """
        swings: dict[str, float] = {}
        for effect in self.effects:
            swings[effect.factor.name] = abs(effect.size)
        for pair in self.pairs:
            for side in (pair.one, pair.other):
                swings.setdefault(side.factor.name, 0.0)
            swings[f"{pair.one.factor.name}:{pair.other.factor.name}"] = abs(pair.size)
        for effect in self.effects:
            if effect.bend >= 0.1 * abs(effect.size):
                swings[f"{effect.factor.name}^2"] = effect.bend
        return swings

    @property
    def real_terms(self) -> tuple[str, ...]:
        """Names of all terms that are not zero."""
        return tuple(self.term_swings)

    @property
    def sizeable_terms(self) -> tuple[str, ...]:
        """Names of the terms that move the outcome by what matters or more."""
        matters = self.outcome.matters or 0.0
        return tuple(name for name, swing in self.term_swings.items() if swing >= max(matters, 1e-9))

    def read(
        self, true_value: float, rater_offset: float, session_offset: float, part: float, rng: np.random.Generator
    ) -> float:
        """Return one reading of a build.

        Parameters
        ----------
        true_value : float
            The build's own value.
        rater_offset, session_offset : float
        part : float
            How far the session has gone, 0..1.
        rng : numpy Generator
        """
        scatter = self.scatter
        noise = scatter.reading * rng.standard_normal()
        if rng.random() < scatter.outlier_chance:
            noise += math.copysign(scatter.outlier_size * scatter.reading, rng.standard_normal())
        value = true_value + rater_offset + session_offset + scatter.drift * (part - 0.5) + noise
        if self.outcome.scale is None:
            return float(value)
        low, high = self.outcome.scale
        return float(np.clip(round(value), low, high))
