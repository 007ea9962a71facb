"""Do factors act through a derived quantity? The quantity is put in the place of its parts, and the evidence compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from doe.coding import Coding
from doe.fit.active import search
from doe.fit.evidence import Evidence
from doe.fit.passes import Fitted
from doe.fit.priors import Prior
from doe.fit.whiten import usable_terms, whiten
from doe.model.errors import DataError, listed
from doe.model.limit import Derived
from doe.model.outcome import Outcome
from doe.model.wording import capital, number, spaced

COLUMNS = ["quantity", "parts", "odds", "finding"]
CLEAR = 3.0
_MOST_ODDS = 1e6


def act_through(
    coding: Coding, derived: Sequence[Derived], evidence: Evidence, fitted: Fitted, prior: Prior
) -> pd.DataFrame:
    """Compare each derived quantity with the factors it is written in.

    Both models are searched on the same whitened builds, so their evidences stand on the same footing (Kass & Raftery 1995,
    J. Amer. Statist. Assoc. 90, 773-795; odds of 3 are where they begin to call evidence positive).

    Parameters
    ----------
    coding : Coding
        Of the factors.
    derived : sequence of Derived
        Quantities to compare; those whose parts did not vary are left out, and those that stood still with all but their parts.
    evidence : Evidence
    fitted : Fitted
        The outcome, fitted by its factors.
    prior : Prior

    Returns
    -------
    DataFrame
        `quantity`; `parts`; `odds`, evidence for the quantity over its parts, missing where some variants have none; `finding`,
        a sentence.
    """
    wide = Coding(coding.factors, tuple(derived))
    varied = set(evidence.varied)
    rows = []
    for quantity in wide.derived:
        parts = [factor.name for factor in coding.factors if factor.name in quantity.parsed.names]
        if quantity.name in wide.unusable or len(varied & set(parts)) < 2:
            continue
        names = [quantity.name, *(name for name in varied if name not in parts)]
        ordered = [name for name in wide.axes if name in names]
        try:
            matrix = wide.matrix(evidence.settings, wide.terms("quadratic", ordered))
        except DataError:  # a division by a setting of 0, say
            rows.append((quantity.name, ", ".join(parts), float("nan"), _without(quantity)))
            continue
        usable = usable_terms(matrix, matrix.terms)[0]
        if not usable:  # it was held where it is, and nothing beside its parts was changed
            continue
        matrix = wide.matrix(evidence.settings, usable)
        replicated = fitted.problem.reading_share < 1.0
        problem = whiten(fitted.builds, matrix, wide, replicated=replicated)
        problem = replace(problem, reading_share=fitted.problem.reading_share)
        floor = prior.scale_df * problem.reading_share * problem.unit**2 if replicated else 0.0
        gain = search(problem, prior, floor=floor).log_evidence - fitted.posterior.log_evidence
        odds = float(np.exp(np.clip(gain, -np.log(_MOST_ODDS), np.log(_MOST_ODDS))))
        moved = bool(fitted.posterior.activity[_places(fitted, parts)].max(initial=0.0) > 0.5)
        changed = [part for part in parts if part in varied]
        rows.append((quantity.name, ", ".join(parts), odds, _finding(quantity, changed, odds, moved, evidence.outcome)))
    return pd.DataFrame(rows, columns=COLUMNS)


def _places(fitted: Fitted, parts: Sequence[str]) -> list[int]:
    return [place for place, term in enumerate(fitted.problem.terms) if set(term.factors) & set(parts)]


def _without(quantity: Derived) -> str:
    return capital(
        f"{spaced(quantity.name)} cannot be computed for some of the variants, so nothing is said of it here."
    )


def _finding(quantity: Derived, parts: Sequence[str], odds: float, moved: bool, outcome: Outcome) -> str:
    """Say what the odds mean of the parts that were changed; nothing where they do not move the outcome at all."""
    if not moved:
        return ""
    who = listed(map(spaced, parts), "and")
    moves, name = f"{who} move {spaced(outcome.name)}", spaced(quantity.name)
    if odds >= CLEAR:
        them = "the two" if len(parts) == 2 else "these"
        return capital(f"{moves} through {name} (odds {_odds(odds)} over {them} by themselves).")
    if odds <= 1.0 / CLEAR:
        return capital(f"{moves} otherwise than through {name} (odds {_odds(1.0 / odds)} against it).")
    return f"Whether {moves} through {name} or by themselves cannot be told yet."


def _odds(odds: float) -> str:
    return "over a million to 1" if odds >= _MOST_ODDS * 0.999 else f"{number(odds, 2)} to 1"
