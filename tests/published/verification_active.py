"""Which factors are active: Box & Meyer's own priors on published screening cases, and Fettle's default prior."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import numpy.typing as npt

from doe.coding import Term
from doe.fit.swept import Sweeper
from doe.fit.whiten import Problem
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


PROBABILITY, GAMMA, ORDER, LARGEST_SET = 0.25, 2.0, 3, 5
"""Of the published analysis: that a factor is active, the prior scale, interactions of so many factors, active factors."""


def _of(letters: str, largest: int) -> list[str]:
    """List the products of so many of these letters, ``A`` to ``ABC``."""
    sizes = range(1, largest + 1)
    return ["".join(chosen) for size in sizes for chosen in itertools.combinations(letters, size)]


def _screened(X: npt.NDArray[Any], y: npt.NDArray[Any]) -> dict[str, float]:
    """Return the probability of each set of active factors, which brings all their interactions: the engine's own evidence.

    Box & Meyer (1993), J. Qual. Technol. 25, 94-105, eq. 3, for f factors and t terms:

        (p / (1 - p))**f * gamma**-t * |X0'X0|**1/2 |G + X'X|**-1/2 * (S / S0)**-(n - 1)/2
    """
    terms, sets = _of(LETTERS, ORDER), ["", *_of(LETTERS, LARGEST_SET)]
    columns = np.column_stack([X[:, [LETTERS.index(letter) for letter in term]].prod(axis=1) for term in terms])
    columns, values, none = columns - columns.mean(axis=0), y - y.mean(), np.zeros(len(terms))
    problem = Problem(
        terms=tuple(Term(tuple(term)) for term in terms),
        slices={":".join(term): slice(place, place + 1) for place, term in enumerate(terms)},
        changes={}, gram=columns.T @ columns, cross=columns.T @ values, total=float(values @ values), n_rows=len(y),
        ones=len(y), ones_columns=none, ones_values=0.0, unit=1.0, reading_share=1.0,
    )  # fmt: skip
    sweeper = Sweeper(problem, np.array([GAMMA]), 0.0, len(y) - 1.0)
    included = np.array([[set(term) <= set(chosen) for term in terms] for chosen in sets])
    scores = sweeper.log_evidence(sweeper.sweep(included))[0]
    scores += np.log(PROBABILITY / (1 - PROBABILITY)) * np.array([len(chosen) for chosen in sets])
    weights = np.exp(scores - scores.max())
    return dict(zip(sets, (weights / weights.sum()).tolist(), strict=True))


def _published_prior() -> list[dict[str, Any]]:
    """Injection moulding: p = 0.25, gamma = 2, interactions to order three, up to five factors; in print to 0.001."""
    published = case("injection_moulding_2_8_4")
    X = published.data[list(LETTERS)].to_numpy(dtype=float)
    found = _screened(X, published.data["shrinkage"].to_numpy(dtype=float))
    activity = {letter: sum(share for chosen, share in found.items() if letter in chosen) for letter in LETTERS}
    rows = []
    for known in published.known:
        if known.what.startswith("posterior probability of model "):
            ours = found[known.what.split(" ")[-1]]
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
            ours = activity[known.what.split(" ")[4]]
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
    largest = max(activity[letter] for letter in "BDFG")
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
