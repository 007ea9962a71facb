"""The plans worth comparing for a budget, each with its price at the bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from doe.coding import Coding
from doe.model.effort import Effort
from doe.model.errors import FettleError
from doe.model.factor import Factor
from doe.model.limit import Derived, Limit
from doe.model.records import Unit
from doe.model.wording import counted, duration
from doe.plans.aberration import MOST_FACTORS
from doe.plans.assess import is_fixed_on_units
from doe.plans.frame import BLOCK
from doe.plans.layout import Layout
from doe.plans.make import plan
from doe.plans.precision import POWER
from doe.plans.request import Tell
from doe.plans.result import Plan
from doe.plans.routing import errand, find_route, minutes_of
from doe.plans.two_level import fraction_sizes, two_level_only
from doe.plans.varied import named_terms

_MOST_RUNS = 128
_ROUTE_SECONDS = 2.0
_STARTS = 120
_MOST_EXACT = 24
_MODELS = ("main", "two-factor", "quadratic")
_FAR_BEYOND = 1.25
"""Times the hours that a plan has to take before larger ones are not looked for: those are hardly ever cheaper, never by so
much in any setup tried, and their search takes longest."""


@dataclass(frozen=True, slots=True)
class Budget:
    """What may be spent, and with what.

    Attributes
    ----------
    runs : int or None
        Most runs.
    minutes : float or None
        Most bench minutes, readings included.
    effort : Effort or None
        Minutes of new units, sessions and readings.
    units : DataFrame, sequence of Unit or None
        Units at hand.
    """

    runs: int | None
    minutes: float | None
    effort: Effort | None
    units: pd.DataFrame | Sequence[Unit] | None


@dataclass(frozen=True, slots=True)
class Offer:
    """A plan with its price.

    Attributes
    ----------
    plan : Plan
        The plan.
    minutes : float
        Bench minutes, readings included.
    new_units : int
        Units to be made.
    was_stopped : bool
        Whether the search for the plan, or for its price, was interrupted.
    """

    plan: Plan
    minutes: float
    new_units: int
    was_stopped: bool = False

    @property
    def mains(self) -> pd.DataFrame:
        """Precision of the main effects; of all terms where the model has none."""
        precision = self.plan.precision
        rows = precision[~precision["term"].str.contains(r"[:^]", regex=True)]
        return rows if len(rows) else precision

    @property
    def power(self) -> float:
        """Chance to see what matters in the least sure main effect."""
        return float(self.mains["power"].min())

    @property
    def unjudged(self) -> int:
        """Main effects for which no run is left over to judge the scatter by."""
        return sum(df <= 0 for df in self.mains["df"])

    @property
    def half_width_of_judged(self) -> float:
        """Half-width of the least sure main effect of those that can be judged; infinite without any."""
        judged = self.mains[self.mains["df"] > 0]
        return float(judged["half_width"].max()) if len(judged) else float("inf")

    @property
    def power_of_judged(self) -> float:
        """Chance to see what matters in the least sure main effect of those that can be judged."""
        judged = self.mains[self.mains["df"] > 0]
        return float(judged["power"].min()) if len(judged) else 0.0


def preference(offer: Offer) -> tuple[bool, int, float, float, float]:
    """Sure plans first, by what they keep apart and their price; then unsure ones, the surest first."""
    is_sure = offer.power >= POWER
    rung = float(offer.plan.separation.rung)
    first = -rung if is_sure else -round(offer.power_of_judged, 2)
    return (not is_sure, offer.unjudged, first, offer.minutes, -rung)


def most_runs(budget: Budget, factors: Sequence[Factor]) -> int:
    """Bound the runs: by what is asked, and by hours if every run took its readings and nothing else."""
    most = budget.runs if budget.runs is not None else _MOST_RUNS
    effort = budget.effort or Effort()
    if budget.minutes is not None:
        least = max(effort.reading_minutes, 1.0)
        most = min(most, max(1, int((budget.minutes - effort.session_minutes) / least)))
    return min(most, _MOST_RUNS)


def wishes_for(
    factors: Sequence[Factor], most: int, limits: Sequence[Limit], has_existing: bool, derived: Sequence[Derived]
) -> list[dict[str, Any]]:
    """List the plans worth looking at, as arguments of `plan`."""
    coding = Coding(tuple(factors), tuple(derived))
    catalogue = [] if has_existing or limits else _catalogue_wishes(factors, most)
    layouts = {model: Layout(coding, named_terms(coding, model, limits)) for model in _MODELS}
    return [*catalogue, *_optimal_wishes(layouts, most, has_existing)]


def _catalogue_wishes(factors: Sequence[Factor], most: int) -> list[dict[str, Any]]:
    n_factors = len(factors)
    wishes: list[dict[str, Any]] = [{"kind": "full"}]
    if two_level_only(factors):
        sizes = fraction_sizes(n_factors)
        wishes += [{"kind": "fraction", "runs": size} for size in sizes if size <= most and n_factors <= MOST_FACTORS]
        least = max(4, -(-(n_factors + 1) // 4) * 4)
        between = [size for size in (least, least + 4) if size <= most and size not in sizes]
        wishes += [{"kind": "plackett-burman", "runs": size} for size in between]
        wishes.append({"kind": "fold-over"})
    return [*wishes, *({"kind": kind} for kind in ("definitive", "face-centred", "central-composite", "box-behnken"))]


def _optimal_wishes(layouts: Mapping[str, Layout], most: int, has_existing: bool) -> list[dict[str, Any]]:
    unknowns = {model: layout.n_columns for model, layout in layouts.items()}
    wishes: list[dict[str, Any]] = []
    for model, count in unknowns.items():
        larger = _larger(count, most) if model == "main" else ()
        fewer = (2, 4, count // 2) if has_existing and model == "main" else ()  # the log settles the rest
        sizes = sorted({min(most, size) for size in (count + 1, count + 4, *larger, *fewer) if size > 1})
        wishes += [{"model": model, "runs": size} for size in sizes if has_existing or size > count]
    if any(factor.way == "rebuild" for factor in layouts["main"].coding.factors):
        # fewer units than by default cost less, and leave less to judge rebuild factors by
        wishes = [{**wish, **few} for wish in wishes for few in ({}, {"units": _fewest_units(layouts[wish["model"]])})]
    if unknowns["main"] < most <= unknowns["two-factor"]:
        wishes.append({"model": "two-factor", "kind": "bayesian", "runs": most})
    return wishes


def _larger(unknowns: int, most: int) -> tuple[int, ...]:
    return (2 * unknowns, most) if most <= 4 * unknowns else (2 * unknowns, 3 * unknowns)


def _fewest_units(layout: Layout) -> int:
    """Return the units that the terms which only change with a rebuild need."""
    slices = layout.slices
    fixed = [slices[term.name] for term in layout.terms if is_fixed_on_units(layout.coding, term)]
    return 1 + sum(int(place.stop) - int(place.start) for place in fixed)


@dataclass(frozen=True, slots=True)
class Offers:
    """What came of the wishes.

    Attributes
    ----------
    plans : tuple of Offer
        Plans of no more runs than asked for, priced.
    left_out : tuple of (str, str)
        Kinds that do not fit, each with the reason.
    was_stopped : bool
        Whether the comparison was interrupted before its end.
    """

    plans: tuple[Offer, ...]
    left_out: tuple[tuple[str, str], ...]
    was_stopped: bool


def make_offers(
    factors: Sequence[Factor],
    wishes: Sequence[dict[str, Any]],
    budget: Budget,
    shared: dict[str, Any],
    tell: Tell | None,
) -> Offers:
    """Make the plans wished for, and price those that fit the runs; a KeyboardInterrupt keeps those made so far."""
    found: dict[tuple[Any, ...], Offer] = {}
    beyond: list[dict[str, Any]] = []
    left_out: list[tuple[str, str]] = []
    was_stopped = False
    try:
        for place, wish in enumerate(wishes):
            if tell is not None:
                tell(place / len(wishes), f"{wish.get('kind', 'optimal')} plan")
            if any(_is_larger(wish, other) for other in beyond):
                left_out.append(("optimal", "a smaller one takes far longer than there is"))
                continue
            made = _made(factors, wish, budget, shared)
            if not isinstance(made, Plan):
                left_out.append(made)
                continue
            key = (made.kind, made.n_runs, len(made.precision), made.basis.arrangement.n_units)
            if key not in found:
                found[key] = _priced(made, budget)
            if budget.minutes is not None and found[key].minutes > _FAR_BEYOND * budget.minutes:
                beyond.append(wish)
            was_stopped = found[key].was_stopped
            if was_stopped:
                break
    except KeyboardInterrupt:
        if not found:
            raise
        was_stopped = True
    if tell is not None:
        tell(1.0, "done")
    return Offers(tuple(found.values()), tuple(left_out), was_stopped)


def _is_larger(wish: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether an optimal plan has at least the runs, the terms and the units of another."""
    models = [_MODELS.index(one["model"]) if one.get("model") in _MODELS else -1 for one in (wish, other)]
    if min(models) < 0 or ("units" in wish) != ("units" in other):
        return False
    sizes = [(model, one["runs"], one.get("units", 0)) for model, one in zip(models, (wish, other), strict=True)]
    return all(mine >= theirs for mine, theirs in zip(*sizes, strict=True))


