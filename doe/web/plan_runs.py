"""The runs of a plan as a table: as it was made, or, while it is being built, in the order to build them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from doe.charts import text
from doe.charts.rows import Row, rows_of
from doe.model.factor import Factor
from doe.model.wording import capital, duration
from doe.web import urls
from doe.web.plan_contexts import Runs

if TYPE_CHECKING:
    import pandas as pd

    from doe.advise.route import Route
    from doe.plans.result import Plan

_BUILT = "built"
_TURN = "its turn"
"""Column that says when a run is built; no factor can have that name, since it has a blank."""


def runs_of_plan(made: Plan) -> Runs:
    """Return the runs in the order of the plan."""
    return _table([str(name) for name in made.table.columns], rows_of(made.table), made.factors)


def runs_to_build(table: pd.DataFrame, factors: Sequence[Factor], route: Route | None) -> Runs:
    """Return the runs that are left as the route goes, each on the unit that it takes, then what is built.

    Parameters
    ----------
    table : DataFrame
        The runs as they are being built, with `variant` and `status`.
    factors : sequence of Factor
    route : Route or None
        Through everything planned; without one the order is the plan's.
    """
    steps = {str(step["variant"]): step for step in _in_order(route)}
    places = {name: place for place, name in enumerate(steps)}
    rows = rows_of(table)
    left = [row for row in rows if row["status"] != _BUILT]
    left.sort(key=lambda row: places.get(str(row["variant"]), len(places)))
    built = [row for row in rows if row["status"] == _BUILT]
    units = {str(row["variant"]): steps[str(row["variant"])]["unit"] for row in left if str(row["variant"]) in steps}
    told: list[Row] = [
        {**row, _TURN: str(places.get(str(row["variant"]), place) + 1), **_unit(row, units)}
        for place, row in enumerate(left)
    ]
    told += [{**row, _TURN: _BUILT} for row in built]
    columns = [str(name) for name in table.columns if name not in ("order", "status")]
    return _table([_TURN, *columns], told, factors)


def _unit(row: Row, units: Mapping[str, object]) -> dict[str, object]:
    return {"unit": units[str(row["variant"])]} if "unit" in row and str(row["variant"]) in units else {}


def next_build(route: Route | None) -> str:
    """Say what is built first; empty without a route."""
    step = next(iter(_in_order(route)), None)
    if step is None:
        return ""
    what = capital(str(step["what to do"]))
    return f"Next: variant {step['variant']} on {step['unit']}. {what}, {duration(step['minutes'])}."


def _in_order(route: Route | None) -> list[Row]:
    return sorted(rows_of(route.table), key=lambda row: int(row["order"])) if route is not None else []


def _table(columns: list[str], rows: list[Row], factors: Sequence[Factor]) -> Runs:
    units = {factor.name: factor.unit for factor in factors}
    return Runs(
        tuple(_heading(name, units) for name in columns),
        tuple(tuple(text.plain(row[name]) for name in columns) for row in rows),
        tuple(urls.variant(str(row["variant"])) if row.get("variant") else "" for row in rows),
    )


def _heading(name: str, units: Mapping[str, str]) -> str:
    if name == _TURN:
        return "Build"
    if name not in units:
        return name.capitalize()
    return f"{text.name(name)}, {units[name]}" if units[name] else text.name(name)
