"""What a plan can tell apart, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from doe.model.errors import listed
from doe.model.names import MEAN
from doe.model.wording import counted, number, spaced, spoken

CLEAR = 0.1
"""Correlations up to this are called clear; our choice, no source."""

SAME = 0.999
_MOST_NAMED = 6


@dataclass(frozen=True, slots=True)
class Separation:
    """How far a plan keeps effects apart.

    Attributes
    ----------
    rung : int
        0: main effects are mixed with each other. 1: some main effect is one and the same with an interaction. 2: main effects
        are partly mixed with interactions. 3: main effects are clear. 4: interactions of two are all varied, and distinct too.
        5: so is the curvature of each factor.
    sentences : tuple of str
        What can be told apart and what cannot, by name.
    """

    rung: int
    sentences: tuple[str, ...]


def kind_of(term: str) -> str:
    """Return ``main``, ``pair`` or ``curve``; ``more`` for a longer interaction."""
    if term.endswith("^2"):
        return "curve"
    return ("main", "pair")[term.count(":")] if term.count(":") < 2 else "more"


def separate(confounded: pd.DataFrame, n_factors: int, curved: Sequence[str]) -> Separation:
    """Read a table of correlations.

    Parameters
    ----------
    confounded : DataFrame
        `term`, `with` (another term, or ``the mean``), `correlation`.
    n_factors : int
        Number of factors.
    curved : sequence of str
        Curvature terms that the factors allow.
    """
    sides = confounded.assign(
        a=[kind_of(term) for term in confounded["term"]],
        b=[kind_of(term) if term != MEAN else MEAN for term in confounded["with"]],
        size=confounded["correlation"].abs(),
    )
    mains, pairs, between = (
        _largest(sides, "main", "main"),
        _largest(sides, "main", "pair"),
        _largest(sides, "pair", "pair"),
    )
    never = sides[(sides["b"] == MEAN) & (sides["a"] != "curve")]
    bends = sides[(sides["a"] == "curve") | (sides["b"] == "curve")]
    unvaried = never["a"].value_counts()
    sentences = [_mains_sentence(sides, mains, n_factors)]
    pairs_varied = math.comb(n_factors, 2) - int(unvaried.get("pair", 0))
    if pairs_varied > 0:
        sentences.append(_pairs_sentence(sides, pairs))
    if pairs_varied > 1:
        sentences.append(_between_sentence(sides, between))
    if len(never):
        sentences.append(f"Never varied on its own: {listed(map(spoken, never['term']), 'and')}.")
    sentences.append(_bends_sentence(bends, curved))
    has_bends = bool(curved) and not (bends["size"] > SAME).any()
    if "main" in unvaried:
        mains = 1.0
    if "pair" in unvaried:
        between = 1.0
    return Separation(_rung(mains, pairs, between, has_bends), tuple(sentences))


def _rung(mains: float, pairs: float, between: float, has_bends: bool) -> int:
    if mains > SAME:
        return 0
    if pairs > SAME:
        return 1
    if pairs > CLEAR:
        return 2
    if between > SAME:
        return 3
    return 5 if has_bends else 4


def _select(sides: pd.DataFrame, a: str, b: str) -> pd.DataFrame:
    return sides[((sides["a"] == a) & (sides["b"] == b)) | ((sides["a"] == b) & (sides["b"] == a))]


def _largest(sides: pd.DataFrame, a: str, b: str) -> float:
    return float(_select(sides, a, b)["size"].max()) if len(_select(sides, a, b)) else 0.0


def _mains_sentence(sides: pd.DataFrame, largest: float, n_factors: int) -> str:
    if n_factors == 1:
        return "There is one factor only."
    if largest <= CLEAR:
        return "Main effects are independent of each other."
    if largest > SAME:
        return f"These main effects cannot be told apart: {_named(_select(sides, 'main', 'main'))}."
    return f"Main effects are correlated with each other, by {_size(largest)} at most."


def _pairs_sentence(sides: pd.DataFrame, largest: float) -> str:
    if largest <= CLEAR:
        return "Main effects are clear of interactions of two."
    if largest > SAME:
        return f"Main effects that cannot be told from interactions: {_named(_select(sides, 'main', 'pair'))}."
    return f"Main effects are partly mixed with interactions of two, by {_size(largest)} at most."


def _between_sentence(sides: pd.DataFrame, largest: float) -> str:
    if not largest:
        return "Interactions of two are independent of each other."
    if largest > SAME:
        return f"Interactions that cannot be told apart: {_named(_select(sides, 'pair', 'pair'))}."
    return f"Interactions of two are distinct, correlated by {_size(largest)} at most."


def _bends_sentence(bends: pd.DataFrame, curved: Sequence[str]) -> str:
    if not curved:
        return "No factor can be curved."
    unseen = bends[bends["with"] == MEAN]["term"].tolist()
    if len(unseen) == len(curved):
        return "Curvature cannot be seen: every number is at two settings only."
    same = bends[(bends["size"] > SAME) & (bends["with"] != MEAN)]
    if len(same):
        return f"Curvature that cannot be told from other effects: {_named(same)}."
    if unseen:
        return f"Curvature cannot be seen in {listed([spaced(term[:-2]) for term in unseen], 'and')}."
    largest = float(bends["size"].max()) if len(bends) else 0.0
    return f"Curvature is seen factor by factor, correlated by {_size(largest)} at most."


def _size(correlation: float) -> str:
    """Write a correlation that is not quite 1 so that it does not read as 1."""
    return number(correlation, 2 if correlation < 0.995 else 3)


def _named(rows: pd.DataFrame) -> str:
    """Name the pairs that are one and the same, the first few."""
    same = rows[rows["size"] > SAME]
    pairs = zip(same["term"], same["with"], strict=True)
    shown = [f"{spoken(term)} and {spoken(other)}" for term, other in pairs][:_MOST_NAMED]
    more = len(same) - len(shown)
    return "; ".join(shown) + (f"; and {counted(more, 'more pair')}" if more else "")