def _made(
    factors: Sequence[Factor], wish: dict[str, Any], budget: Budget, shared: dict[str, Any]
) -> Plan | tuple[str, str]:
    """Make one plan, or say which kind is left out and why."""
    starts = _STARTS if wish.get("kind") in (None, "bayesian") else None
    try:
        made = plan(factors, **{**shared, **wish}, starts=starts)
    except FettleError as err:
        return str(wish.get("kind", "d-optimal")), str(err)
    if budget.runs is not None and made.n_runs > budget.runs:
        return made.kind, f"needs {counted(made.n_runs, 'run')}"
    if budget.minutes is not None and _readings(made, budget) > budget.minutes:
        return made.kind, f"its readings alone take {duration(_readings(made, budget))}"
    return made


def _readings(made: Plan, budget: Budget) -> float:
    effort = budget.effort or Effort()
    sessions = int(made.table[BLOCK].nunique()) if BLOCK in made.table.columns else 1
    return effort.reading_minutes * made.n_runs + effort.session_minutes * sessions


def _priced(made: Plan, budget: Budget) -> Offer:
    """Work out the bench minutes: the cheapest route over the units at hand (a good one for large plans), and the readings."""
    job = errand(made.table, made.factors, budget.units, budget.effort)
    solved, table, _ = find_route(job, seconds=_ROUTE_SECONDS, seed=made.seed, is_exact=made.n_runs <= _MOST_EXACT)
    building = sum(map(sum, minutes_of(table, solved.paths)))
    n_new = sum(start < 0 for start, _ in solved.paths)
    was_stopped = solved.was_stopped or bool(made.facts.get("was_stopped"))
    return Offer(made, building + _readings(made, budget), n_new, was_stopped)


def nothing_fits(
    budget: Budget,
    coding: Coding,
    limits: Sequence[Limit],
    too_dear: Sequence[Offer],
    left_out: Sequence[tuple[str, str]],
) -> str:
    """Say that the budget is too small, and name the smallest that would do; or what else stands in the way."""
    spent = " and ".join(
        part
        for part in (
            counted(budget.runs, "run") if budget.runs is not None else "",
            duration(budget.minutes) if budget.minutes is not None else "",
        )
        if part
    )
    if too_dear:
        cheapest = min(too_dear, key=lambda offer: offer.minutes)
        return f"No plan fits into {spent}; the cheapest takes {duration(cheapest.minutes)}: {cheapest.plan.headline}"
    unknowns = Layout(coding, named_terms(coding, "main", limits)).n_columns
    refusals = [why for kind, why in left_out if kind == "d-optimal"]
    if refusals and most_runs(budget, coding.factors) > unknowns:
        return refusals[0]
    return (
        f"No plan of {counted(len(coding.factors), 'factor')} fits into {spent}: the main effects alone are {unknowns} "
        f"unknowns, so ask for {unknowns + 1} runs or more, or plan with fewer factors."
    )
