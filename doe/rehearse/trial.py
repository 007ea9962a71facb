"""Is a change of the engine any better? ``python -m doe.rehearse.trial FIRST LAST NEW.csv [OLD.csv]``.

Plays our strategy on seeds kept for tuning, each bench only until a variant is rightly declared, which takes a third of a
whole rehearsal, and pairs the minutes with those of an earlier engine on the same benches. Minutes have heavy tails: to see
a difference of 5 % takes some 400 benches.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from doe.model import wording
from doe.model.errors import UsageError
from doe.rehearse.benches import bench
from doe.rehearse.benchmark import FIRST_SEED
from doe.rehearse.nature import WHERE_SOMETHING_MATTERS, Family
from doe.rehearse.run import HOURS, play
from doe.rehearse.strategies import Advised

KEYS = ["family", "seed"]


def minutes_to_right(family: Family, seed: int, hours: float = HOURS) -> dict[str, object]:
    """Play one bench; return family, seed, and the minutes to the first right declaration, or all there are."""
    last = play(bench(family, seed), Advised(), hours, until_right=True)
    entry = last.trace[-1]
    return {"family": family, "seed": seed, "minutes": entry["minutes"] if last.is_right else 60 * hours}


def paired(new: pd.DataFrame, old: pd.DataFrame, hours: float = HOURS) -> pd.DataFrame:
    """Pair two engines bench by bench.

    Parameters
    ----------
    new, old : DataFrame
        Columns ``family, seed, minutes``.
    hours : float
        Time there was; who took all of it ran out.

    Returns
    -------
    DataFrame
        One row per family and one for all: ``benches``, ``minutes`` of the new engine, its mean ``difference`` from the old
        with standard ``error``, and on how many benches each ran out of time.

    Raises
    ------
    UsageError
        If they have no bench in common.
    """
    both = new[[*KEYS, "minutes"]].merge(old[[*KEYS, "minutes"]], on=KEYS, suffixes=("", "_old"))
    if both.empty:
        raise UsageError("The two files have no bench in common; play the seeds of the earlier one.")
    groups = [*both.groupby("family"), ("all", both)]
    rows = [{"family": name, **_compared(group, 60 * hours)} for name, group in groups]
    return pd.DataFrame(rows)


def _compared(both: pd.DataFrame, most: float) -> dict[str, float]:
    differences = both["minutes"] - both["minutes_old"]
    return {
        "benches": len(both),
        "minutes": both["minutes"].mean(),
        "difference": differences.mean(),
        "error": differences.std() / len(both) ** 0.5,
        "out_of_time": int((both["minutes"] >= most).sum()),
        "out_of_time_old": int((both["minutes_old"] >= most).sum()),
    }


def main(arguments: Sequence[str]) -> None:
    """Play the benches that the file lacks, and print the pairs.

    Raises
    ------
    UsageError
        If a seed is one that reports are made on.
    """
    from joblib import Parallel, delayed

    first, last, kept = int(arguments[0]), int(arguments[1]), Path(arguments[2])
    if last >= FIRST_SEED:
        raise UsageError(f"Seeds from {FIRST_SEED} on are reported on, never tuned on; end below.")
    plays = pd.read_csv(kept) if kept.exists() else pd.DataFrame(columns=[*KEYS, "minutes"])
    done = set(plays[KEYS].itertuples(index=False, name=None))
    every = [(family, seed) for seed in range(first, last + 1) for family in WHERE_SOMETHING_MATTERS]
    rows = Parallel(n_jobs=-1)(delayed(minutes_to_right)(*task) for task in every if task not in done)
    if rows:
        plays = pd.concat([plays, pd.DataFrame(rows)], ignore_index=True) if len(plays) else pd.DataFrame(rows)
        plays.to_csv(kept, index=False)
    if len(arguments) > 3:
        text = paired(plays, pd.read_csv(arguments[3])).round(1).to_string(index=False)
    else:
        text = f"{wording.counted(len(plays), 'bench', 'benches')}, {wording.duration(plays['minutes'].mean())} on average."
    sys.stdout.write(f"{text}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
