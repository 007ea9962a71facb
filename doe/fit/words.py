"""Sentences about effects: the headline of an outcome and the line on priors."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from doe.model.errors import listed
from doe.model.outcome import Outcome
from doe.model.wording import MOVES, TANGLED, TOO_SMALL, capital, counted, percent, spaced, spoken

_MOST = 4


def headline(outcome: Outcome, table: pd.DataFrame) -> str:
    """Say in one sentence what moves the outcome, what does not, and what is open."""
    name, verdict = spaced(outcome.name), table["verdict"]
    moves, tied, small = (table[verdict == one] for one in (MOVES, TANGLED, TOO_SMALL))
    mains = [spaced(term) for term in small["term"] if ":" not in term and not term.endswith("^2")]
    parts = []
    if not moves.empty:
        parts.append(f"{capital(name)} follows {_some(_once(moves['term']))}")
    if not tied.empty:
        both = [sorted((spoken(row["term"]), _first_of(row["tangled_with"]))) for _, row in tied.iterrows()]
        pairs = list(dict.fromkeys((first, second) for first, second in both))
        parts.append(f"{'' if parts else f'for {name}, '}{_not_told_apart(pairs)}")
    if mains:
        parts.append(f"{_some(mains)} {'is' if len(mains) == 1 else 'are'} too small to matter")
    if not parts:
        return f"Nothing can be said to move {name} yet."
    sentence = "; ".join(parts)
    return f"{capital(sentence)}."


def open_sizes(table: pd.DataFrame, unordered: Container[str] = ()) -> list[str]:
    """Say of which terms it is sure that they act and open how far they move the outcome on average.

    Parameters
    ----------
    table : DataFrame
        Of an analysis.
    unordered : container of str
        Terms with levels that have no order: no bend can be what they do.
    """
    holds_zero = (table["low"] <= 0) & (table["high"] >= 0)
    found = table["term"][(table["verdict"] == MOVES) & holds_zero]
    groups = (
        ([spoken(term) for term in found if term not in unordered], "the effect bends, or depends on another factor"),
        ([spoken(term) for term in found if term in unordered], "some of its levels may do the same, or it depends on another"
                                                                " factor"),
    )  # fmt: skip
    return [
        f"How far {_some(terms)} {'moves' if len(terms) == 1 else 'move'} it on average is open, though "
        f"{'it acts' if len(terms) == 1 else 'each acts'} for sure: {why}; look at its levels rather than at the average."
        for terms, why in groups
        if terms
    ]


def sensitivity_line(terms: Sequence[str], claimed: Sequence[bool], by_scale: Any, claim: float) -> str:
    """Say whether a claim would fall under another prior size of effects.

    Parameters
    ----------
    terms : sequence of str
    claimed : sequence of bool
        Terms said to move it.
    by_scale : ndarray of shape (n_scales, n_terms)
        Activity under each prior scale alone.
    claim : float
        Activity that a claim needs.
    """
    places = [place for place, is_claimed in enumerate(claimed) if is_claimed]
    if not places:
        return ""
    low, high = np.min(by_scale, axis=0), np.max(by_scale, axis=0)
    weak = [place for place in places if low[place] < claim]
    if not weak:
        return "No claim depends on how large effects were expected to be."
    place = min(weak, key=lambda one: low[one])
    return (
        f"The claim on {spoken(terms[place])} depends on how large effects were expected to be: "
        f"its probability runs from {percent(float(low[place]))} to {percent(float(high[place]))}."
    )


def _once(terms: Iterable[str]) -> list[str]:
    """Say each term once: a factor and its own bend are one, in the place of the larger."""
    found = list(terms)
    both = {term for term in found if f"{term}^2" in found}
    said = [
        f"{spoken(main)} (with a bend)" if (main := term.removesuffix("^2")) in both else spoken(term) for term in found
    ]
    return list(dict.fromkeys(said))


def _first_of(partners: str) -> str:
    return spoken(partners.split(", ")[0])


def _some(words: list[str]) -> str:
    return listed(words if len(words) <= _MOST else [*words[: _MOST - 1], f"{len(words) - _MOST + 1} more"], "and")


def _not_told_apart(pairs: Sequence[tuple[str, str]]) -> str:
    """Say which two are which, as a list of pairs joined by "and" would not."""
    first, *others = pairs
    if not others:
        return f"{first[0]} and {first[1]} cannot be told apart"
    more = [f"{a} from {b}" for a, b in others[: _MOST - 1]]
    more += [f"{counted(len(others) - len(more), 'more pair')}"] if len(others) > len(more) else []
    return f"{first[0]} cannot be told from {first[1]}, nor {listed(more, 'nor')}"
