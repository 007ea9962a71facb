"""Plans as text columns, and refusals in the words of the command."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from doe.cli.screen import table

if TYPE_CHECKING:
    import pandas as pd

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
