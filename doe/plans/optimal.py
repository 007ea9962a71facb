"""Optimal plans for any mix of factors, limits, blocks, units and runs that exist already.

D-optimal plans make |information| largest, I-optimal plans the mean variance of prediction over the region smallest (Atkinson,
Donev & Tobias 2007, Optimum Experimental Designs). With more terms than runs, suspected terms get a prior (DuMouchel & Jones
1994, Technometrics 36, 37-47).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from doe.coding import Coding, Term
from doe.model.errors import UsageError, listed
from doe.model.wording import counted
from doe.plans.arrangement import Arrangement, arrange
from doe.plans.assess import lost_terms
from doe.plans.candidates import Region, region
from doe.plans.draft import Draft
from doe.plans.exchange import Task
from doe.plans.layout import Array, Flags, Ints, Layout, keeps
from doe.plans.moments import region_moments
from doe.plans.request import Request, Tell
from doe.plans.search import Found, default_starts, search
from doe.plans.units import units_to_plan
from doe.plans.varied import named_terms

SUSPECTED = 1.0
"""Prior variance of a suspected term over that of a run, per coded unit (DuMouchel & Jones 1994: tau = 1)."""

_DRAWS = 2000

SPARE_RUNS = 4
"""Runs beyond the unknowns where no number is asked for, to judge the scatter by; common practice, no source."""


def optimal(
    request: Request,
    kind: str,
    runs: int | None,
    blocks: int,
    *,
    units: int | None,
    starts: int | None,
    tell: Tell | None,
) -> tuple[Draft, Arrangement]:
    """Search for an optimal plan.

    Raises
    ------
    UsageError
        If there are fewer runs than unknowns, or the limits keep a term from being estimated; the nearest plan that works is
        named.
    """
    layout, suspected = request.layout, _suspected(request, kind)
    sure = _sure(request, suspected)
    n_runs = runs if runs is not None else max(1, sure.n_columns + blocks - 1 - _known(request, sure) + SPARE_RUNS)
    check_enough(request, suspected, n_runs, blocks, kind)
    area = region(request.coding, request.terms, request.limits, request.seed)
    _check_finite(layout, area, request.seed)
    arrangement = arrange(n_runs, blocks, units_to_plan(sure, n_runs, units), len(request.old))
    criterion = "I" if kind == "i-optimal" else "D"
    task = optimal_task(area, layout, arrangement, layout.rows(request.old), criterion=criterion, suspected=suspected)
    count = starts if starts is not None else default_starts(task)
    found = search(task, area, arrangement, count, request.seed, tell)
    _check_found(sure, request, area, found, arrangement)
    return _draft(found, kind, arrangement, area, count), arrangement


def _check_finite(layout: Layout, area: Region, seed: int) -> None:
    """Check that derived quantities have a value wherever the plan may go.

    Raises
    ------
    UsageError
        Naming the quantity that has none at some settings.
    """
    for name in layout.derived:
        drawn = area.draw((_DRAWS,), np.random.default_rng(seed))
        if not np.isfinite(layout.code(drawn, (name,))).all():
            term = next(term.name for term in layout.terms if name in term.factors)
            raise UsageError(
                f"{name} has no finite value at some settings, so '{term}' cannot be planned for; add a limit "
                "that keeps away from them."
            )


def _draft(found: Found, kind: str, arrangement: Arrangement, area: Region, starts: int) -> Draft:
    names = {"d-optimal": "D-optimal plan", "i-optimal": "I-optimal plan", "bayesian": "Bayesian D-optimal plan"}
    notes = list(area.notes)
    if found.was_stopped:
        notes.append(
            f"The search was stopped after {found.starts} of {starts} starts; this is the best plan reached so far."
        )
    n_runs = len(found.values)
    points = ("run",) * n_runs
    return Draft(
        f"{names[kind]}, {counted(n_runs, 'run')}",
        found.values,
        arrangement.block,
        points,
        {"starts": found.starts, "was_stopped": found.was_stopped},
        tuple(notes),
    )


def _suspected(request: Request, kind: str) -> tuple[Term, ...]:
    """Return the terms that get a prior: all but main effects, in a Bayesian plan."""
    return tuple(term for term in request.terms if not term.is_main) if kind == "bayesian" else ()


def _sure(request: Request, suspected: Sequence[Term]) -> Layout:
    return Layout(request.coding, tuple(term for term in request.terms if term not in suspected))


def _known(request: Request, layout: Layout) -> int:
    """Return how many unknowns of a model the runs that exist settle."""
    return int(np.linalg.matrix_rank(layout.rows(request.old))) if len(request.old) else 0


def check_enough(request: Request, suspected: Sequence[Term], n_runs: int, blocks: int, kind: str) -> None:
    """Check that there are runs enough for the unknowns.

    Raises
    ------
    UsageError
        Offering more runs, the Bayesian kind, or a smaller model.
    """
    sure = _sure(request, suspected)
    unknowns, known = sure.n_columns + blocks - 1, _known(request, sure)
    if n_runs + known >= unknowns:
        return
    simple = Layout(request.coding, named_terms(request.coding, "main", request.limits))
    mains = simple.n_columns + blocks - 1
    ways = [f"at least {unknowns - known} runs"]
    if (
        kind != "bayesian"
        and any(not term.is_main for term in request.terms)
        and n_runs + _known(request, simple) >= mains
    ):
        ways += ["kind='bayesian'", f"model='main', which has {mains}"]
    beside = f" beside {counted(len(request.old), 'existing run')}" if len(request.old) else ""
    what = f"{counted(n_runs, 'run')}{beside}"
    between = f", {counted(blocks - 1, 'block difference')}" if blocks > 1 else ""
    raise UsageError(
        f"{what} cannot settle the {unknowns} unknowns of the model (the mean, {counted(unknowns - blocks, 'effect')}"
        f"{between}); ask for {listed(ways)}."
    )


def _check_found(layout: Layout, request: Request, area: Region, found: Found, arrangement: Arrangement) -> None:
    """Check that the plan estimates what it must.

    Raises
    ------
    UsageError
        Naming the terms that no plan within the limits could estimate, or that none was found for.
    """
    new, old, penalty = arrangement.beside()
    rows = layout.rows(np.vstack([found.values, request.old]))
    lost = lost_terms(layout, rows, np.vstack([new, old]), penalty)
    if not lost or found.was_stopped:
        return
    runs, names = counted(len(found.values), "run"), listed(lost, "and")
    drawn = layout.rows(np.vstack([area.draw((_DRAWS,), np.random.default_rng(request.seed)), request.old]))
    told = np.linalg.qr(drawn)[1]  # what all of the region tells
    if not lost_terms(layout, told, np.empty((len(told), 0)), np.empty(0)):
        raise UsageError(
            f"The search found no plan of {runs} that can estimate {names}; ask for more runs, or for more starts."
        )
    cause = "within the limits" if request.limits else "with these settings"
    advice = f"leave out one of them, such as '{lost[-1]}'" if len(lost) > 1 else "leave it out"
    raise UsageError(f"No plan of {runs} {cause} can estimate {names}; {advice}.")


def optimal_task(
    area: Region,
    layout: Layout,
    arrangement: Arrangement,
    old_rows: Array,
    *,
    criterion: str,
    suspected: Sequence[Term] = (),
) -> Task:
    """Put a request into the arrays that the exchange works on.

    Parameters
    ----------
    area : Region
        Settings that may be used.
    layout : Layout
        All terms, those only suspected included.
    arrangement : Arrangement
        Blocks and units.
    old_rows : ndarray of shape (n_existing, n_columns)
        Model rows of the runs that exist.
    criterion : {"D", "I"}
        What is optimised.
    suspected : sequence of Term
        Terms that get a prior, so that there may be more of them than runs.
    """
    new, old, penalty = arrangement.beside()
    before = np.hstack([old_rows, old])
    priors = np.zeros(layout.n_columns)
    for term in suspected:
        priors[layout.slices[term.name]] = 1 / SUSPECTED
    fixed = before.T @ before + np.diag(np.concatenate([priors, penalty]))
    moments = None
    if criterion == "I":
        moments = np.zeros_like(fixed)
        moments[: layout.n_columns, : layout.n_columns] = region_moments(layout, area)
    allowed = _allowed(area.coding, area) if area.limits else None
    task = Task(layout, area.candidates, new, fixed, moments, _groups(area, arrangement), allowed)
    return replace(task, limited=frozenset(area.limited), tied=area.tied)


def _allowed(coding: Coding, area: Region) -> Callable[[Array], Flags]:
    return lambda values: keeps(coding, area.limits, values)


def _groups(area: Region, arrangement: Arrangement) -> dict[int, tuple[Ints, ...]]:
    if not arrangement.shares_units:
        return {}
    rows = arrangement.rows_of_units()
    return {place: rows for place, factor in enumerate(area.coding.factors) if factor.way == "rebuild"}
