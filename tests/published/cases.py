"""Published cases on disk: data and the figures that their sources print."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Known:
    """One figure of a case: what it is, its value, where it comes from, and what its printed digits allow."""

    what: str
    value: Any
    origin: str
    source: str
    tolerance: float | None


@dataclass(frozen=True)
class Case:
    """A published case."""

    name: str
    citation: str
    data: pd.DataFrame
    known: tuple[Known, ...]

    def find(self, what: str) -> Known:
        """Return the one figure that is described so."""
        return next(item for item in self.known if item.what == what)

    def value(self, what: str) -> Any:
        """Return the value of the figure that is described so."""
        return self.find(what).value


@cache
def case(name: str) -> Case:
    """Load a case from its folder."""
    about = json.loads((FOLDER / name / "case.json").read_text(encoding="utf-8"))
    source = about["source"]
    citation = ", ".join(part for part in (source.get("citation", ""), source.get("section", "")) if part)
    known = tuple(
        Known(item["what"], item["value"], item.get("origin", ""), item.get("source", ""), item.get("tolerance"))
        for item in about["known"]
    )
    return Case(name, citation, pd.read_csv(FOLDER / name / "data.csv"), known)


def row(
    check: str, source: str, published: Any, ours: Any, tolerance: float, origin: str = "published"
) -> dict[str, Any]:
    """Make one row of the verification report; `difference` must not exceed `tolerance`."""
    pairs = zip(published, ours, strict=True) if isinstance(published, list | tuple) else [(published, ours)]
    difference = max(abs(float(a) - float(b)) for a, b in pairs)
    return {
        "check": check,
        "source": source if origin == "published" else f"{source} ({origin})",
        "published": published,
        "ours": ours,
        "difference": difference,
        "tolerance": tolerance,
    }
