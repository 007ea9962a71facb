"""The result of asking for the next change."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from doe.model import markup, wording
from doe.model.errors import listed
from doe.model.names import interval_columns
from doe.model.outcome import Outcome, columns_told

if TYPE_CHECKING:
    import pandas as pd

_TOLD = (
    "headline", "table", "best", "stop", "runner_up", "predictions", "candidates", "worth", "front", "weights", "notes",
    "chance_left",
)  # fmt: skip


@dataclass(frozen=True, repr=False, eq=False)
class Advice:
    """The next change, the version to keep if work stopped now, and why.

    The frames that only pictures need are computed when they are first looked at.

    Attributes
    ----------
    table : DataFrame
        One row per suggestion, best first: one column per factor, ``unit`` (or ``new``), ``readings`` (rounds),
        ``minutes``, ``cost``, ``kind``, ``worth_now`` (of the best variant, as believed), ``worth_expected`` (of the
        suggested one), ``chance_better``, ``worth_per_hour``, ``settles`` (terms it would separate), ``reason``.
    best : mapping
        ``variant``, ``settings``, ``worth``, ``low``, ``high``: what to keep if work stopped now; may be empty.
    stop : str or None
        Why nothing left is worth its bench time, if so, and what to keep.
    candidates : DataFrame
        Moves compared closely: ``minutes, gain, kind, unit, label, chosen`` (whether it heads the table).
    worth : DataFrame
        ``variant, worth, low, high`` as believed now, best first.
    predictions : DataFrame
        What each suggestion should show: ``place, outcome, mean, low, high``, for the mean of its readings, ``widened`` (factor
        that earlier predictions asked for), how many ``readings`` that is, and the ``reading_sd`` of one.
    front : DataFrame
        Variants where no outcome improves without loss in another; empty with one outcome.
    weights : DataFrame
        How the choice moves when one outcome counts less or more: ``outcome, times as much, variant, variant worth``, the best
        design within reach by factor, ``design worth``; empty with one outcome.
    notes : tuple of str
        What limits the advice.
    chance_left : float or None
        Chance that something within reach beats the best by what matters; None where nothing can be built in the hours left.
    headline : str
        The answer in one sentence.
    runner_up : str
        A move that takes much less time than the first, and what it gives up; empty where there is none.
    outcomes : tuple of Outcome
        Those that take part in worth.
    """

    table: pd.DataFrame
    best: Mapping[str, Any]
    stop: str | None
    worth: pd.DataFrame
    predictions: pd.DataFrame
    notes: tuple[str, ...] = ()
    chance_left: float | None = 1.0
    headline: str = ""
    runner_up: str = ""
    outcomes: tuple[Outcome, ...] = ()
    _candidates: Callable[[], pd.DataFrame] | None = field(default=None, repr=False)
    _front: Callable[[], pd.DataFrame] | None = field(default=None, repr=False)
    _weights: Callable[[], pd.DataFrame] | None = field(default=None, repr=False)

    @cached_property
    def candidates(self) -> pd.DataFrame:
        """Moves compared closely: ``minutes, gain, kind, unit, label``."""
        return _computed(self._candidates)

    @cached_property
    def front(self) -> pd.DataFrame:
        """Variants where no outcome improves without loss in another; empty with one outcome."""
        return _computed(self._front)

    @cached_property
    def weights(self) -> pd.DataFrame:
        """How the choice moves when one outcome counts less or more; empty with one outcome."""
        return _computed(self._weights)

    @property
    def told_to_stop(self) -> tuple[str, str]:
        """What to do where work should stop, and the figures behind it where they stand apart; both empty if it should not."""
        told = wording.capital(self.stop or "")
        if self.headline and told.startswith(self.headline):
            return self.headline, told.removeprefix(self.headline).strip()
        return told, ""

    @cached_property
    def _front_columns(self) -> Mapping[str, wording.Column]:
        """How each outcome is counted on the front."""
        return {
            item.name: item.column(self.front[interval_columns(item.name)].itertuples(index=False))
            for item in self.outcomes
            if item.name in self.front.columns
        }

    def told_on_front(self, row: Mapping[str, Any], outcome: Outcome) -> str:
        """Write what is expected of an outcome in a row of the front, counted alike in all rows."""
        value, low, high = (row[column] for column in interval_columns(outcome.name))
        return outcome.told(value, low, high, self._front_columns[outcome.name])

    @staticmethod
    def alike_in(row: Mapping[str, Any]) -> str:
        """Name the factors in which what is told as one row of the front differs."""
        return listed(row["differs in"].split(", "), "and")

    def to_frame(self) -> pd.DataFrame:
        """Return the suggestions, at full precision."""
        return self.table.copy()

    def to_tables(self) -> dict[str, object]:
        """Return everything the advice says as frames and plain data, by name."""
        return {name: getattr(self, name) for name in _TOLD}

    def summary(self) -> str:
        """Return the advice as text."""
        lines = [self.headline, ""] if self.headline else []
        what, figures = self.told_to_stop
        if what:
            lines += [figures if what == self.headline else f"Stop: {self.stop}", ""]
        for place, (reason, kind) in enumerate(zip(self.table["reason"], self.table["kind"], strict=True), start=1):
            lines += [f"{place}. {kind}: {reason}", ""]
        lines += [self.runner_up, ""] if self.runner_up else []
        lines += [f"Note: {note}" for note in self.notes]
        return "\n".join(lines).rstrip() + "\n"

    def __str__(self) -> str:
        return self.summary()

    def __getstate__(self) -> dict[str, Any]:
        """Give a pickle or a copy the frames that are computed late, in place of what computes them."""
        late = {name: getattr(self, name) for name in ("candidates", "front", "weights")}
        return {**self.__dict__, **late, **{f"_{name}": None for name in late}}

    def __repr__(self) -> str:
        return f"<Advice: {self.headline or self.stop}>"

    def _repr_html_(self) -> str:
        return markup.shown(
            markup.headline(self.headline),
            markup.paragraphs(sentence for sentence in self.told_to_stop if sentence and sentence != self.headline),
            markup.listing(self.table["reason"], is_ranked=True),
            self._expected(),
            markup.paragraphs([self.runner_up] if self.runner_up else []),
            markup.paragraphs(self.notes, is_small=True),
        )

    def _expected(self) -> str:
        """Return what each suggestion should show, as a table; nothing where nothing is predicted."""
        outcomes = {outcome.name: outcome for outcome in self.outcomes}
        known = self.predictions.to_dict("records")
        columns = columns_told(self.outcomes, known)
        rows = [
            (
                row["place"],
                row["outcome"],
                outcomes[row["outcome"]].told(row["mean"], row["low"], row["high"], columns[row["outcome"]]),
            )
            for row in known
        ]
        return markup.table(("suggestion", "outcome", "expected (95 %)"), rows) if rows else ""


def worth_text(best: Mapping[str, Any]) -> str:
    """Return the worth of the best variant with its interval, in words of 0 to 1."""
    return wording.worth_told(best["worth"], best["low"], best["high"])


def _computed(frame: Callable[[], pd.DataFrame] | None) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame() if frame is None else frame()
