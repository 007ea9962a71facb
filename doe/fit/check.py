"""One check: what was looked at, what was found, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

COLUMNS = ["check", "finding", "level", "advice"]


@dataclass(frozen=True, slots=True)
class Check:
    """One check.

    Attributes
    ----------
    check : str
        What was looked at.
    finding : str
        What was found, with its figures.
    level : {"fine", "look", "wrong"}
        Whether to worry.
    advice : str
        What to do; empty where all is well.
    """

    check: str
    finding: str
    level: Literal["fine", "look", "wrong"]
    advice: str = ""
