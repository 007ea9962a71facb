"""What settings that were not built yet should give, and what it takes to get there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doe.model.choices import Value
from doe.model.errors import FettleError
from doe.model.outcome import Outcome
from doe.model.wording import Column

if TYPE_CHECKING:
    from doe.fit.effects import Effects


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What one outcome should be.

    Attributes
    ----------
    outcome : Outcome
    there, now : mapping of str to float or None
        A row of `Effects.predict` at the settings asked for, and at those they are held against, None where there are none;
        both None where nothing can be predicted.
    refusal : str
        Why nothing can be predicted; empty otherwise.
    """

    outcome: Outcome
    there: Mapping[str, float] | None
    now: Mapping[str, float] | None
    refusal: str = ""

    @property
    def column(self) -> Column:
        """How both are counted."""
        return self.outcome.column((row["mean"], row["low"], row["high"]) for row in (self.there, self.now) if row)

    @property
    def build(self) -> str:
        """The interval that one build should lie in, with its unit; empty where nothing can be predicted."""
        if self.there is None:
            return ""
        column, line = self.column, self.there
        ends = [
            column.digits(self.outcome.on_scale(line[end]), line["high"] - line["low"])
            for end in ("build_low", "build_high")
        ]
        return f"{' to '.join(ends)}{column.behind}"

    def told(self, row: Mapping[str, float] | None) -> str:
        """Write one of the rows with its interval; empty for None."""
        return self.outcome.told(row["mean"], row["low"], row["high"], self.column) if row is not None else ""


def foresee(
    analyses: Iterable[Effects], settings: Mapping[str, Value], beside: Mapping[str, Value] | None = None
) -> list[Foreseen]:
    """Predict settings by every analysis.

    Parameters
    ----------
    analyses : iterable of Effects
        One for each outcome.
    settings : mapping of str to setting
        Factor -> setting, built or not.
    beside : mapping of str to setting, optional
        What they are held against, such as the settings of the best variant.
    """
    found = []
    for effects in analyses:
        try:
            rows: list[Any] = [effects.predict(dict(one)).to_dict("records")[0] for one in (settings, beside) if one]
        except FettleError as err:
            found.append(Foreseen(effects.outcome, None, None, str(err)))
            continue
        found.append(Foreseen(effects.outcome, rows[0], rows[1] if len(rows) > 1 else None))
    return found
