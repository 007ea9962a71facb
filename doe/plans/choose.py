"""Which plan? The plans that fit a budget of runs or hours, compared, and one recommended in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from doe.model.effort import Effort
from doe.model.errors import UsageError, listed
from doe.model.factor import Factor
from doe.model.given import check_number, check_one, check_whole
from doe.model.limit import Derived, Limit
from doe.model.numbers import minutes_in
from doe.model.records import Unit
from doe.model.wording import capital, counted, duration, exact, number, percent, spaced
from doe.plans.frame import check_factors
from doe.plans.offers import Budget, Offer, make_offers, most_runs, nothing_fits, preference, wishes_for
from doe.plans.precision import POWER
from doe.plans.request import Tell, check_request
from doe.plans.result import Plan

RUNGS = (
    "some main effects cannot be told apart",
    "main effects apart, but some are one with an interaction",
    "main effects apart, partly mixed with interactions",
    "main effects clear of interactions",
    "interactions apart too",
    "interactions and curvature apart too",
)
"""What a plan keeps apart, by `Separation.rung`."""


@dataclass(frozen=True, slots=True, eq=False)
class PlanChoice:
    """The plans that fit, and the one to take.

    Attributes
    ----------
    table : DataFrame
        One row per plan, the recommended first: `plan` (its headline), `kind`, `model`, `runs`, `hours` at the bench (building
        on the units at hand, and readings), `new_units`, `apart` (what it keeps apart, in words), `half_width` and `detectable`
        of its least sure main effect, `half_width_of_judged` without those for which no run is left over (`unjudged`), `power`
        to see what matters, `power_of_judged` likewise without them, `is_recommended`.
    plan : Plan
        The recommended one.
    plans : tuple of Plan
        All of them, in the order of `table`.
    headline : str
        The recommendation in one sentence.
    reason : tuple of str
        What it can tell apart, what it cannot, how sure it will be, and what it costs.
    left_out : DataFrame
        Plans that do not fit: `kind`, `why`.
    was_stopped : bool
        Whether the comparison was interrupted before its end.
    """

    table: pd.DataFrame
    plan: Plan
    plans: tuple[Plan, ...]
    headline: str
    reason: tuple[str, ...]
    left_out: pd.DataFrame
    was_stopped: bool = False

    @property
    def model(self) -> str:
        """Model of the recommended plan."""
        return str(self.table[self.table["is_recommended"]]["model"].iloc[0])

    def to_frame(self) -> pd.DataFrame:
        """Return the comparison."""
        return self.table.copy()

    def summary(self) -> str:
        """Return the recommendation, then the comparison, as text for a terminal."""
        lines = [self.headline, *self.reason, "", "All plans that fit:"]
        for row in self.table.to_dict("records"):
            lines.append(f"  {row['plan']} {capital(in_short(self.plan, row))}.")
        return "\n".join(lines).rstrip() + "\n"

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        return f"<PlanChoice: {self.headline}>"

    def _repr_html_(self) -> str:
        shown = self.table.map(lambda cell: number(cell, 3) if isinstance(cell, float) else str(cell))
        said = "".join(f"<li>{escape(line)}</li>" for line in self.reason)
        table = shown.to_html(index=False, border=0, escape=True)
        return f"<p><strong>{escape(self.headline)}</strong></p><ul>{said}</ul>{table}"


def choose(
    factors: Sequence[Factor],
    *,
    runs: int | None = None,
    hours: float | None = None,
    effort: Effort | None = None,
    units: pd.DataFrame | Sequence[Unit] | None = None,
    scatter: float | None = None,
    matters: float | None = None,
    existing: pd.DataFrame | None = None,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    seed: int = 1,
    tell: Tell | None = None,
) -> PlanChoice:
    """Compare the plans that fit a budget and recommend one.

    Of the plans by which a t test (5 %) would see a difference that matters (twice the scatter, while that is not known) with a
    chance of 80 % in every main effect, the one that keeps most apart is taken, and of several the one with the fewest bench
    hours. Where none is that sure, the surest is taken.

    Parameters
    ----------
    factors : sequence of Factor
        What can be changed.
    runs : int, optional
        Most runs.
    hours : float, optional
        Most bench hours, readings included; one of the two is needed.
    effort : Effort, optional
        Minutes of new units, sessions and readings.
    units : DataFrame or sequence of Unit, optional
        Units at hand.
    scatter : float, optional
        Standard deviation between runs known so far, in outcome units.
    matters : float, optional
        Smallest difference that matters, in outcome units.
    existing : DataFrame, optional
        Variants in the log already.
    limits, derived : sequence
        Rules and quantities.
    seed : int
        Seed of searches and orders.
    tell : callable, optional
        Called with the share done (0..1) and a few words. A KeyboardInterrupt ends the comparison with the plans made so far.

    Returns
    -------
    PlanChoice

    Raises
    ------
    UsageError
        If neither runs nor hours are given, or no plan fits; the smallest that would, or what stands in the way, is named.
    DataError
        If a variant in the log has a setting that is not allowed.
    """
    known = check_factors(factors)
    if runs is None and hours is None:
        raise UsageError("Say how much may be spent: runs=10 or hours=12.")
    if runs is not None:
        check_whole("runs", runs, 1, 1000)
    if hours is not None:
        check_number("hours", hours)
    if hours is not None and not 0 < hours < math.inf:
        raise UsageError(f"hours is {exact(hours)}; it must be a number above 0.")
    request = check_request(
        known, "main", existing=existing, limits=limits, derived=derived, scatter=scatter, matters=matters, seed=seed
    )
    if effort is not None:
        check_one("effort", effort, Effort)
    minutes = None if hours is None else minutes_in(hours)
    budget = Budget(runs, minutes, effort, units)
    shared = {
        "scatter": scatter, "matters": matters, "existing": existing, "limits": limits, "derived": derived, "seed": seed,
    }  # fmt: skip
    wishes = wishes_for(
        known, most_runs(budget, known), limits, existing is not None and len(existing) > 0, tuple(derived)
    )
    offers = make_offers(known, wishes, budget, shared, tell)
    fitting = [offer for offer in offers.plans if budget.minutes is None or offer.minutes <= budget.minutes + 1e-6]
    too_dear = [offer for offer in offers.plans if offer not in fitting]
    left_out = [*offers.left_out, *((offer.plan.kind, f"takes {duration(offer.minutes)}") for offer in too_dear)]
    if not fitting:
        raise UsageError(nothing_fits(budget, request.coding, limits, too_dear, left_out))
    ranked = sorted(fitting, key=preference)
    return _choice(ranked, left_out, scatter, matters, was_stopped=offers.was_stopped)


def _choice(
    ranked: Sequence[Offer],
    left_out: Sequence[tuple[str, str]],
    scatter: float | None,
    matters: float | None,
    *,
    was_stopped: bool,
) -> PlanChoice:
    best = ranked[0]
    rows = []
    for place, offer in enumerate(ranked):
        mains = offer.mains
        rows.append(
            {
                "plan": offer.plan.headline,
                "kind": offer.plan.kind,
                "model": _model_name(offer.plan),
                "runs": offer.plan.n_runs,
                "hours": offer.minutes / 60,
                "new_units": offer.new_units,
                "apart": _apart(offer.plan),
                "half_width": float(mains["half_width"].max()),
                "half_width_of_judged": offer.half_width_of_judged,
                "unjudged": ", ".join(mains["term"][mains["df"] <= 0]),
                "detectable": float(mains["detectable"].max()),
                "power": offer.power,
                "power_of_judged": offer.power_of_judged,
                "is_recommended": place == 0,
            }
        )
    frame = pd.DataFrame(left_out, columns=["kind", "why"]).drop_duplicates(ignore_index=True)
    plans = tuple(offer.plan for offer in ranked)
    reason = (*_reason(ranked, scatter, matters), bench_time(rows[0]))
    if was_stopped:
        reason = (*reason, f"The comparison was stopped; {counted(len(plans), 'plan')} that fit had been looked at.")
    return PlanChoice(pd.DataFrame(rows), best.plan, plans, _headline(best), reason, frame, was_stopped)


def _model_name(made: Plan) -> str:
    terms = made.precision["term"]
    if terms.str.contains("^", regex=False).any():
        return "quadratic"
    return "two-factor" if terms.str.contains(":", regex=False).any() else "main"


def _apart(made: Plan) -> str:
    """Say what a plan keeps apart; one factor has nothing but its bend to be kept from, if it has one."""
    if len(made.factors) == 1:
        if not any(term.is_square for term in made.basis.coding.terms("quadratic")):
            return "its levels kept apart"
        return "its bend seen too" if made.separation.rung == len(RUNGS) - 1 else "its bend not seen"
    return RUNGS[made.separation.rung]


def _headline(best: Offer) -> str:
    title = best.plan.headline.rstrip(".")
    first = title[0].lower() if title[1].islower() and not title.startswith(("Plackett", "Box", "Latin")) else title[0]
    return f"Take this one: {first}{title[1:]}; {_apart(best.plan)}."


def in_short(made: Plan, row: Mapping[Any, Any]) -> str:
    """Say how long a plan of a comparison takes, where that is known, what it keeps apart, and how sure it is.

    Parameters
    ----------
    made : Plan
        One of the plans compared; it knows whether scatter and what matters are known.
    row : mapping
        Of `PlanChoice.table`.
    """
    time = duration(60 * row["hours"]) if row["hours"] else ""
    return "; ".join(part for part in (time, row["apart"], _sureness(made, row)) if part)


def _sureness(made: Plan, row: Mapping[Any, Any]) -> str:
    """Say how sure a plan is, by the figure that the plans stand in order of, and what it cannot judge."""
    what = "what matters" if made.scatter and made.matters else "twice the scatter"
    seen = f"sees {what} with {percent(row['power_of_judged'])}" if row["power_of_judged"] > 0 else ""
    open_ = listed([spaced(name) for name in row["unjudged"].split(", ") if name], "and")
    return ", but ".join(part for part in (seen, f"no interval for {open_}" if open_ else "") if part)


def _reason(ranked: Sequence[Offer], scatter: float | None, matters: float | None) -> tuple[str, ...]:
    best = ranked[0]
    made = best.plan
    lines = [*made.separation.sentences, *made.precision_sentences()]
    if not (scatter and matters) and best.power_of_judged > 0:
        lines.append(
            f"A swing of twice the scatter would be seen by a t test (5 %) with a chance of {percent(best.power_of_judged)}."
        )
    if best.unjudged:
        lines.append("No plan within the budget leaves fewer main effects without an interval.")
    elif best.power < POWER:
        surer = [offer for offer in ranked if offer.unjudged and offer.power_of_judged >= best.power + 0.01]
        of_all = " that judges all main effects" if surer else ""
        lines.append(
            f"That is less than {percent(POWER)}, and no plan within the budget{of_all} is surer by 1 % or more."
        )
    return tuple(lines)


def bench_time(row: Mapping[Any, Any]) -> str:
    """Say how long a plan takes.

    Parameters
    ----------
    row : mapping
        Of `PlanChoice.table`.
    """
    made_new = counted(row["new_units"], "new unit") if row["new_units"] else ""
    if not row["hours"]:
        begin = f"It takes {made_new}; how" if made_new else "How"
        return f"{begin} long is not known, since nothing says what a change, a new unit and a round of readings take."
    return f"It takes {duration(60 * row['hours'])} at the bench{f', with {made_new}' if made_new else ''}, readings included."
