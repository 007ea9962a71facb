"""Does the engine keep its promises? Many simulated histories, judged by their written-down truth.

Run ``python -m doe.rehearse.calibration`` from the top of the repository: it judges 1,000 free histories (every fifth with
nothing going on), 200 steered ones, 200 in which four modest effects act and 200 over several units, and writes its section
of `reports/verification.md`.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.advise.compare import compare
from doe.coding import Term
from doe.fit import Effects, analyse
from doe.model.wording import MOVES
from doe.rehearse.histories import (
    OUTCOME,
    Bench,
    Truth,
    draw_modest_truth,
    draw_rebuilt_truth,
    draw_truth,
    free_history,
    random_settings,
    rebuilt_history,
    steered_history,
)

Array = npt.NDArray[Any]

NEAR = 0.02
"""A miss of less than this share of the outcome's range counts as covered by a model-averaged interval."""

_NEW_BUILDS = 5
_PAIRS = 4
_FREE = ("free", "nothing")
_EARLY = 4
"""Variants after which pairs are compared a first time."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What many histories showed.

    Attributes
    ----------
    terms : DataFrame
        One row per history and term: `seed, family, term, is_main, is_rebuild` (only a rebuild changes the factor), `is_true,
        activity, verdict, miss` (share of the range by which the model-averaged interval missed the true swing; NaN where the
        truth is no single swing).
    early : DataFrame
        The same, of the first few variants alone.
    classical : DataFrame
        One row per history and term of the classical fit: `seed, family, covered`.
    builds : DataFrame
        One row per prediction for settings: `seed, family, covered, mean_covered`, the value of one new build and the mean over
        builds.
    pairs : DataFrame
        One row per comparison of two variants as built: `seed, family, n_variants, covered`.
    """

    terms: pd.DataFrame
    early: pd.DataFrame
    classical: pd.DataFrame
    builds: pd.DataFrame
    pairs: pd.DataFrame

    def summary(self) -> pd.DataFrame:
        """One row per promise: `promise, measured, target, count`."""
        rows = [
            _line("classical 95 % intervals cover, free histories", self.classical["covered"], "93 to 97 %"),
            *self._averaged(),
            *(
                _line(f"new-build 95 % predictions cover, {family}", group["covered"], "93 to 97 %")
                for family, group in self.builds.groupby("family")
            ),
            *(
                _line(
                    f"95 % predictions of the mean at settings cover, {family}", group["mean_covered"], "at least 93 %"
                )
                for family, group in self.builds.groupby("family")
            ),
            *self._compared(),
            *self._claims(),
        ]
        return pd.DataFrame(rows)

    def _averaged(self) -> list[dict[str, Any]]:
        mains, early = (terms[terms["is_main"] & terms["miss"].notna()] for terms in (self.terms, self.early))
        rows = []
        rebuild = mains[mains["is_rebuild"]].assign(family="rebuilt, what only a rebuild changes")
        early = early.assign(family=f"{_EARLY} variants read")
        for family, group in pd.concat([mains, rebuild, early]).groupby("family"):
            text = (
                f"model-averaged 95 % intervals of main effects cover (misses under 2 % of the range aside), {family}"
            )
            rows.append(_line(text, group["miss"] < NEAR, "at least 93 %"))
        return rows

    def _compared(self) -> list[dict[str, Any]]:
        early = self.pairs["n_variants"] == _EARLY
        text = "95 % intervals for the difference of two variants as built hold"
        rows = [_line(f"{text}, {_EARLY} variants read", self.pairs["covered"][early], "at least 93 %")]
        for family, group in self.pairs[~early].groupby("family"):
            rows.append(_line(f"{text}, {family}", group["covered"], "at least 93 %"))
        return rows

    def _claims(self) -> list[dict[str, Any]]:
        sure = self.terms[self.terms["activity"] >= 0.9]
        rows = [_line("terms with activity 0.9 or more that are truly active", sure["is_true"], "at least 90 %")]
        active = self.terms[self.terms["is_true"] & self.terms["is_main"]]
        for family, group in active.groupby("family"):
            text = f"active main effects that are said to move it, {family}"
            rows.append(_line(text, group["verdict"] == MOVES, "(reported)"))
        nothing = self.terms[self.terms["family"] == "nothing"]
        any_claim = nothing.assign(claim=nothing["verdict"] == MOVES).groupby("seed")["claim"].any()
        rows.append(_line("histories with nothing going on that claim anything", any_claim, "at most 5 %"))
        idle = self.terms[self.terms["is_rebuild"] & ~self.terms["is_true"]]
        rows.append(_line("idle rebuild factors that are claimed, rebuilt", idle["verdict"] == MOVES, "at most 5 %"))
        return rows

    def reliability(self) -> pd.DataFrame:
        """Claimed against true activity by decile: `decile, count, claimed, true`."""
        free = self.terms[self.terms["family"].isin(_FREE)]
        decile = np.minimum((free["activity"] * 10).astype(int), 9)
        grouped = free.groupby(decile)
        frame = grouped.agg(count=("activity", "size"), claimed=("activity", "mean"), true=("is_true", "mean"))
        return frame.rename_axis("decile").reset_index()


