"""Whether outcomes keep their limits, and what they may lose, in every possible world."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.advise.space import kept as keeps
from doe.fit.draws import Draws
from doe.grids import in_range
from doe.model.choices import Value
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.sums import sums

Array = npt.NDArray[Any]


class Watch:
    """Tells in which possible worlds everything is still as promised."""

    def __init__(
        self,
        judged: Sequence[tuple[Outcome, Draws]],
        factors: Sequence[Factor],
        nominal: Mapping[str, Value],
        rng: np.random.Generator,
        limits: Sequence[Limit] = (),
        derived: Sequence[Derived] = (),
    ) -> None:
        self.limits, self.derived, self.sums = limits, derived, sums(factors, limits, derived)
        self.judged, self.factors, self.nominal = judged, factors, dict(nominal)
        self.offsets = [drawn.build_sd * rng.standard_normal(len(drawn.build_sd)) for _, drawn in judged]
        here = pd.DataFrame([self.nominal])
        self.start = [self._values(place, here)[:, 0] for place in range(len(judged))]

    def _values(self, place: int, settings: pd.DataFrame) -> Array:
        """Return an outcome of one build, shape (n_draws, n_settings)."""
        drawn = self.judged[place][1]
        matrix = drawn.coding.matrix(settings, drawn.terms).values
        level = (drawn.coefficients[:, 0] + self.offsets[place])[:, None]
        return np.asarray(level + drawn.coefficients[:, 1:] @ matrix.T)

    def kept(self, settings: pd.DataFrame) -> npt.NDArray[np.bool_]:
        """Tell whether each outcome is kept, shape (n_outcomes, n_draws, n_settings)."""
        return np.stack(
            [
                is_kept(outcome, self._values(place, settings), self.start[place][:, None])
                for place, (outcome, _) in enumerate(self.judged)
            ]
        )

    def made_up(self, settings: pd.DataFrame, moved: Factor | None = None) -> pd.DataFrame:
        """Let another factor take what is left where settings must add up; where it cannot it stays as it should be.

        Parameters
        ----------
        settings : DataFrame of shape (n_settings, n_factors)
        moved : Factor, optional
            The one that drifts; by default all do.
        """
        result = settings.copy()
        for rule in self.sums:
            if moved is None or moved in rule.parts:
                takes = rule.takes_up(moved)
                left = in_range(takes, rule.left({str(name): result[name] for name in result}, takes))
                result[takes.name] = np.where(np.isnan(left), self.nominal[takes.name], left)
        return result

    def moved(self, factor: Factor, values: Sequence[Any]) -> tuple[Array, list[str]]:
        """Return the chance that all is kept at each setting of one factor, and which outcome is kept least often there."""
        settings = pd.DataFrame([self.nominal] * len(values))
        settings[factor.name] = list(values)
        settings = self.made_up(settings, factor)
        kept = self.kept(settings)
        worst = kept.mean(axis=1).argmin(axis=0)
        chances = kept.all(axis=0).mean(axis=0)
        names = [self.judged[int(place)][0].name for place in worst]
        columns = {name: settings[name].to_numpy() for name in settings.columns}
        for limit in self.limits:
            broken = ~keeps(limit, columns, self.derived)
            chances[broken] = 0.0
            names = [f"the limit {limit.rule}" if out else name for name, out in zip(names, broken, strict=True)]
        return chances, names

    def chance_at(self, settings: pd.DataFrame) -> float:
        """Return the chance that all is kept where draw d has the settings of row d."""
        kept = np.ones(len(settings), dtype=bool)
        for place, (outcome, drawn) in enumerate(self.judged):
            which = np.arange(len(settings)) % len(drawn.build_sd)
            matrix = drawn.coding.matrix(settings, drawn.terms).values
            values = drawn.coefficients[which, 0] + self.offsets[place][which]
            values = values + (drawn.coefficients[which, 1:] * matrix).sum(axis=1)
            kept &= is_kept(outcome, values, self.start[place][which])
        return float(kept.mean())


def is_kept(outcome: Outcome, values: Array, start: Array) -> npt.NDArray[np.bool_]:
    """Tell whether values keep an outcome's limits and lose no more than what matters against `start`."""
    if outcome.goal is None:
        return np.asarray(np.abs(values - start) <= (outcome.matters or np.inf))
    low, high = outcome.inner if outcome.goal == "within" else outcome.outer
    kept = (values >= low) & (values <= high)
    if outcome.matters is not None:
        kept &= shortfall(outcome, values) - shortfall(outcome, start) <= outcome.matters
    return np.asarray(kept)


def shortfall(outcome: Outcome, values: Array) -> Array:
    """Return how far values lie on the bad side: of the target, of the range, or of zero for goals raise and lower."""
    if outcome.goal == "raise":
        return -np.asarray(values)
    if outcome.goal == "lower":
        return np.asarray(values)
    low, high = outcome.inner
    return np.maximum(np.maximum(low - values, values - high), 0.0)
