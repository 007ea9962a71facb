"""Graded and compared outcomes against published fits."""

from __future__ import annotations

from typing import Any

import numpy as np

from doe.fit.ordered import OrderedFit, fit_ordered
from doe.fit.paired import Pairs, fit_pairs
from tests.published.cases import case, row

COLUMNS = {
    "InflMedium": ("Infl", "Medium"),
    "InflHigh": ("Infl", "High"),
    "TypeApartment": ("Type", "Apartment"),
    "TypeAtrium": ("Type", "Atrium"),
    "TypeTerrace": ("Type", "Terrace"),
    "ContHigh": ("Cont", "High"),
}


def housing() -> OrderedFit:
    """Satisfaction of householders, by influence, type of housing and contact."""
    data = case("housing_satisfaction_polr").data
    X = np.column_stack([(data[name] == level).to_numpy(dtype=float) for name, level in COLUMNS.values()])
    grades = data["Sat"].map({"Low": 0, "Medium": 1, "High": 2}).to_numpy(dtype=np.intp)
    return fit_ordered(X, grades, data["Freq"].to_numpy(dtype=float))


def _housing_rows() -> list[dict[str, Any]]:
    published, fit = case("housing_satisfaction_polr"), housing()
    errors = np.sqrt(np.diag(fit.covariance))
    ours: dict[str, float] = {"residual deviance": -2 * fit.log_likelihood}
    for place, name in enumerate(COLUMNS):
        ours[f"{name} estimate"], ours[f"{name} standard error"] = float(fit.coefficients[place]), float(errors[place])
    for place, name in enumerate(("Low|Medium", "Medium|High")):
        ours[f"threshold {name}"], ours[f"threshold SE {name}"] = float(fit.thresholds[place]), float(errors[6 + place])
    found = []
    for what, value in ours.items():
        known = published.find(what)
        found.append(
            row(f"housing: {what}", published.citation, known.value, value, known.tolerance or 0, known.origin)
        )
    return found


def journals() -> Pairs:
    """Four journals compared by citations."""
    data = case("bradley_terry_paired_comparisons").data
    items = {f"J{place + 1}": place for place in range(4)}
    first, second = data["item1"].map(items).to_numpy(), data["item2"].map(items).to_numpy()
    return Pairs(first, second, data["win1"].to_numpy(float), data["win2"].to_numpy(float), np.zeros(len(data)), 4)


def _journal_rows() -> list[dict[str, Any]]:
    published, pairs = case("bradley_terry_paired_comparisons"), journals()
    fit = fit_pairs(pairs, np.eye(4)[:, 1:])
    errors = np.sqrt(np.diag(fit.covariance))
    found = []
    for place in range(3):
        for what, ours in (
            (f"ability J{place + 2} (J1 = 0)", fit.coefficients),
            (f"standard error J{place + 2}", errors),
        ):
            known = published.find(what)
            found.append(
                row(
                    f"journals: {what}",
                    published.citation,
                    known.value,
                    float(ours[place]),
                    known.tolerance or 0,
                    known.origin,
                )
            )
    known = published.find("preference probability J4 over J3")
    chance = 1.0 / (1.0 + np.exp(fit.coefficients[1] - fit.coefficients[2]))
    found.append(row(f"journals: {known.what}", published.citation, known.value, float(chance), 1e-6, known.origin))
    return found


def rows() -> list[dict[str, Any]]:
    """Both cases."""
    return [*_housing_rows(), *_journal_rows()]