def calibrate(families: Mapping[str, Sequence[int]], *, jobs: int = 1) -> Calibration:
    """Judge histories.

    Parameters
    ----------
    families : mapping of str to sequence of int
        Seeds of each family: "free", "nothing" (free with no active factor), "modest", "rebuilt" or "steered".
    jobs : int
        Processes.
    """
    from joblib import Parallel, delayed

    tasks = [(family, seed) for family, seeds in families.items() for seed in seeds]
    found = Parallel(n_jobs=jobs)(delayed(judge)(family, seed) for family, seed in tasks)
    terms, early, classical, builds, pairs = (
        pd.concat(frames, ignore_index=True) for frames in zip(*found, strict=True)
    )
    return Calibration(terms, early, classical[classical["family"].isin(_FREE)], builds, pairs)


def judge(family: str, seed: int) -> tuple[pd.DataFrame, ...]:
    """Play and judge one history; return the frames of `Calibration` in their order."""
    rng = np.random.default_rng([seed, len(family)])
    bench = _history(family, rng)
    truth = bench.truth
    log, factors = bench.log, truth.coding.factors
    effects = analyse(log, factors, OUTCOME)
    label: dict[str, Any] = {"seed": seed, "family": family}
    mains = [term.name for term in truth.coding.terms("main") if log[term.factors[0]].nunique() > 1]
    others = [term.name for term in truth.coefficients if not term.is_main and set(term.factors) <= set(mains)]
    exact = analyse(log, factors, OUTCOME, [*mains, *others])
    classical = [{**label, "covered": hit} for hit in _classical_hits(exact, truth)]
    builds = _new_builds(effects, truth, bench.panel, rng)
    early = analyse(log[log["variant"].isin(_names(_EARLY))], factors, OUTCOME)
    pairs = pd.concat([_pairs(bench, early, _EARLY, rng), _pairs(bench, effects, bench.count, rng)])
    terms, of_few = (
        pd.DataFrame([{**label, **_judged_term(row, truth)} for _, row in found.table.iterrows()])
        for found in (effects, early)
    )
    return (
        terms,
        of_few,
        pd.DataFrame(classical, columns=["seed", "family", "covered"]),
        builds.assign(**label),
        pairs.assign(**label),
    )


def _history(family: str, rng: np.random.Generator) -> Bench:
    if family == "rebuilt":
        return rebuilt_history(draw_rebuilt_truth(rng), rng)
    if family == "modest":
        return free_history(draw_modest_truth(rng), rng)
    truth = draw_truth(rng, nothing=family == "nothing")
    return steered_history(truth, rng) if family == "steered" else free_history(truth, rng)


def _judged_term(row: pd.Series[Any], truth: Truth) -> dict[str, Any]:
    term = truth.coding.term(str(row["term"]))
    true = _true_swing(term, truth, row["from"], row["to"])
    miss = max(row["low"] - true, true - row["high"], 0.0) / truth.spread if np.isfinite(row["low"] + true) else np.nan
    return {
        "term": term.name,
        "is_main": term.is_main,
        "is_rebuild": term.is_main and term.factors[0] in truth.rebuild_factors,
        "is_true": truth.is_active(term.name),
        "activity": row["activity"],
        "verdict": row["verdict"],
        "miss": miss,
    }


def _true_swing(term: Term, truth: Truth, start: str, end: str) -> float:
    """Return the true swing between the settings that the result names; NaN for interactions of several columns."""
    b = truth.coefficients.get(term)
    if b is None:
        return 0.0
    axes = [truth.coding.axes[name] for name in term.factors]
    if not term.is_main:
        return float(2 * b[0]) if all(axis.width == 1 for axis in axes) else np.nan
    axis = axes[0]
    if axis.contrasts is None:
        return float(2 * b[0])
    return float((axis.contrasts[axis.levels.index(end)] - axis.contrasts[axis.levels.index(start)]) @ b)


