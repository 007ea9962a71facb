"""Symptoms: from what a maker says is wrong to what is usually tried, cheapest in the maker's own project first."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from doe.model.effort import Effort
from doe.model.errors import UsageError, did_you_mean, listed
from doe.model.factor import Factor
from doe.model.setup import Setup

FILE = Path(__file__).parent / "symptoms.toml"


@dataclass(frozen=True, slots=True)
class Idea:
    """One thing that is usually tried.

    Attributes
    ----------
    what : str
        The change, in a phrase.
    words : tuple of str
        Parts of factor names by which it is found in a project.
    why : str
        The physics in one line.
    source : str
        Published source of `why`, or ``"common practice, no source"``.
    way : {"up", "down", ""}
        Which way such a factor would go; empty where that is not plain.
    """

    what: str
    words: tuple[str, ...]
    why: str
    source: str
    way: str = ""


@dataclass(frozen=True, slots=True)
class Symptom:
    """What somebody says is wrong.

    Attributes
    ----------
    name : str
        As listed, such as ``"boomy"``.
    words : tuple of str
        Other ways to say it.
    told : str
        What is meant, in a sentence.
    check : str
        What to make sure of before anything is built.
    ideas, seldom : tuple of Idea
        What is usually tried, and what is tried often and seldom helps.
    caution : str
        What to beware of; may be empty.
    """

    name: str
    words: tuple[str, ...]
    told: str
    check: str
    ideas: tuple[Idea, ...]
    seldom: tuple[Idea, ...]
    caution: str


@dataclass(frozen=True, slots=True)
class Try:
    """An idea that a factor of the project can carry out.

    Attributes
    ----------
    factor : str
        Its name.
    idea : Idea
        What is tried with it, and why.
    minutes : float
        Least bench minutes of one change: of one step, or of a new unit where only that can carry it.
    is_one_way : bool
        Whether the change cannot be taken back on the unit.
    takes_new_unit : bool
        Whether it takes a new unit: the factor is set by a rebuild only, or goes the other way only.
    """

    factor: str
    idea: Idea
    minutes: float
    is_one_way: bool
    takes_new_unit: bool

    @property
    def way_told(self) -> str:
        """What the change asks for beside time, in a phrase; empty for nothing."""
        if self.takes_new_unit:
            return "takes a new unit"
        return "cannot be taken back" if self.is_one_way else ""


@dataclass(frozen=True, slots=True)
class Tries:
    """What can be tried against a symptom.

    Attributes
    ----------
    symptom : Symptom
        What is wrong.
    here : tuple of Try
        Ideas for which the project has a factor, cheapest first; what can be taken back comes first at the same effort.
    seldom : tuple of Try
        Factors of the project that seldom help.
    elsewhere : tuple of Idea
        Ideas for which the project has no factor yet.
    """

    symptom: Symptom
    here: tuple[Try, ...]
    seldom: tuple[Try, ...]
    elsewhere: tuple[Idea, ...]


@cache
def symptoms() -> tuple[Symptom, ...]:
    """Return every symptom on file, in its order."""
    tables = tomllib.loads(FILE.read_text(encoding="utf-8"))
    return tuple(
        Symptom(
            table["name"],
            tuple(table["words"]),
            table["told"],
            table["check"],
            _ideas(table["idea"]),
            _ideas(table.get("seldom", [])),
            table.get("caution", ""),
        )
        for table in tables["symptom"]
    )


def _ideas(tables: Iterable[Mapping[str, Any]]) -> tuple[Idea, ...]:
    return tuple(
        Idea(table["what"], tuple(table["words"]), table["why"], table["source"], table.get("way", ""))
        for table in tables
    )


def symptom(said: str) -> Symptom:
    """Return the symptom that somebody means by a word or two.

    Raises
    ------
    UsageError
        If there is none on file; the message suggests the nearest.
    """
    wanted = " ".join(said.casefold().replace("_", " ").replace("-", " ").split())
    by_word = {
        word.replace("-", " "): item for item in reversed(symptoms()) for word in (*reversed(item.words), item.name)
    }
    if wanted not in by_word:
        names = [item.name for item in symptoms()]
        raise UsageError(
            f"There is no symptom '{said}' on file; there are {listed(names, 'and')}.{did_you_mean(wanted, by_word)}"
        )
    return by_word[wanted]


def tries(found: Symptom, setup: Setup) -> Tries:
    """Hold a symptom against a project's own factors.

    Parameters
    ----------
    found : Symptom
        What is wrong.
    setup : Setup
        The project's definitions. A factor belongs to the first idea that names a part of its name.
    """
    here = tuple(sorted(_matched(found.ideas, setup), key=lambda item: (item.minutes, item.is_one_way)))
    taken = {item.factor for item in here}
    seldom = tuple(item for item in _matched(found.seldom, setup) if item.factor not in taken)
    elsewhere = tuple(idea for idea in found.ideas if all(item.idea != idea for item in here))
    return Tries(found, here, seldom, elsewhere)


def _matched(ideas: Iterable[Idea], setup: Setup) -> list[Try]:
    found: dict[str, Try] = {}
    for idea in ideas:
        for factor in setup.factors:
            parts = factor.name.casefold().split("_")
            if factor.name not in found and any(word in parts for word in idea.words):
                found[factor.name] = _try(factor, idea, setup.effort)
    return list(found.values())


def _try(factor: Factor, idea: Idea, effort: Effort) -> Try:
    """Tell what the smallest change of a factor takes, a new unit included where only that can carry it."""
    is_one_way = factor.way in ("up", "down")
    takes_new_unit = factor.way == "rebuild" or (is_one_way and idea.way not in ("", factor.way))
    own = factor.minutes + factor.minutes_per_step
    return Try(factor.name, idea, own + effort.new_unit_minutes if takes_new_unit else own, is_one_way, takes_new_unit)
