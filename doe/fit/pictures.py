"""Frames for charts and reports: level means, cells of interactions, sources of scatter, adjusted builds."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtrit

from doe.fit.builds import Builds
from doe.fit.estimates import Averages, level_profiles, profile_rows
from doe.fit.evidence import Evidence
from doe.fit.reml import Reml
from doe.fit.whiten import Problem

Array = npt.NDArray[Any]

WORTH_SEEING = 0.25
MOST_CELLS = 6


def levels_of(average: Averages) -> pd.DataFrame:
    """Mean outcome at each setting worth naming, others at their middle: `factor, level, mean, low, high`."""
    names = [name for name in average.coding.axes if any(name in term.factors for term in average.terms)]
    labels: list[tuple[str, str]] = []
    rows = []
    for name in names:
        texts, columns = level_profiles(average.coding, name)
        labels += [(name, text) for text in texts]
        rows.append(profile_rows(average, columns))
    frame = pd.DataFrame(labels, columns=["factor", "level"])
    if rows:
        spread = average.mean_at(np.vstack(rows))
        frame["mean"], frame["low"], frame["high"] = spread.mean, spread.quantile(0.025), spread.quantile(0.975)
    return frame


def cells_of(average: Averages) -> pd.DataFrame:
    """Mean outcome at the settings of two factors whose interaction may be active, the likeliest first."""
    activity = average.posterior.activity
    places = [
        place
        for place in np.argsort(-activity, kind="stable")
        if len(average.terms[place].factors) == 2 and activity[place] >= WORTH_SEEING
    ]
    labels: list[tuple[str, str, str]] = []
    rows = []
    for place in places[:MOST_CELLS]:
        term = average.terms[place]
        first, second = term.factors
        texts, columns = level_profiles(average.coding, first)
        others, other_columns = level_profiles(average.coding, second)
        a, b = np.repeat(np.arange(len(texts)), len(others)), np.tile(np.arange(len(others)), len(texts))
        joined = {name: np.zeros((len(a), axis.width)) for name, axis in average.coding.axes.items()}
        joined[first], joined[second] = columns[first][a], other_columns[second][b]
        labels += [(term.name, texts[i], others[j]) for i, j in zip(a, b, strict=True)]
        rows.append(profile_rows(average, joined))
    frame = pd.DataFrame(labels, columns=["term", "first", "second"])
    spread = average.mean_at(np.vstack(rows)) if rows else None
    none = np.zeros(0)
    frame["mean"] = spread.mean if spread else none
    frame["low"] = spread.quantile(0.025) if spread else none
    frame["high"] = spread.quantile(0.975) if spread else none
    return frame


def variance_of(model: Reml | None, reading_sd: float, problem: Problem) -> pd.DataFrame:
    """List the sources of scatter and their shares of it: `source, sd, share`; a source that was not looked at is absent."""
    if model is None:
        source = "reading" if problem.reading_share < 1.0 else "build and reading together"
        return pd.DataFrame({"source": [source], "sd": [reading_sd], "share": [1.0]})
    names = {"variant": "build"}
    sds = {names.get(name, name): model.sd_of(name) for name in model.names}
    sds["reading" if "variant" in model.names else "build and reading together"] = model.sigma
    frame = pd.DataFrame({"source": list(sds), "sd": list(sds.values())})
    frame["share"] = frame["sd"] ** 2 / max(float((frame["sd"] ** 2).sum()), 1e-300)
    return frame.sort_values("share", ascending=False, kind="stable").reset_index(drop=True)


def variants_of(evidence: Evidence, builds: Builds, average: Averages, rows: Array) -> pd.DataFrame:
    """Each build adjusted for session and rater, with what its settings would give."""
    reach = float(stdtrit(max(average.posterior.df, 1.0), 0.975)) * np.sqrt(np.diag(builds.reading))
    return pd.DataFrame(
        {
            "variant": evidence.variants[: evidence.n_built],
            "mean": builds.means,
            "low": builds.means - reach,
            "high": builds.means + reach,
            "readings": evidence.total(evidence.variant, len(evidence.variants))[: evidence.n_built].astype(int),
            "fitted": average.at(rows).mean,
        }
    )
