"""Plans and routes as text columns, and as the plain data that ``--json`` prints."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from doe.cli.screen import table

if TYPE_CHECKING:
    import pandas as pd

    from doe.advise.route import Route
    from doe.plans import Plan, PlanChoice

_OF_A_PLAN = (
    "kind",
    "headline",
    "confounded",
    "precision",
    "efficiency",
    "facts",
    "notes",
    "scatter",
    "matters",
    "seed",
)
_OF_A_ROUTE = (
    "headline", "units", "randomised", "minutes", "least_minutes", "bound", "is_proven", "new_units", "reading_minutes",
    "shuffle", "notes",
)  # fmt: skip


_ARGUMENTS = (
    "kind", "model", "runs", "hours", "blocks", "session_runs", "replicates", "centre", "units", "fold", "scatter", "matters",
    "starts", "seed", "shuffle", "new_units",
)  # fmt: skip


def in_options(message: str) -> str:
    """Turn a refusal that names arguments of `doe.plan` into one that names options of the command.

    Examples
    --------
    >>> in_options("blocks is 20; use kind='d-optimal' with blocks=3.")
    '--blocks is 20; use --kind d-optimal with --blocks 3.'
    """

    def option(found: re.Match[str]) -> str:
        value = found[2] if found.lastindex == 2 else ""
        return f"--{found[1].replace('_', '-')} {value}".rstrip()

    words = "|".join(_ARGUMENTS)
    message = re.sub(rf"\b({words})='?([\w-]+)'?", option, message.replace("existing=", "--beside-log"))
    message = re.sub(rf"\b({words})=", option, message)
    message = re.sub(rf"^({words})(?= (?:is|belongs|names) )", option, message)
    return re.sub(r"(?<=leave )(runs|blocks)(?= out)", option, message)


def run_lines(runs: pd.DataFrame) -> list[str]:
    """Return the runs of a plan in columns."""
    rows = [list(row) for row in runs.itertuples(index=False)]
    return table([str(name) for name in runs.columns], rows).splitlines()


def as_plan(made: Plan) -> dict[str, Any]:
    """Return everything a plan holds, at full precision."""
    return {
        "runs": made.table,
        "apart": made.separation.sentences,
        **{name: getattr(made, name) for name in _OF_A_PLAN},
    }


def as_choice(choice: PlanChoice) -> dict[str, Any]:
    """Return everything a comparison of plans holds, at full precision."""
    return {
        "headline": choice.headline,
        "reason": choice.reason,
        "plans": choice.table,
        "left_out": choice.left_out,
        "was_stopped": choice.was_stopped,
        "recommended": as_plan(choice.plan),
    }


def as_route(found: Route) -> dict[str, Any]:
    """Return everything a route holds, at full precision."""
    return {"steps": found.table, **{name: getattr(found, name) for name in _OF_A_ROUTE}}
