"""Starter sets: definitions to begin from, written from general trade knowledge with a source at each line."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from doe.model.errors import UsageError, did_you_mean, listed
from doe.model.setup import Setup

FOLDER = Path(__file__).parent / "starter_sets"
BLANK = "blank"
KEYS = ("loudspeaker", "ear-cup", "plucked", "fan", "enclosure")
"""Every set but the blank one, in the order in which they are offered."""


@dataclass(frozen=True, slots=True)
class Starter:
    """A set of definitions to begin from.

    Attributes
    ----------
    key : str
        What it is asked for by, such as ``"ear-cup"``.
    name : str
        What it is for.
    told : str
        What is in it, in a sentence.
    cautions : tuple of str
        What can hurt somebody in this kind of work.
    setup : Setup
        The definitions, all to be edited.
    """

    key: str
    name: str
    told: str
    cautions: tuple[str, ...]
    setup: Setup


def starter(key: str) -> Starter:
    """Return a starter set.

    Parameters
    ----------
    key : str
        One of `KEYS`, or ``"blank"``.

    Raises
    ------
    UsageError
        If there is none of that name.
    """
    if key == BLANK:
        return Starter(BLANK, "Nothing yet", "Define factors and outcomes yourself.", (), Setup())
    if key not in KEYS:
        known = (*KEYS, BLANK)
        raise UsageError(f"There is no starter set '{key}'; it must be {listed(known)}.{did_you_mean(key, known)}")
    tables: dict[str, Any] = tomllib.loads((FOLDER / f"{key}.toml").read_text(encoding="utf-8"))
    own = tables.pop("starter")
    return Starter(key, own["name"], own["told"], tuple(own["cautions"]), Setup.from_tables(tables))


def starters() -> tuple[Starter, ...]:
    """Return every starter set, the blank one first."""
    return tuple(starter(key) for key in (BLANK, *KEYS))
