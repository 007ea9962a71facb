"""What settings that were not built yet should give, and what it takes to get there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doe.advise.nearest import Start, start_told
from doe.model.choices import Settings, Value
from doe.model.errors import FettleError, listed
from doe.model.outcome import Outcome
from doe.model.wording import Column, spaced

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


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class WhatIf:
    """What settings should give, beside the variant that they start from, and what they take.

    Attributes
    ----------
    start : str
        The variant.
    settings : mapping of str to setting
        One for each factor.
    changed : tuple of str
        What is otherwise than in the variant, in words.
    foreseen : tuple of Foreseen
        One for each outcome that could be analysed.
    refusals : mapping of str to str
        By outcome, why nothing is predicted of the others.
    ways : tuple of Start
        From where they are reached, the fewest minutes first.
    broken : str
        The limit that they break, in a sentence; empty otherwise.
    """

    start: str
    settings: Settings
    changed: tuple[str, ...]
    foreseen: tuple[Foreseen, ...]
    refusals: Mapping[str, str]
    ways: tuple[Start, ...]
    broken: str

    @property
    def headline(self) -> str:
        """Say what is predicted."""
        return f"Variant {self.start} {'with ' + listed(self.changed, 'and') if self.changed else 'as it is'}."

    def to_tables(self) -> dict[str, Any]:
        """Return everything as plain data, by name."""
        known = [one for one in self.foreseen if one.there is not None]
        return {
            "headline": self.headline,
            "start": self.start,
            "settings": self.settings,
            "outcomes": [{"outcome": one.outcome.name, **dict(one.there or {}), "now": one.now} for one in known],
            "refusals": dict(self.refusals),
            "ways": [
                {"unit": way.unit, "minutes": way.cost.minutes, "cost": way.cost.price, "is there": way.is_there}
                for way in self.ways
            ],
            "broken": self.broken,
        }

    def summary(self) -> str:
        """Return everything as text."""
        lines = [self.headline, ""]
        for one in self.foreseen:
            if one.there is not None:
                now = f"; variant {self.start} {one.told(one.now)}" if self.changed else ""
                lines.append(f"  {spaced(one.outcome.name)}: {one.told(one.there)}, one build {one.build}{now}")
        lines += ["", *map(start_told, self.ways)]
        if self.changed and any(one.there for one in self.foreseen):
            lines.append(f"Note: Variant {self.start} is predicted, too; what it was read as itself can differ.")
        lines += [f"Note: {spaced(name)} is left out: {why}" for name, why in self.refusals.items()]
        lines += [f"Note: {self.broken}"] if self.broken else []
        return "\n".join(lines) + "\n"

    def __repr__(self) -> str:
        return f"<WhatIf: {self.headline}>"
