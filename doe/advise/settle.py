"""The permanent equivalent of a variant: lasting settings, what they promise, and how to test that they do the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from doe.advise.effort import bought_levels
from doe.advise.equivalents import Equivalents, make_equivalents
from doe.advise.lasting import solve
from doe.advise.log import Log, read_log
from doe.advise.must_give import what_must_give
from doe.advise.nearest import all_starts
from doe.advise.recommend import recommend
from doe.advise.routes import both_routes
from doe.advise.standin import StandIn, choose_stand_in
from doe.advise.twin import twin_build
from doe.model.choices import Settings
from doe.model.effort import Effort
from doe.model.errors import DataError, UsageError, did_you_mean, shown
from doe.model.factor import Factor
from doe.model.given import check_each, check_names, check_whole
from doe.model.limit import Derived, Limit, check_rules
from doe.model.names import quoted
from doe.model.outcome import Outcome
from doe.model.records import Unit
from doe.model.wording import setting

if TYPE_CHECKING:
    import pandas as pd


def settle(
    readings: pd.DataFrame | None,
    factors: Sequence[Factor],
    outcomes: Sequence[Outcome],
    variant: str | Mapping[str, object] | None = None,
    *,
    without: str | None = None,
    to: object = None,
    through: str | None = None,
    hold: Sequence[str] = (),
    units: pd.DataFrame | Sequence[Unit] | None = None,
    effort: Effort | None = None,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    count: int = 3,
    seed: int = 1,
) -> Equivalents:
    """Turn a cheap trial change into the lasting design change that does the same.

    A derived quantity ties the stand-in (wool in a cavity) to lasting factors (how deep it is). The lasting settings that
    give the same quantity with the stand-in taken away are found, nearest first, and the outcomes there are predicted twice:
    through the quantity, and by the factors themselves.

    Parameters
    ----------
    readings : DataFrame or None
        One row per reading, as `doe.analyse` takes them.
    factors : sequence of Factor
    outcomes : sequence of Outcome
    variant : str or mapping, optional
        The variant to make permanent, or its settings; by default the best one.
    without, to, through, hold
        The stand-in, its lasting setting, the quantity, and parts that stay; see `doe.advise.standin.choose_stand_in`.
    units : DataFrame or sequence of Unit, optional
        Physical units with their present state.
    effort : Effort, optional
        What bench work costs.
    limits, derived : sequence of Limit, sequence of Derived
        Rules that the answer keeps, and the quantities they use.
    count : int
        How many lasting settings to list, 1 or more.
    seed : int
        Of whatever is drawn at random.

    Returns
    -------
    Equivalents

    Raises
    ------
    UsageError
        If a name is unknown, or it is not plain which stand-in or quantity is meant.
    DataError
        If there is no best variant, no derived quantity that holds the stand-in, or the variant has no stand-in to take away.
    """
    check_each("factors", factors, Factor)
    check_each("outcomes", outcomes, Outcome)
    check_rules(factors, limits, derived)
    count, seed = check_whole("count", count, 1), check_whole("seed", seed)
    hold = check_names("hold", hold)
    stand_in = choose_stand_in(factors, derived, without, to, through, hold)
    log = read_log(readings, factors, units)
    if variant is None:
        variant = _best(
            readings, factors, outcomes, units=units, effort=effort, limits=limits, derived=derived, seed=seed
        )
    name, start = _named(variant, log, factors)
    _refuse_without(stand_in, name, start)
    solved = solve(stand_in, factors, start, limits=limits, derived=derived, count=count, seed=seed)
    routes = both_routes(readings, factors, outcomes, stand_in, start[stand_in.factor.name], seed)
    effort = effort or Effort()
    bought = bought_levels(factors, [*log.variants.values(), *(unit.settings for unit in log.units)])
    starts = [all_starts(factors, log.units, one.settings, effort, bought)[0] for one in solved.nearest]
    gives = what_must_give(stand_in, factors, start, solved, limits=limits, derived=derived)
    test = {}
    if solved.nearest:
        test = twin_build(
            stand_in, factors, start, solved.nearest[0], routes,
            limits=limits, derived=derived, units=log.units, effort=effort,
        )  # fmt: skip
    return make_equivalents(stand_in, start, solved, variant=name, starts=starts, routes=routes, gives=gives, test=test)


def _best(readings: pd.DataFrame | None, factors: Sequence[Factor], outcomes: Sequence[Outcome], **beside: Any) -> str:
    """Name the variant that advice would keep, asked with all that is known `beside` readings."""
    is_read = readings is not None and len(readings) > 0
    best = recommend(readings, factors, outcomes, **beside).best if is_read else {}
    if not best.get("variant"):
        raise DataError(
            "No variant is known to be the best yet, since none has been read; name the one to make permanent."
        )
    return str(best["variant"])


def _named(variant: str | Mapping[str, object], log: Log, factors: Sequence[Factor]) -> tuple[str, Settings]:
    """Return the name (empty for settings) and the settings of what is to be made permanent."""
    if isinstance(variant, str):
        if variant not in log.variants:
            raise UsageError(
                f"Variant '{variant}' has not been read, or has no settings.{did_you_mean(variant, log.variants)}",
                command=f"'fettle read {quoted(variant)} OUTCOME=VALUE' stores a reading",
            )
        return variant, log.variants[variant]
    if not isinstance(variant, Mapping):
        raise UsageError(f"variant is {shown(variant)}; it must be a name, or settings by factor.")
    missing = [factor for factor in factors if factor.name not in variant]
    if missing:
        raise DataError(f"The settings have no {missing[0].name}; it {missing[0].allowed()}.")
    return "", {factor.name: factor.read(variant[factor.name]) for factor in factors}


def _refuse_without(stand_in: StandIn, name: str, start: Settings) -> None:
    if start[stand_in.factor.name] == stand_in.to:
        what = f"variant {name}" if name else "the variant"
        raise DataError(
            f"{stand_in.factor.name} is {setting(stand_in.to)} in {what} already, so there is nothing to make "
            "permanent; name a variant that uses it."
        )
