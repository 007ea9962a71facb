"""Between an adopted plan on record and the tables that the engines take."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from doe.model.errors import DataError
from doe.model.factor import Factor
from doe.model.outcome import Outcome
from doe.model.plain import plain
from doe.model.planned import AdoptedPlan, Run, same_as_planned
from doe.model.records import Variant
from doe.model.setup import Setup
from doe.model.wording import counted

if TYPE_CHECKING:
    import pandas as pd

    from doe.plans import Plan


_NAME = re.compile(r"[^\W\d_]\w*")


def facts_of(made: Plan, model: str | Sequence[str], outcome: str) -> dict[str, Any]:
    """Return what an adopted plan remembers of how it came about; a Bayesian one settles main effects only."""
    made_for = "main" if made.kind == "bayesian" else model
    return {
        "headline": made.headline,
        "kind": made.kind,
        "model": made_for if isinstance(made_for, str) else list(made_for),
        "seed": made.seed,
        "outcome": outcome,
        "scatter": made.scatter,
        "matters": made.matters,
        "beside_log": len(made.existing) > 0,
    }


def model_of(
    plan: AdoptedPlan, setup: Setup, beside: Iterable[Variant] = (), edited: pd.DataFrame | None = None
) -> str | list[str]:
    """Return the model that a plan on record is judged by: of factors that are still there, and that it could vary.

    A factor that came after the plan is at one setting in all that was built or planned before, so nothing is asked of it
    until runs vary it.

    Parameters
    ----------
    plan : AdoptedPlan
    setup : Setup
        The definitions as they are now.
    beside : iterable of Variant
        What is built already, where the plan complements it.
    edited : DataFrame, optional
        Its runs as they are to be.
    """
    model = plan.facts.get("model", "main")
    if not isinstance(model, str):
        there = {item.name for item in setup.factors} | {item.name for item in setup.derived}
        return [term for term in model if there.issuperset(_NAME.findall(term))] or "main"
    known = [*(run.settings for run in plan.runs), *(variant.settings for variant in beside if variant.settings)]
    names = [factor.name for factor in setup.factors]
    anew = [name for name in names if edited is not None and name in edited and edited[name].astype(str).nunique() > 1]
    varied = [name for name in names if name in anew or len({row.get(name) for row in known}) > 1]
    if not varied or varied == names:
        return model
    from doe.coding import Coding  # an array library, which only plans need

    return [term.name for term in Coding(tuple(setup.factors)).terms(model, varied)]


def outcome_of(plan: AdoptedPlan, outcomes: Sequence[Outcome]) -> str | None:
    """Return the outcome that a plan on record is judged by, None if it names none that there is."""
    name = plan.facts.get("outcome")
    return next((outcome.name for outcome in outcomes if outcome.name == name), None)


def runs_of(table: pd.DataFrame, factors: Sequence[Factor]) -> list[Run]:
    """Return the runs of a table in its order; `variant`, `block`, `unit` and `kind` are used where they stand.

    Raises
    ------
    DataError
        If a block is no whole number from 1.
    """
    runs = []
    for place, row in enumerate(table.to_dict("records"), start=1):
        own = plain(row)
        settings = {factor.name: factor.read(row[factor.name]) for factor in factors}
        unit, kind = name_in(own.get("unit")), name_in(own.get("kind")) or "run"
        runs.append(Run(settings, name_in(own.get("variant")), _block(own.get("block"), place), unit, kind))
    return runs


def name_in(cell: Any) -> str:
    """Return the name in a cell; a spreadsheet may have made 12.0 of it."""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    return "" if cell is None else str(cell).strip()


def _block(cell: Any, place: int) -> int:
    if cell is None or cell == "":
        return 1
    try:
        block = float(cell)
    except ValueError:
        block = 0.0
    if block < 1 or block % 1:
        raise DataError(f"Run {place}: block is '{cell}'; it must be a whole number from 1.")
    return int(block)


def frame_of(plan: AdoptedPlan, factors: Sequence[Factor]) -> pd.DataFrame:
    """Return the runs as a table.

    Returns
    -------
    DataFrame
        `order`, `variant`, `status` (planned or built), `block` and `unit` and `kind` where they differ, one column per factor.
        `unit` is the real one where a run of the same label is built.
    """
    import pandas as pd

    rows: list[Mapping[str, Any]] = [
        {
            "order": place,
            "variant": run.variant,
            "status": variant.status,
            "block": run.block,
            "unit": plan.unit_of(run),
            "kind": run.kind,
            **{factor.name: run.settings.get(factor.name) for factor in factors},
        }
        for place, (run, variant) in enumerate(zip(plan.runs, plan.variants, strict=True), start=1)
    ]
    frame = pd.DataFrame(rows)
    idle = [name for name in ("block", "kind") if frame[name].nunique() < 2]
    return frame.drop(columns=[*idle, *([] if frame["unit"].any() else ["unit"])])


def beside_advice(variants: Sequence[Variant], table: pd.DataFrame, factors: Sequence[Factor]) -> str:
    """Say that planned variants wait while something else is advised; empty where none waits.

    Parameters
    ----------
    variants : sequence of Variant
        Of the project.
    table : DataFrame
        What is advised, with one column per factor; the first row is asked about.
    factors : sequence of Factor
    """
    waiting = [variant for variant in variants if variant.status == "planned"]
    if not waiting:
        return ""
    told = f"{counted(len(waiting), 'planned variant')} {'waits' if len(waiting) == 1 else 'wait'} to be built"
    if len(table):
        first = table.iloc[0]
        settings = {factor.name: factor.read(first[factor.name]) for factor in factors}
        if same := same_as_planned(settings, str(first["unit"]), waiting):
            return f"{told}; the first of these suggestions is planned as variant {same.name}."
    return f"{told}. A plan learns from all its runs together; this looks one session ahead and takes none of them for granted."


def left_of(table: pd.DataFrame) -> pd.DataFrame:
    """Return the runs of an adopted plan's table that are not built."""
    return table[table["status"] == "planned"].reset_index(drop=True)
