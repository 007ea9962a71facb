"""Variance components by REML against lme4's published results, and degrees of freedom against R's lmerTest."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from doe.fit.degrees import satterthwaite
from doe.fit.reml import Crossproducts, Grouping, Reml, fit_reml
from tests.published.cases import case, row

# R 4.2.2, lmerTest 3.1-3: summary(lmer(..., REML = TRUE))$coefficients[, "df"]
LMERTEST_DF = {
    "penicillin_crossed": [5.486592],
    "pastes_nested": [9.0],
    "sleepstudy_random_slopes": [16.99973, 16.99998],
}


@cache
def fits() -> dict[str, tuple[Reml, float]]:
    """Fit the three cases; the second item is what was taken off the observations."""
    penicillin, pastes, sleep = (case(name).data for name in LMERTEST_DF)
    days = np.column_stack([np.ones(len(sleep)), sleep["Days"].to_numpy(dtype=float)])
    return {
        "penicillin_crossed": _fit(
            penicillin["diameter"], None, [_grouping(penicillin, "plate"), _grouping(penicillin, "sample")]
        ),
        "pastes_nested": _fit(pastes["strength"], None, [_grouping(pastes, "sample"), _grouping(pastes, "batch")]),
        "sleepstudy_random_slopes": _fit(sleep["Reaction"], days, [_grouping(sleep, "Subject", days)]),
    }


def _grouping(data: pd.DataFrame, name: str, covariates: Any = None) -> Grouping:
    codes, names = pd.factorize(data[name])
    return Grouping(name, codes, len(names), covariates)


def _fit(y: pd.Series, X: Any, groupings: list[Grouping]) -> tuple[Reml, float]:
    values = y.to_numpy(dtype=float)
    X = np.ones((len(values), 1)) if X is None else X
    return fit_reml(Crossproducts(X, values - values.mean(), groupings)), float(values.mean())


def rows() -> list[dict[str, Any]]:
    """Variances, fixed effects with standard errors, the criterion, and degrees of freedom."""
    found = []
    for name, (model, mean) in fits().items():
        published = case(name)
        n_fixed = len(model.coefficients)
        estimates = model.coefficients + np.append(mean, np.zeros(n_fixed - 1))
        errors = np.sqrt(np.diag(model.covariance))
        ours = {"REML|var|Residual": model.sigma**2, "REML|REMLcrit": model.deviance}
        for grouping in model.names:
            covariance = model.variance_of(grouping)
            ours[f"REML|var|{grouping}:(Intercept)"] = covariance[0, 0]
            if len(covariance) > 1:
                ours[f"REML|var|{grouping}:Days"] = covariance[1, 1]
                correlation = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
                ours[f"REML|sd_or_cor|{grouping}:(Intercept):Days"] = correlation
        for place, term in enumerate(["(Intercept)", "Days"][:n_fixed]):
            ours[f"REML|fixed|{term}|Estimate"] = estimates[place]
            ours[f"REML|fixed|{term}|Std. Error"] = errors[place]
        for what, value in ours.items():
            known = published.find(what)
            assert known.tolerance is not None
            check = f"{name}: {what.removeprefix('REML|').replace('|', ' ')}"
            found.append(row(check, published.citation, known.value, float(value), known.tolerance, known.origin))
        df = satterthwaite(model, np.eye(n_fixed))
        for place, theirs in enumerate(LMERTEST_DF[name]):
            check = f"{name}: degrees of freedom {place + 1}"
            found.append(
                row(check, "R 4.2.2, lmerTest 3.1-3", theirs, float(df[place]), 0.01 * theirs, "general library")
            )
    return found
