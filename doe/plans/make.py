"""From a request to a plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from doe.model.errors import DataError, UsageError, listed
from doe.model.factor import Factor
from doe.model.given import check_frame, check_names, check_whole
from doe.model.limit import Derived, Limit
from doe.model.sums import Sum
from doe.model.wording import capital, counted, spaced
from doe.plans.arrangement import Arrangement, check_blocks
from doe.plans.assess import Information, all_terms, correlations, efficiencies, inform, lost_terms, precision_table
from doe.plans.candidates import Region
from doe.plans.catalogue import CURVED, OPTIMAL, check_kind, draft, repeated
from doe.plans.draft import Draft
from doe.plans.frame import BLOCK, ORDER, POINT, UNIT, to_frame, to_values
from doe.plans.layout import Array, Ints, Layout, keeps
from doe.plans.optimal import optimal
from doe.plans.request import Request, Tell, check_request
from doe.plans.result import Basis, Plan, beside_fixed
from doe.plans.routing import label_of
from doe.plans.separation import separate
from doe.plans.units import rebuild_places, tells_units, units_of
from doe.plans.varied import compared_names, following

Model = str | Sequence[str]


def plan(
    factors: Sequence[Factor],
    runs: int | None = None,
    model: Model = "main",
    *,
    kind: str | None = None,
    existing: pd.DataFrame | None = None,
    blocks: int = 1,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    replicates: int = 1,
    centre: int | None = None,
    units: int | None = None,
    fold: Sequence[str] = (),
    session_runs: int | None = None,
    scatter: float | None = None,
    matters: float | None = None,
    seed: int = 1,
    starts: int | None = None,
    tell: Tell | None = None,
) -> Plan:
    """Plan runs before building anything.

    Parameters
    ----------
    factors : sequence of Factor
        What can be changed.
    runs : int, optional
        Variants to build, not counting `replicates`; by default what the kind needs, or the unknowns and four more.
    model : {"main", "two-factor", "quadratic"} or sequence of str
        Terms that the plan is to estimate.
    kind : str, optional
        A name in `doe.plans.KINDS`; by default ``"d-optimal"``, or ``"i-optimal"`` where the model has curvature.
    existing : DataFrame, optional
        Variants in the log already, one column per factor: the plan complements them.
    blocks : int
        Groups of runs that are read in one session each.
    limits : sequence of Limit
        Rules that every run keeps.
    derived : sequence of Derived
        Quantities that limits and terms may use.
    replicates : int
        How often every run is made.
    centre : int, optional
        Runs in the middle; kinds with a centre of their own choose a number by default.
    units : int, optional
        Units to build where a factor needs a rebuild: its settings change only between units (a split-plot plan).
    fold : sequence of str
        Fold-over only: the factors to mirror, all by default.
    session_runs : int, optional
        Most runs that one session, and so one block, can take.
    scatter : float, optional
        Standard deviation between runs of the same settings, in outcome units.
    matters : float, optional
        Smallest difference that matters, in outcome units.
    seed : int
        Seed of the search and of the run order.
    starts : int, optional
        Starts of the search; by default what a few seconds allow.
    tell : callable, optional
        Called with the share done (0..1) and a few words. A KeyboardInterrupt ends the search with the best plan so far.

    Returns
    -------
    Plan
        The runs in random order within blocks and units, with what they can tell apart and how surely.

    Raises
    ------
    UsageError
        If the request contradicts itself or cannot be met; the message names the culprit and the nearest plan that works.
    DataError
        If an existing variant has a setting that is not allowed.
    """
    name = check_kind(kind) if kind is not None else None
    if not isinstance(model, str):
        model = check_names("terms", model)
    if model == "main" and name in CURVED:
        model = "quadratic"
    request = check_request(
        factors, model, existing=existing, limits=limits, derived=derived, scatter=scatter, matters=matters, seed=seed
    )
    chosen = name or ("i-optimal" if any(term.is_square for term in request.terms) else "d-optimal")
    _check_counts(
        blocks=blocks, replicates=replicates, runs=runs, starts=starts, session_runs=session_runs, units=units
    )
    fold = _checked_extras(chosen, centre, fold)
    inner = blocks // replicates if replicates > 1 and blocks % replicates == 0 else blocks
    if chosen in OPTIMAL:
        if runs is not None:  # before a search that takes seconds
            check_blocks(runs, inner, session_runs if replicates == 1 else None)
        _refuse_centre(chosen, centre)
        built, arrangement = optimal(request, chosen, runs, inner, units=units, starts=starts, tell=tell)
    else:
        named = model if isinstance(model, str) else "main"
        built = draft(request, chosen, runs, inner, model=named, centre=centre, fold=fold)
        arrangement = None
    built = repeated(built, replicates, blocks)
    check_blocks(built.n_runs, int(built.block.max()) + 1, session_runs)
    return finish(request, chosen, built, _arranged(request, built, arrangement, replicates, units))


def _check_counts(**counts: int | None) -> None:
    for word, count in counts.items():
        if count is not None:
            check_whole(word, count, 1, 1_000_000 if word == "starts" else 10_000)


def _checked_extras(kind: str, centre: int | None, fold: Sequence[str]) -> tuple[str, ...]:
    if centre is not None:
        check_whole("centre", centre, 0, 1000)
    names = check_names("fold", fold)
    if names and kind != "fold-over":
        raise UsageError(f"fold belongs to kind='fold-over', not to '{kind}'.")
    return names


def _refuse_centre(kind: str, centre: int | None) -> None:
    if centre:
        raise UsageError(
            f"centre is {centre}, but kind='{kind}' puts runs in the middle by itself where the model bends; use "
            "model='quadratic', or a catalogue kind such as 'fraction'."
        )


def _arranged(
    request: Request, built: Draft, searched: Arrangement | None, replicates: int, units: int | None
) -> Arrangement:
    n_existing = len(request.old)
    if searched is None:
        return Arrangement(built.block, units_of(request.factors, built.values, units), n_existing)
    unit = searched.unit if searched.unit is None else np.tile(searched.unit, replicates)
    if unit is not None and units is None and not searched.shares_units:  # neither do the repeats of a run
        unit = unit + searched.n_units * np.repeat(np.arange(replicates), searched.n_runs)
    return Arrangement(built.block, unit, n_existing)


def finish(request: Request, kind: str, built: Draft, arrangement: Arrangement, *, shuffle: bool = True) -> Plan:
    """Draw the run order, and work out what the plan can say.

    Raises
    ------
    UsageError
        If the plan cannot estimate the model.
    """
    order = _run_order(request, built.values, arrangement) if shuffle else np.arange(built.n_runs)
    values = built.values[order]
    arrangement = Arrangement(
        arrangement.block[order],
        None if arrangement.unit is None else _renumbered(arrangement.unit[order]),
        arrangement.n_existing,
    )
    points = tuple(built.points[place] for place in order)
    information = _information(request, kind, values, arrangement)
    everything = np.vstack([values, request.old])
    basis = Basis(request.coding, request.terms, request.limits, everything, arrangement, information)
    compared = compared_names(request.coding, request.terms, request.limits)
    confounded = correlations(
        request.coding, all_terms(request.coding, request.terms, compared), everything, beside_fixed(arrangement)
    )
    curved = [term.name for term in request.coding.terms("quadratic", compared) if term.is_square]
    return Plan(
        table=_table(request, values, arrangement, points),
        confounded=confounded,
        precision=precision_table(information, request.scatter or 1.0, request.matters if request.scatter else None),
        efficiency=efficiencies(information, Region(request.coding, request.limits, (), np.empty((0, 0)), ())),
        kind=kind,
        headline=_headline(request, built, values, arrangement),
        separation=separate(confounded, len(compared), curved),
        existing=request.existing,
        facts=built.facts,
        notes=(*built.notes, *_notes(request, values, arrangement)),
        scatter=request.scatter,
        matters=request.matters,
        seed=request.seed,
        basis=basis,
    )


def _information(request: Request, kind: str, values: Array, arrangement: Arrangement) -> Information:
    """Judge the plan on its model; a Bayesian plan on main effects, which it must settle."""
    terms = tuple(term for term in request.terms if term.is_main) if kind == "bayesian" else request.terms
    layout = Layout(request.coding, terms)
    information = inform(layout, values, request.old, arrangement)
    if information is None:
        raise UsageError(_not_estimable(request, layout, kind, values, arrangement))
    return information


def _not_estimable(request: Request, layout: Layout, kind: str, values: Array, arrangement: Arrangement) -> str:
    new, old, penalty = arrangement.beside()
    rows = layout.rows(np.vstack([values, request.old]))
    lost = lost_terms(layout, rows, np.vstack([new, old]), penalty)
    more = [counted(len(lost) - 6, "more term")] if len(lost) > 6 else []
    names = listed([*lost[:6], *more], "and")
    runs = max(layout.n_columns + arrangement.n_blocks - 1, len(values))
    smaller = "model='main', or " if any(not term.is_main for term in layout.terms) else ""
    if kind == "edited":
        return (
            f"The {counted(len(values), 'run')} cannot estimate {names} of the model; use {smaller}runs that vary them "
            "apart from each other."
        )
    return (
        f"A {kind} plan of {counted(len(values), 'run')} cannot estimate {names} of the model; use {smaller}kind='d-optimal' "
        f"with {runs} runs or more."
    )


def _run_order(request: Request, values: Array, arrangement: Arrangement) -> Ints:
    """Draw the order: blocks one after another, within them units in random order, within those runs in random order.

    What can go one way only goes that way on each unit; runs that are alike in it are shuffled.
    """
    rng = np.random.default_rng([request.seed, 1])
    luck = rng.permutation(arrangement.n_runs)
    if not arrangement.shares_units or arrangement.unit is None:
        return np.lexsort((luck, arrangement.block))
    turn = np.stack([rng.permutation(arrangement.n_units) for _ in range(arrangement.n_blocks)])
    return np.lexsort((luck, _gone(request, values), turn[arrangement.block, arrangement.unit], arrangement.block))


def _gone(request: Request, values: Array) -> Array:
    """Return how far the one-way factors have gone in each run; on a unit it can only grow."""
    far = np.zeros(len(values))
    for place, factor in enumerate(request.factors):
        if factor.way in ("up", "down"):
            low, high = factor.span
            far += (values[:, place] - low) / (high - low) * (1 if factor.way == "up" else -1)
    return np.round(far, 9)


def _renumbered(unit: Ints) -> Ints:
    """Give units numbers in the order in which they first appear."""
    _, first, inverse = np.unique(unit, return_index=True, return_inverse=True)
    return np.argsort(np.argsort(first))[inverse].astype(np.intp)


def _table(request: Request, values: Array, arrangement: Arrangement, points: Sequence[str]) -> pd.DataFrame:
    table = to_frame(request.factors, values)
    front: dict[str, Any] = {ORDER: np.arange(1, len(values) + 1)}
    if arrangement.n_blocks > 1:
        front[BLOCK] = arrangement.block + 1
    if arrangement.unit is not None and tells_units(request.factors, values, arrangement):
        front[UNIT] = [f"new {number + 1}" for number in arrangement.unit]
    if len(set(points)) > 1:
        front[POINT] = list(points)
    return pd.concat([pd.DataFrame(front), table], axis=1)


def _headline(request: Request, built: Draft, values: Array, arrangement: Arrangement) -> str:
    parts = [counted(len(request.factors), "factor")]
    if arrangement.n_blocks > 1:
        parts.append(counted(arrangement.n_blocks, "block"))
    if tells_units(request.factors, values, arrangement):
        parts.append(counted(arrangement.n_units, "unit"))
    if len(request.old):
        parts.append(f"beside {counted(len(request.old), 'existing run')}")
    return f"{built.title[0].upper()}{built.title[1:]}, {', '.join(parts)}."


def _notes(request: Request, values: Array, arrangement: Arrangement) -> list[str]:
    notes = []
    if arrangement.shares_units:
        names = listed((spaced(request.factors[place].name) for place in rebuild_places(request.factors)), "and")
        notes.append(
            f"Runs are randomised within {counted(arrangement.n_units, 'unit')}, which differ in {names}: those effects are "
            "judged by the differences between units, taken to be as large as those between runs."
        )
    if len(request.old):
        notes.append("The existing runs count as a group of their own, since conditions may have shifted since.")
    notes += [_follows(*found) for found in following(request.coding, request.terms, request.limits)]
    one_way = [spaced(factor.name) for factor in request.factors if factor.way in ("up", "down")]
    going = f"{capital(listed(one_way, 'and'))} can only go one way on a unit"
    if one_way and arrangement.shares_units and _can_be_built_in_turn(request, values, arrangement):
        they = "it runs" if len(one_way) == 1 else "they run"
        notes.append(
            f"{going}, so each unit takes its runs in that order, and {they} with any drift over a session; repeat a variant "
            "at the end to see it."
        )
    elif one_way and (arrangement.shares_units or not tells_units(request.factors, values, arrangement)):
        notes.append(f"{going}, so a random order may need more units; see the route.")
    return notes


def _follows(factor: Factor, rule: Sum) -> str:
    others = [spaced(part.name) for part in rule.parts if part is not factor]
    told = f"an effect of {others[0]} is" if len(others) == 1 else f"effects of {listed(others, 'and')} are"
    name = spaced(factor.name)
    return f"{capital(name)} follows from {listed(others, 'and')} ('{rule.rule}'), so {told} told with {name} moving along."


def _can_be_built_in_turn(request: Request, values: Array, arrangement: Arrangement) -> bool:
    """Whether every unit can take its runs in the order drawn."""
    for place, factor in enumerate(request.factors):
        sign = {"up": 1, "down": -1}.get(factor.way, 0)
        if any((sign * np.diff(values[rows, place]) < -1e-9).any() for rows in arrangement.rows_of_units()):
            return False
    return True


def judge(
    table: pd.DataFrame,
    factors: Sequence[Factor],
    model: Model = "main",
    *,
    existing: pd.DataFrame | None = None,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    scatter: float | None = None,
    matters: float | None = None,
) -> Plan:
    """Judge runs that someone chose or edited, in the order given.

    Parameters
    ----------
    table : DataFrame
        One row per run, one column per factor; `block` and `unit` are used where they stand, other columns are not. A run
        whose unit is left empty counts as on a unit of its own.
    factors, model, existing, limits, derived, scatter, matters
        As for `plan`.

    Returns
    -------
    Plan
        Of kind ``"edited"``.

    Raises
    ------
    UsageError
        If the runs cannot estimate the model, or break a limit.
    DataError
        If a setting is not allowed, or some runs have a block and others none.
    """
    check_frame("table", table, "run")
    request = check_request(
        factors, model, existing=existing, limits=limits, derived=derived, scatter=scatter, matters=matters
    )
    values = to_values(request.factors, table, "Run")
    if not len(values):
        raise UsageError("The plan has no runs.")
    block, unit = _blocks(table), _units(request, values, table)
    points = tuple(str(cell) for cell in table[POINT]) if POINT in table.columns else ("run",) * len(values)
    built = Draft(f"plan as edited, {counted(len(values), 'run')}", values, block, points)
    for limit in request.limits:
        broken = np.flatnonzero(~keeps(request.coding, [limit], values))
        if len(broken):
            raise UsageError(f"Run {broken[0] + 1} breaks the limit '{limit.rule}'; change it, or loosen the limit.")
    return finish(request, "edited", built, Arrangement(block, unit, len(request.old)), shuffle=False)


def _blocks(table: pd.DataFrame) -> Ints:
    block = _numbered(table, BLOCK)
    empty = np.flatnonzero(block < 0)
    if len(empty) == len(table):
        return np.zeros(len(table), dtype=np.intp)
    if len(empty):
        raise DataError(f"Run {empty[0] + 1} has no block, and others have one; give it one, or leave the column out.")
    return block


def _units(request: Request, values: Array, table: pd.DataFrame) -> Ints | None:
    unit = _numbered(table, UNIT)
    empty = np.flatnonzero(unit < 0)
    if len(empty) == len(table):
        return units_of(request.factors, values, None)
    unit[empty] = unit.max() + 1 + np.arange(len(empty))
    return unit


def _numbered(table: pd.DataFrame, column: str) -> Ints:
    """Return a number for what each cell of a column names, from 0 in the order met; -1 where it names nothing."""
    if column not in table.columns:
        return np.full(len(table), -1, dtype=np.intp)
    cells = [None if label_of(cell) is None else cell for cell in table[column]]
    return np.asarray(pd.factorize(np.array(cells, dtype=object))[0], dtype=np.intp)
