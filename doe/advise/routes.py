"""Two ways to predict the same settings: through a derived quantity, and by the factors it is written in."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doe.advise.space import usable_as_terms
from doe.advise.standin import StandIn
from doe.coding import Coding
from doe.fit import analyse
from doe.fit.effects import Effects
from doe.fit.through import CLEAR
from doe.model.choices import Value
from doe.model.errors import FettleError, listed
from doe.model.factor import Factor
from doe.model.limit import Derived
from doe.model.outcome import Outcome
from doe.model.wording import TANGLED, number, spaced, unit_behind

if TYPE_CHECKING:
    import pandas as pd

THROUGH, PARTS = "through", "parts"
OPEN = (-math.inf, math.inf)


@dataclass(frozen=True, slots=True)
class Routes:
    """One outcome, analysed both ways.

    Attributes
    ----------
    outcome : Outcome
    through : Effects or None
        The quantity in the place of its parts; None where it cannot be a term.
    parts : Effects
        By the factors themselves.
    odds : float
        Evidence for the quantity over its parts; NaN where it could not be weighed.
    finding : str
        What the odds mean, in a sentence; empty where the parts move nothing.
    own : pair of float
        Ends of the 95 % interval of what taking the stand-in away does by itself, the quantity as it was; without end where the
        log cannot tell it from what the quantity does.
    """

    outcome: Outcome
    through: Effects | None
    parts: Effects
    odds: float
    finding: str
    own: tuple[float, float] = OPEN

    @property
    def preferred(self) -> Effects:
        """The analysis to lean on: through the quantity, unless the log speaks against it."""
        return self.parts if self.through is None or self.odds <= 1.0 / CLEAR else self.through

    @property
    def is_bounded(self) -> bool:
        """Whether what the stand-in does by itself is known to be less than what matters."""
        matters = self.outcome.matters or 0.0
        return -matters < self.own[0] and self.own[1] < matters

    @property
    def is_apart(self) -> bool:
        """Whether what the stand-in does by itself is known to be more than what matters."""
        matters = self.outcome.matters or 0.0
        return self.own[0] > matters or self.own[1] < -matters

    def predictions(self, settings: pd.DataFrame) -> dict[str, pd.DataFrame]:
        """Return the predictions by each route that there is."""
        both = {THROUGH: self.through, PARTS: self.parts}
        return {route: effects.predict(settings) for route, effects in both.items() if effects is not None}


def both_routes(
    readings: pd.DataFrame | None,
    factors: Sequence[Factor],
    outcomes: Sequence[Outcome],
    stand_in: StandIn,
    start: Value,
    seed: int,
) -> list[Routes]:
    """Analyse every outcome that can be analysed, both ways; the stand-in is taken away from its setting `start`."""
    if readings is None or not len(readings):
        return []
    found = []
    for outcome in outcomes:
        try:
            parts = analyse(readings, factors, outcome, derived=[stand_in.quantity], seed=seed)
        except FettleError:
            continue
        if parts.basis is None:
            continue
        odds, finding = _weighed(parts, stand_in)
        through = _through(readings, factors, outcome, stand_in, seed)
        own = OPEN if through is None else _own(readings, factors, outcome, stand_in, start, seed)
        found.append(Routes(outcome, through, parts, odds, finding, own))
    return found


def _weighed(parts: Effects, stand_in: StandIn) -> tuple[float, str]:
    rows = parts.through[parts.through["quantity"] == stand_in.quantity.name]
    return (float(rows["odds"].iloc[0]), str(rows["finding"].iloc[0])) if len(rows) else (float("nan"), "")


def _through(
    readings: pd.DataFrame, factors: Sequence[Factor], outcome: Outcome, stand_in: StandIn, seed: int
) -> Effects | None:
    """Fit the quantity, bent if need be, beside the main effects of the other factors."""
    if not usable_as_terms([stand_in.quantity], factors):
        return None
    return _fitted(readings, factors, outcome, terms_through(readings, factors, stand_in.quantity), stand_in, seed)


def _own(
    readings: pd.DataFrame, factors: Sequence[Factor], outcome: Outcome, stand_in: StandIn, start: Value, seed: int
) -> tuple[float, float]:
    """Bound what the stand-in does by itself, from a fit of the quantity with the stand-in beside it.

    The interval is that given the effect is there at all, as for the verdict *too small to matter*. Of levels, it is that of
    the two that differ most, either way round.
    """
    name = stand_in.factor.name
    if readings[name].nunique() < 2:
        return OPEN
    terms = [*terms_through(readings, factors, stand_in.quantity), name]
    effects = _fitted(readings, factors, outcome, terms, stand_in, seed)
    if effects is None:
        return OPEN
    rows = effects.table[effects.table["term"] == name]
    if rows.empty or rows["verdict"].iloc[0] == TANGLED or not math.isfinite(rows["low"].iloc[0]):
        return OPEN
    low, high = float(rows["low"].iloc[0]), float(rows["high"].iloc[0])
    if not stand_in.factor.is_numeric:
        most = max(abs(low), abs(high))
        return -most, most
    ends = stand_in.factor.span
    part = (stand_in.factor.position(stand_in.to) - stand_in.factor.position(start)) / (ends[1] - ends[0])
    return min(part * low, part * high), max(part * low, part * high)


def _fitted(
    readings: pd.DataFrame,
    factors: Sequence[Factor],
    outcome: Outcome,
    terms: list[str],
    stand_in: StandIn,
    seed: int,
) -> Effects | None:
    try:
        effects = analyse(readings, factors, outcome, terms, derived=[stand_in.quantity], seed=seed)
    except FettleError:
        return None
    return effects if effects.basis is not None else None


def terms_through(readings: pd.DataFrame, factors: Sequence[Factor], quantity: Derived) -> list[str]:
    """Return the terms that put a quantity, bent if need be, in the place of its parts, beside the other factors."""
    varied = [factor.name for factor in factors if readings[factor.name].nunique() > 1]
    coding = Coding(tuple(factors), (quantity,))
    parts = coding.derived[0].parsed.names
    others = [name for name in varied if name not in parts]
    return [quantity.name, f"{quantity.name}^2", *(term.name for term in coding.terms("main", others))]


def disagreement(routes: Routes, stand_in: StandIn, rows: Mapping[str, Any]) -> str:
    """Say where the two ways give different values, and what the log knows of which is right; empty where they agree.

    Parameters
    ----------
    routes : Routes
    stand_in : StandIn
    rows : mapping of str to mapping
        Route -> its prediction: `mean`, `low`, `high`.

    Notes
    -----
    They differ where the means are further apart than what matters, or, where nothing was said to matter, where neither mean
    lies in the other's 95 % interval.
    """
    if THROUGH not in rows:
        return ""
    one, two = rows[THROUGH], rows[PARTS]
    gap = abs(one["mean"] - two["mean"])
    matters = routes.outcome.matters
    apart = not (two["low"] <= one["mean"] <= two["high"] or one["low"] <= two["mean"] <= one["high"])
    if not (gap > matters if matters is not None else apart):
        return ""
    quantity = spaced(stand_in.quantity.name)
    parts = listed([spaced(name) for name in sorted(stand_in.quantity.parsed.names)], "and")
    unit = unit_behind(routes.outcome.unit)
    head = (
        f"{spaced(routes.outcome.name).capitalize()} would be {number(one['mean'])}{unit} through {quantity}, but "
        f"{number(two['mean'])}{unit} by {parts} themselves"
    )
    if routes.odds >= CLEAR:
        return f"{head}; the log favours {quantity} (odds {number(routes.odds, 2)} to 1)."
    if routes.odds <= 1.0 / CLEAR:
        return f"{head}; the log speaks against {quantity} (odds {number(1.0 / routes.odds, 2)} to 1), so do not lean on it."
    return f"{head}; the data cannot tell which is right, so build it before you rely on either."
