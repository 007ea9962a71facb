"""Effort: minutes and money to get from a unit's present state, or from nothing, to a variant."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from doe.model.choices import Settings, Value
from doe.model.effort import Effort, bare_setting, setting_minutes
from doe.model.factor import Factor

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cost:
    """What one move takes.

    Attributes
    ----------
    minutes : float
        Bench minutes.
    price : float
        Money.
    """

    minutes: float
    price: float


def bought_levels(factors: Sequence[Factor], variants: Sequence[Mapping[str, Value]]) -> dict[str, set[str]]:
    """Return the levels that the project has paid for: those that any variant or unit ever had."""
    return {
        factor.name: {str(settings[factor.name]) for settings in variants if factor.name in settings}
        for factor in factors
    }


def change_cost(
    factors: Sequence[Factor],
    start: Mapping[str, Value],
    end: Mapping[str, Value],
    bought: Mapping[str, Collection[str]] | None = None,
) -> Cost:
    """Return the cost of changing a unit that exists, without session or readings.

    Parameters
    ----------
    factors : sequence of Factor
        All factors.
    start, end : mapping of str to setting
        One entry per factor. Whether the change can be made at all is not asked here; see `Factor.can_go`.
    bought : mapping of str to collection of str, optional
        Levels already paid for, by factor.
    """
    minutes = sum(factor.change_minutes(start[factor.name], end[factor.name]) for factor in factors)
    price = sum(
        factor.price + _level_price(factor, end[factor.name], bought)
        for factor in factors
        if start[factor.name] != end[factor.name]
    )
    return Cost(minutes, price)


def new_unit_cost(
    factors: Sequence[Factor],
    end: Mapping[str, Value],
    effort: Effort,
    bought: Mapping[str, Collection[str]] | None = None,
) -> Cost:
    """Return the cost of making a new unit with these settings, without session or readings.

    The unit itself, then each setting from its bare state (`bare_setting`); levels not yet bought are paid.
    """
    minutes, price = effort.new_unit_minutes, effort.new_unit_price
    for factor in factors:
        bare, wanted = bare_setting(factor), end[factor.name]
        minutes += setting_minutes(factor, bare, wanted)
        price += (factor.price if bare != wanted else 0.0) + _level_price(factor, wanted, bought)
    return Cost(minutes, price)


def reading_minutes(effort: Effort, rounds: int, *, is_new_session: bool = True) -> float:
    """Return the minutes of so many rounds of readings of one variant; a session is shared by a batch."""
    return rounds * effort.reading_minutes + (effort.session_minutes if is_new_session else 0.0)


@dataclass(frozen=True, slots=True)
class ChangeTables:
    """Cost of every considered setting of every factor from one start, for look-up by code.

    Attributes
    ----------
    minutes, price : tuple of ndarray of shape (n_values,)
        One array per factor; minutes are infinite where the unit cannot go.
    fixed : Cost
        What the start costs whatever the settings: a new unit, or nothing.
    """

    minutes: tuple[Array, ...]
    price: tuple[Array, ...]
    fixed: Cost

    def total(self, codes: npt.NDArray[np.intp]) -> tuple[Array, Array]:
        """Return minutes and price of variants given as codes of shape (n_variants, n_factors)."""
        minutes = np.full(len(codes), self.fixed.minutes)
        price = np.full(len(codes), self.fixed.price)
        for place, (minutes_of, price_of) in enumerate(zip(self.minutes, self.price, strict=True)):
            minutes += minutes_of[codes[:, place]]
            price += price_of[codes[:, place]]
        return minutes, price


def change_tables(
    factors: Sequence[Factor],
    values: Sequence[Sequence[Value]],
    start: Settings | None,
    effort: Effort,
    bought: Mapping[str, Collection[str]],
) -> ChangeTables:
    """Tabulate the cost of each factor's considered settings.

    Parameters
    ----------
    factors : sequence of Factor
        All factors.
    values : sequence of sequence of setting
        Considered settings of each factor.
    start : dict or None
        Present state of a unit; None for a new one.
    effort : Effort
        For the new unit.
    bought : mapping of str to collection of str
        Levels already paid for.
    """
    minutes, price = [], []
    for factor, settings in zip(factors, values, strict=True):
        begin = bare_setting(factor) if start is None else start[factor.name]
        can = [start is None or (begin is not None and factor.can_go(begin, end)) for end in settings]
        minutes.append(
            np.array(
                [setting_minutes(factor, begin, end) if ok else np.inf for end, ok in zip(settings, can, strict=True)]
            )
        )
        paid = [
            (factor.price if end != begin else 0.0)
            + (_level_price(factor, end, bought) if start is None or end != begin else 0.0)
            for end in settings
        ]
        price.append(np.array(paid, dtype=float))
    fixed = Cost(effort.new_unit_minutes, effort.new_unit_price) if start is None else Cost(0.0, 0.0)
    return ChangeTables(tuple(minutes), tuple(price), fixed)


def _level_price(factor: Factor, level: Value, bought: Mapping[str, Collection[str]] | None) -> float:
    if bought is not None and str(level) in bought.get(factor.name, ()):
        return 0.0
    return factor.prices.get(str(level), 0.0)