def _classical_hits(effects: Effects, truth: Truth) -> list[bool]:
    """Whether each classical interval of a single-column term covers the truth."""
    hits = []
    table = effects.classical.dropna()
    for name, low, high in zip(table["term"], table["low"], table["high"], strict=True):
        term = truth.coding.term(str(name))
        if all(truth.coding.axes[name].width == 1 for name in term.factors):
            b = truth.coefficients.get(term)
            true = 0.0 if b is None else float(2 * b[0])
            hits.append(bool(low <= true <= high))
    return hits


def _new_builds(effects: Effects, truth: Truth, panel: float, rng: np.random.Generator) -> pd.DataFrame:
    settings = random_settings(truth.coding.factors, _NEW_BUILDS, rng)
    means = truth.mean(settings) + panel
    values = means + rng.normal(0, np.hypot(truth.build_sd, truth.unit_sd), _NEW_BUILDS)
    promised = effects.predict(settings)
    covered = (promised["build_low"] <= values) & (values <= promised["build_high"])
    return pd.DataFrame({"covered": covered, "mean_covered": (promised["low"] <= means) & (means <= promised["high"])})


def _names(n_variants: int) -> list[str]:
    """Return the first variants of a bench."""
    return [f"v{place}" for place in range(n_variants)]


def _pairs(bench: Bench, effects: Effects, n_variants: int, rng: np.random.Generator) -> pd.DataFrame:
    """Compare pairs of the first variants, by the effects of these alone."""
    if effects.basis is None:  # so few may all be alike
        return pd.DataFrame({"n_variants": [], "covered": []})
    names = _names(n_variants)
    settings = {
        row["variant"]: {factor.name: row[factor.name] for factor in bench.truth.coding.factors} for row in bench.rows
    }
    covered = []
    for first, second in rng.permuted(np.tile(np.arange(n_variants), (_PAIRS, 1)), axis=1)[:, :2]:
        one, two = ((names[place], settings[names[place]]) for place in (first, second))
        found = compare([effects], one, two).iloc[0]
        covered.append(found["low"] <= bench.own[second] - bench.own[first] <= found["high"])
    return pd.DataFrame({"n_variants": n_variants, "covered": covered})


def _line(promise: str, hits: Any, target: str) -> dict[str, Any]:
    values = np.asarray(hits, dtype=float)
    return {
        "promise": promise,
        "measured": float(values.mean()) if len(values) else np.nan,
        "target": target,
        "count": len(values),
    }


def section(found: Calibration, counts: Mapping[str, int]) -> str:
    """Return the section of the verification report; `counts` are of histories by family."""
    lines = [
        "## Calibration",
        "",
        f"Written by `python -m doe.rehearse.calibration`: {counts['free']} free histories, {counts['nothing']} with nothing "
        f"going on, {counts['modest']} in which four modest effects act, {counts['rebuilt']} over several units with factors "
        f"that only a rebuild changes, and {counts['steered']} steered by Fettle's own advice; how they are made is written in "
        "`doe/rehearse/histories.py`.",
        "",
        "| promise | measured | target | cases |",
        "|---|---:|---:|---:|",
    ]
    for _, row in found.summary().iterrows():
        lines.append(f"| {row['promise']} | {100 * row['measured']:.1f} % | {row['target']} | {row['count']} |")
    lines += [
        "",
        "Reliability of activity probabilities (free histories):",
        "",
        "| decile | claimed | true | terms |",
        "|---|---:|---:|---:|",
    ]
    for decile, count, claimed, true in found.reliability().itertuples(index=False):
        edges = f"{decile / 10:.1f} to {decile / 10 + 0.1:.1f}"
        lines.append(f"| {edges} | {claimed:.3f} | {true:.3f} | {count} |")
    return "\n".join([*lines, ""])


def main(arguments: Sequence[str]) -> None:
    """Judge the histories and write the section."""
    report = Path(arguments[0] if arguments else "reports/verification.md")
    families = {"free": range(800), "nothing": range(800, 1000), "steered": range(1000, 1200)}
    families |= {"modest": range(200), "rebuilt": range(200)}
    found = calibrate(families, jobs=-1)
    text = report.read_text(encoding="utf-8").split("\n## Calibration", 1)[0].rstrip("\n") if report.exists() else ""
    report.write_text(
        f"{text}\n\n{section(found, {name: len(seeds) for name, seeds in families.items()})}", encoding="utf-8"
    )


if __name__ == "__main__":
    main(sys.argv[1:])
