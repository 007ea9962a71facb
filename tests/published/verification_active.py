"""Which factors are active: Box & Meyer's own priors on published screening cases, and Fettle's default prior."""

from __future__ import annotations

from typing import Any

import numpy as np

from doe.fit.factor_search import active_factors
from tests.published.cases import case, row
from tests.published.verification_effects import study

LETTERS = "ABCDEFGH"

# The published active set of each case, by the names in data.csv; what its source says is active.
ACTIVE = {
    "bhh_pilot_plant_2_3": (
        "yield",
        ["temperature", "concentration", "catalyst"],
        ["temperature", "concentration", "temperature:catalyst"],
    ),
    "bhh_process_2_4": (
        "conversion",
        ["catalyst_charge", "temperature", "pressure", "concentration"],
        ["catalyst_charge", "temperature", "concentration", "temperature:concentration"],
    ),
    "bhh_reactor_2_5_and_half": (
        "reacted",
        ["feed_rate", "catalyst", "agitation", "temperature", "concentration"],
        ["catalyst", "temperature", "concentration", "catalyst:temperature", "temperature:concentration"],
    ),
    "montgomery_filtration_2_4": ("rate", list("ABCD"), ["A", "C", "D", "A:C", "A:D"]),
    "nist_eddy_current_2_3": (
        "sensitivity",
        ["turns_coded", "distance_coded", "gauge_coded"],
        ["turns_coded", "distance_coded"],
    ),
    "nist_ceramic_2_5": ("strength", ["speed", "rate", "grit", "direction", "batch"], ["direction", "batch", "grit"]),
    "nist_catapult_2_5_1": (
        "distance",
        ["height", "start", "bands", "length", "stop"],
        ["height", "start", "bands", "length", "stop"],
    ),
    "montgomery_ccd_yield": ("yield", ["x1", "x2"], ["x1", "x2", "x1^2", "x2^2"]),
}


def _published_prior() -> list[dict[str, Any]]:
    """Injection moulding: p = 0.25, gamma = 2, interactions to order three, up to five factors; in print to 0.001."""
    published = case("injection_moulding_2_8_4")
    X = published.data[list(LETTERS)].to_numpy(dtype=float)
    found = active_factors(X, published.data["shrinkage"].to_numpy(dtype=float))
    rows = []
    for known in published.known:
        if known.what.startswith("posterior probability of model "):
            chosen = tuple(LETTERS.index(letter) for letter in known.what.split(" ")[-1])
            ours = float(found.probabilities[found.sets.index(chosen)])
            rows.append(
                row(
                    f"injection moulding: {known.what}",
                    published.citation,
                    known.value,
                    ours,
                    known.tolerance or 0,
                    known.origin,
                )
            )
        if known.what.startswith("posterior probability that factor ") and "below" not in known.what:
            ours = float(found.activity[LETTERS.index(known.what.split(" ")[4])])
            rows.append(
                row(
                    f"injection moulding: {known.what}",
                    published.citation,
                    known.value,
                    ours,
                    known.tolerance or 0,
                    known.origin,
                )
            )
    largest = max(float(found.activity[LETTERS.index(letter)]) for letter in "BDFG")
    rows.append(
        row("injection moulding: largest probability of B, D, F, G", published.citation, 0.0, largest, 0.02, "derived")
    )
    return rows


def _default_prior() -> list[dict[str, Any]]:
    """Each published active term must be more likely active than not; the figure is the least of their probabilities."""
    rows = []
    for name, (response, factors, active) in ACTIVE.items():
        activity = study(name, response, factors).table.set_index("term")["activity"]
        least = float(np.min([activity[term] for term in active]))
        shortfall = max(0.0, 0.5 - least)
        rows.append(
            {
                "check": f"{name}: least probability of {', '.join(active)} (default prior)",
                "source": case(name).citation,
                "published": "active (more than 0.5)",
                "ours": round(least, 3),
                "difference": shortfall,
                "tolerance": 0.0,
            }
        )
    return rows


def rows() -> list[dict[str, Any]]:
    """All checks of activity."""
    return [*_published_prior(), *_default_prior()]
