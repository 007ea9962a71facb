"""A settled version: one variant, frozen with what was known of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from doe.model.choices import Value
from doe.model.names import check_label
from doe.model.wording import with_interval


@dataclass(frozen=True, slots=True)
class SettledVersion:
    """One settled version.

    Attributes
    ----------
    number : int
        From 1, in the order in which they were settled.
    name : str
        Label, such as ``"kitchen radio"``.
    variant : str
        The variant that it is.
    settings : mapping of str to setting
        As they were when it was settled.
    lineage : tuple of str
        The variants that it came from, the nearest first.
    came_from : int or None
        The settled version that it was changed from; None where it begins a line of its own.
    evidence : mapping
        What was known, as plain data: `expected` (outcome, mean, low, high, build_low, build_high, told), `tolerances`,
        `confirmation`, `settled_by` (the stand-in, if any), `readings` (how many).
    readings_sha256 : str
        Of all readings that this rests on.
    files : tuple of mapping
        `variant, filename, sha256` of the files kept with it.
    at : datetime or None
        When it was settled.
    note : str
        Free text.
    """

    number: int
    name: str
    variant: str
    settings: Mapping[str, Value]
    lineage: Sequence[str] = ()
    came_from: int | None = None
    evidence: Mapping[str, Any] = field(default_factory=dict)
    readings_sha256: str = ""
    files: Sequence[Mapping[str, str]] = ()
    at: datetime | None = None
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", check_label("Version", self.name, 80))
        object.__setattr__(self, "lineage", tuple(self.lineage))
        object.__setattr__(self, "files", tuple(dict(file) for file in self.files))

    @property
    def title(self) -> str:
        """Number and name, as people say it."""
        return f"version {self.number}, {self.name}"


def promise(row: Mapping[str, Any]) -> str:
    """Write what to expect of a new build from a row of `expected`; versions of before hold no text of it."""
    return str(row.get("told") or with_interval(row["mean"], row["build_low"], row["build_high"], row["unit"]))
