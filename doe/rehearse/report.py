"""What rehearsals showed, as the section of `reports/benchmarks.md` that a command writes."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from doe.model import wording
from doe.rehearse.nature import WHERE_SOMETHING_MATTERS
from doe.rehearse.summaries import FRONTIER, chance_figures, claim_figures, outcomes_by_strategy, ratios
from doe.rehearse.targets import TARGET_HEADINGS, targets

RATIO_HEADINGS = ("strategy", *WHERE_SOMETHING_MATTERS, "all five")
CHANCE_HEADINGS = ("chance", "builds", "told, on average", "came so")
OUTCOME_HEADINGS = (
    "strategy", "family", "minutes", "reached", "finally right", "regret", "stopped", "right when stopping"
)  # fmt: skip


def section(plays: pd.DataFrame, *, hours: float, command: str) -> str:
    """Write the section on rehearsals.

    Parameters
    ----------
    plays : DataFrame
        Rows from `run.one_row`.
    hours : float
        Bench hours of each play.
    command : str
        That produced it, quoted so that the figures can be had again.
    """
    seeds, ahead = plays["seed"], plays["seed"][plays["strategy"] == FRONTIER]
    lines = [
        "## Rehearsal: simulated benches with a written-down truth",
        "",
        f"Written by `{command}`. {plays.groupby('family')['seed'].nunique().min()} benches a family, seeds {seeds.min()} to "
        f"{seeds.max()}, {hours:g} bench hours, the same benches for every strategy; the frontier, told which terms are real, "
        f"on {ahead.nunique()} of them. No seed from 5000 on ever served for tuning. A variant counts as right from 90 % of "
        "the worth of the best design on, judged by the truth; minutes are those until the first right declaration, capped at "
        "the end. Intervals: paired percentile bootstrap over benches, 95 %.",
        "",
        "### Targets",
        "",
        *_table([target.cells for target in targets(plays)], TARGET_HEADINGS),
        "",
        "### Minutes, as a share of what each other strategy needs",
        "",
        *_table(_ratio_cells(ratios(plays)), RATIO_HEADINGS),
        "",
        "### What came of it",
        "",
        *_table(_outcome_cells(outcomes_by_strategy(plays)), OUTCOME_HEADINGS),
        "",
        "### Claims (*moves it*) at the end of each advised log",
        "",
        *_table(_claim_cells(claim_figures(plays)), ["figure", "share"]),
        "",
        "### Chances that the next build is better than the best so far, as told and as they came",
        "",
        *_table(_chance_cells(chance_figures(plays)), CHANCE_HEADINGS),
        "",
    ]
    return "\n".join(lines)


def _ratio_cells(frame: pd.DataFrame) -> list[list[str]]:
    rows = []
    for strategy, part in frame.groupby("strategy", sort=False):
        by_family = part.set_index("family")
        cells = [str(strategy)]
        for family in (*WHERE_SOMETHING_MATTERS, "all"):
            row = by_family.loc[family] if family in by_family.index else None
            cells.append("-" if row is None else f"{row['ratio']:.2f} ({row['low']:.2f} to {row['high']:.2f})")
        rows.append(cells)
    return rows


def _claim_cells(figures: dict[str, float]) -> list[list[str]]:
    return [[name.replace("_", " "), wording.percent(value)] for name, value in figures.items()]


def _chance_cells(frame: pd.DataFrame) -> list[list[str]]:
    return [
        [
            row["band"], str(row["chances"]), wording.percent(row["told"]),
            f"{wording.percent(row['came'])} ({wording.percent(row['low'])} to {wording.percent(row['high'])})",
        ]
        for row in frame.to_dict("records")
    ]  # fmt: skip


def _outcome_cells(frame: pd.DataFrame) -> list[list[str]]:
    return [
        [
            row["strategy"], row["family"], wording.fixed(row["minutes"], 0), wording.percent(row["reached"]),
            wording.percent(row["finally_right"]), wording.fixed(row["regret"], 3), wording.percent(row["stopped"]),
            wording.percent(row["stop_right"]),
        ]
        for row in frame.to_dict("records")
    ]  # fmt: skip


def _table(rows: Sequence[Sequence[str]], headings: Sequence[str]) -> list[str]:
    return [f"| {' | '.join(cells)} |" for cells in [headings, ["---"] * len(headings), *rows]]
