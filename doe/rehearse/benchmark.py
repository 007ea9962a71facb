"""Write the section on rehearsals of `reports/benchmarks.md`: ``python -m doe.rehearse.benchmark``.

All plays take hours, so they are kept in a file and the command can be run in slices: each run plays what is
missing for so many minutes, then writes the section from what there is. What the textbook strategies did stands in
`reports/textbook_plays.csv`, with which a new file of plays begins: it changes with the benches, not with the engine. What ours
and the frontier did is put beside the report (`own_plays.csv`), so that the next engine can be paired with this one.
"""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path

import pandas as pd

from doe.rehearse.nature import FAMILIES, Family
from doe.rehearse.report import section
from doe.rehearse.run import HOURS, STRATEGIES, one_row
from doe.rehearse.summaries import FRONTIER, OURS

FIRST_SEED = 5000
"""Seeds below are for tuning; the report is on seeds from here on, which nothing was tuned on."""

REPORT = Path("reports/benchmarks.md")
TEXTBOOK = Path("reports/textbook_plays.csv")
"""Plays of the textbook strategies on the seeds reported."""

OWN = "own_plays.csv"
"""Plays of ours and of the frontier, beside the report that is made from them."""

MARK = "\n## Rehearsal"
KEYS = ["family", "seed", "strategy"]


def missing(plays: pd.DataFrame, seeds: Sequence[int], strategies: Sequence[str]) -> Iterator[tuple[Family, int, str]]:
    """List the plays still to be made, seed by seed, so that what there is stays balanced."""
    done = set(plays[KEYS].itertuples(index=False, name=None)) if len(plays) else set()
    for seed in seeds:
        for family in FAMILIES:
            for name in strategies:
                if (family, seed, name) not in done:
                    yield family, seed, name


def complete(plays: pd.DataFrame, strategies: Sequence[str]) -> pd.DataFrame:
    """Keep the seeds that all the strategies have played in every family, and what the frontier played of them."""
    competing = [name for name in strategies if name != FRONTIER]
    mine = plays[plays["strategy"].isin(list(strategies))]
    counts = mine[mine["strategy"].isin(competing)].groupby("seed").size()
    whole = counts.index[counts == len(competing) * len(FAMILIES)]
    return mine[mine["seed"].isin(whole)].sort_values(KEYS, ignore_index=True)


def play_on(
    kept: Path, seeds: Sequence[int], strategies: Sequence[str], minutes: float, jobs: int, hours: float = HOURS
) -> pd.DataFrame:
    """Play what is missing for so many minutes, on so many cores, and return all plays there are."""
    from joblib import Parallel, delayed

    plays = pd.read_csv(kept) if kept.exists() else pd.DataFrame(columns=KEYS)
    waiting, end = missing(plays, seeds, strategies), time.monotonic() + 60 * minutes
    with Parallel(n_jobs=jobs) as pool:
        while time.monotonic() < end:
            rows = pool(delayed(one_row)(*task, hours) for task in islice(waiting, 8 * jobs))
            if not rows:
                break
            plays = pd.concat([plays, pd.DataFrame(rows)], ignore_index=True) if len(plays) else pd.DataFrame(rows)
            kept.parent.mkdir(parents=True, exist_ok=True)
            plays.to_csv(kept, index=False)
    return plays


def write_section(report: Path, text: str) -> None:
    """Put the section in the report in place of an older one; everything else stays."""
    old = report.read_text(encoding="utf-8") if report.exists() else "# Benchmarks\n"
    before, *after = old.split(MARK, 1)
    rest = "" if not after or "\n## " not in after[0] else "\n## " + after[0].split("\n## ", 1)[1]
    report.parent.mkdir(parents=True, exist_ok=True)
    report.write_text(f"{before.rstrip()}\n\n{text.rstrip()}\n{rest}", encoding="utf-8")


def main(arguments: Sequence[str]) -> None:
    """Play on and write the section; arguments: benches a family (100), minutes to play (no end), file of plays, report."""
    from joblib import cpu_count

    given = dict(enumerate(arguments))
    benches, minutes = int(given.get(0, "100")), float(given.get(1, "inf"))
    kept, report = Path(given.get(2, "rehearsals.csv")), Path(given.get(3, str(REPORT)))
    seeds = range(FIRST_SEED, FIRST_SEED + benches)
    if TEXTBOOK.exists() and not kept.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(TEXTBOOK, kept)
    plays = play_on(kept, seeds, list(STRATEGIES), minutes, jobs=cpu_count())
    whole = complete(plays[plays["seed"].isin(list(seeds))], list(STRATEGIES))
    if len(whole):
        whole[whole["strategy"].isin([OURS, FRONTIER])].to_csv(report.with_name(OWN), index=False)
        write_section(report, section(whole, hours=HOURS, command=f"python -m doe.rehearse.benchmark {benches}"))


if __name__ == "__main__":
    main(sys.argv[1:])
