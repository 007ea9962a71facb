"""A prepared session: coded samples, who judges them, and in which order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from doe.model.errors import UsageError
from doe.model.names import check_label

Trial = tuple[str, ...]
"""Codes of one sample to be graded, or of two to be compared."""


def check_rater(name: object) -> str:
    """Return the name of a rater.

    Raises
    ------
    UsageError
        If it is empty, too long, or not on one line.
    """
    return check_label("Rater", name, 80)


@dataclass(frozen=True, slots=True)
class Sample:
    """One thing that is put before the raters.

    Attributes
    ----------
    code : str
        Three digits; all that a rater ever sees of it.
    variant : str
        What it is. A variant that is judged twice has two samples.
    """

    code: str
    variant: str


@dataclass(frozen=True, slots=True)
class RaterSheet:
    """What one rater is asked.

    Attributes
    ----------
    rater : str
        Who.
    key : str
        Secret of the rater's own page.
    trials : tuple of tuple of str
        In the order in which they are to be judged.
    """

    rater: str
    key: str
    trials: Sequence[Trial]

    def __post_init__(self) -> None:
        object.__setattr__(self, "rater", check_rater(self.rater))
        object.__setattr__(self, "trials", tuple(tuple(trial) for trial in self.trials))


@dataclass(frozen=True, slots=True)
class PreparedSession:
    """A blind session from its preparation until it is closed.

    Attributes
    ----------
    name : str
        Label of the session that its readings will belong to.
    outcomes : tuple of str
        What is judged: rated outcomes on single samples, or one compared outcome on pairs.
    samples : tuple of Sample
        What is put before the raters.
    sheets : tuple of RaterSheet
        One per rater.
    ends : mapping of str to (str, str)
        Outcome -> what the low and the high end of its scale are called.
    note : str
        Free text: room, level, programme.
    is_closed : bool
        Whether the codes are resolved and the readings stored.
    plays : bool
        Whether kept recordings of the variants are played on the raters' pages.

    Raises
    ------
    UsageError
        If a code comes twice, is no three digits, or a trial uses an unknown one; if there is no rater or no sample.
    """

    name: str
    outcomes: Sequence[str]
    samples: Sequence[Sample]
    sheets: Sequence[RaterSheet]
    ends: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    note: str = ""
    is_closed: bool = False
    plays: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", check_label("Session", self.name, 80))
        for name in ("outcomes", "samples", "sheets"):
            object.__setattr__(self, name, tuple(getattr(self, name)))
        object.__setattr__(self, "ends", {name: (pair[0], pair[1]) for name, pair in self.ends.items()})
        if not self.sheets or not self.samples or not self.outcomes:
            raise UsageError(f"Session '{self.name}' needs at least one rater, one sample and one outcome.")
        codes = [sample.code for sample in self.samples]
        wrong = [code for code in codes if len(code) != 3 or not code.isdecimal() or codes.count(code) > 1]
        unknown = [code for sheet in self.sheets for trial in sheet.trials for code in trial if code not in codes]
        if wrong or unknown:
            raise UsageError(
                f"Session '{self.name}': code '{(wrong or unknown)[0]}' must be three digits and stand once."
            )

    def variant_of(self, code: str) -> str:
        """Return what stands behind a code."""
        return next(sample.variant for sample in self.samples if sample.code == code)


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one rater said at one place of the order.

    Attributes
    ----------
    rater : str
        Who.
    place : int
        In the rater's own order, from 1.
    values : mapping of str to float
        Outcome -> grade, or 1, 0.5 or 0 for the first or the second of a pair.
    note : str
        Free text.
    """

    rater: str
    place: int
    values: Mapping[str, float]
    note: str = ""
