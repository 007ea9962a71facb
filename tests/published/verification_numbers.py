"""Accuracy of the arithmetic: NIST Statistical Reference Datasets, linear regression and analysis of variance.

The figure of merit is the number of correct significant digits, minus log10 of the relative error (McCullough 1998, The
American Statistician 52, 358-366); a certified zero is compared absolutely.
"""

from __future__ import annotations

import csv
from decimal import Decimal
from typing import Any

import numpy as np

from doe.fit.least_squares import LeastSquares, least_squares
from tests.published.cases import FOLDER, Case, case

REGRESSIONS = ["norris", "pontius", "noint1", "noint2", "longley", *(f"wampler{place}" for place in range(1, 6))]
VARIANCES = ["sirstv", "atmwtag", *(f"smls0{place}" for place in (1, 3, 4, 6, 7, 9))]
HARDEST = {"longley", "wampler1", "wampler2", "wampler3", "wampler4", "wampler5", "smls07", "smls09"}
EASY_DIGITS, HARD_DIGITS = 9.0, 7.0


def digits(ours: float, certified: float) -> float:
    """Count correct significant digits, at most 15."""
    if certified == 0:
        return min(15.0, -np.log10(max(abs(ours), 1e-15)))
    return float(min(15.0, -np.log10(max(abs(ours - certified) / abs(certified), 1e-15))))


def regression(name: str) -> tuple[Case, LeastSquares]:
    """Fit a regression set by its certified model."""
    published = case(f"strd_{name}")
    y = published.data["y"].to_numpy(dtype=float)
    columns = [column for column in published.data.columns if column != "y"]
    X = published.data[columns].to_numpy(dtype=float)
    if name.startswith(("wampler", "pontius")):
        X = X[:, :1] ** np.arange(1, 6 if name.startswith("wampler") else 3)
    if not name.startswith("noint"):
        X = np.column_stack([np.ones(len(y)), X])
    return published, least_squares(X, y)


def one_way(name: str) -> tuple[Case, float, LeastSquares]:
    """Fit a one-way set; returns the case, the sum of squares about the mean, and the fit."""
    published = case(f"strd_{name}")
    with (FOLDER / f"strd_{name}" / "data.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    first = Decimal(rows[0]["y"])
    y = np.array([float(Decimal(record["y"]) - first) for record in rows])
    _, groups = np.unique([record["treatment"] for record in rows], return_inverse=True)
    fit = least_squares(np.eye(groups.max() + 1)[groups], y)
    mean = least_squares(np.ones((len(y), 1)), y)
    return published, mean.rss, fit


def _regression_digits(name: str) -> float:
    published, fit = regression(name)
    first = 1 if name.startswith("noint") else 0
    pairs = [(fit.coefficients[place], f"B{place + first} estimate") for place in range(len(fit.coefficients))]
    sds = fit.sd * np.sqrt(np.diag(fit.unscaled))
    pairs += [(sds[place], f"B{place + first} standard deviation") for place in range(len(sds))]
    pairs.append((fit.sd, "residual standard deviation"))
    return min(digits(float(ours), published.value(what)) for ours, what in pairs)


def _variance_digits(name: str) -> float:
    published, total, fit = one_way(name)
    between = total - fit.rss
    df = len(fit.coefficients) - 1
    ratio = (between / df) / (fit.rss / fit.df)
    pairs = [
        (ratio, "F statistic"),
        (between, "between sum of squares"),
        (fit.rss, "within sum of squares"),
        (fit.sd, "residual standard deviation"),
    ]
    return min(digits(float(ours), published.value(what)) for ours, what in pairs)


def rows() -> list[dict[str, Any]]:
    """One row per data set: the fewest correct digits of all certified figures; the difference is the shortfall."""
    found = []
    for name in (*REGRESSIONS, *VARIANCES):
        measured = _regression_digits(name) if name in REGRESSIONS else _variance_digits(name)
        wanted = HARD_DIGITS if name in HARDEST else EASY_DIGITS
        found.append(
            {
                "check": f"correct digits, {name}",
                "source": case(f"strd_{name}").citation,
                "published": f"at least {wanted:g}",
                "ours": round(measured, 1),
                "difference": max(0.0, wanted - measured),
                "tolerance": 0.0,
            }
        )
    return found
