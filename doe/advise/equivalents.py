"""The result of looking for a permanent equivalent."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from doe.advise.lasting import Solved
from doe.advise.nearest import Start
from doe.advise.reach import NEW
from doe.advise.routes import PARTS, THROUGH, Routes, disagreement
from doe.advise.standin import StandIn
from doe.advise.twin import rows_of
from doe.model.choices import Settings, Value
from doe.model.errors import listed
from doe.model.wording import (
    Column,
    capital,
    cell_text,
    column_of,
    duration,
    number,
    setting,
    spaced,
    unit_behind,
    with_interval,
)

SHARE_SAFE = 0.9
"""Share of what matters up to which an outcome may move; what is predicted to move by nearly all of it is no equivalent."""

_SAME, _TOO_FAR = "the very same", "too far off for at least one outcome"
_COLUMNS = ["place", "outcome", "route", "mean", "sd", "low", "high", "build_low", "build_high"]


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Equivalents:
    """Lasting settings that give the same derived quantity with the stand-in taken away.

    Attributes
    ----------
    variant : str
        What is made permanent; empty where settings were given.
    start : mapping of str to setting
        Its settings.
    stand_in, quantity : str
        The factor that is taken away, and the quantity that is kept.
    wanted : float
        Value of the quantity.
    table : DataFrame
        One row per answer, nearest first: one column per factor, then `value` of the quantity and what it is `off by`, `does
        the same` (no outcome moves by more than `SHARE_SAFE` of what matters, and what the stand-in does by itself is less than
        what matters; None where that is open, or nothing was said to matter), `unit` (or ``new``) from which it takes the
        fewest `minutes`, and `cost`.
    predictions : DataFrame
        `place` (0 for the variant itself, from 1 for the rows of `table`), `outcome`, `route` (``through`` the quantity, or by
        its ``parts``), `mean, sd, low, high` over builds and `build_low, build_high` for one new build (95 %).
    disagreements : DataFrame
        `place, outcome, finding` where the two routes part.
    must_give : tuple of str
        What would bring a lasting setting nearer.
    test : mapping
        The build that would test the equivalence: `settings, unit, minutes, is_there, outcome, apart,
        is_equivalent`.
    is_exact : bool
        Whether every combination of lasting settings was looked at.
    headline : str
        The answer in one sentence.
    notes : tuple of str
        What else must be known.
    units : mapping of str to str
        Units of measure of the quantity and the outcomes.
    is_open : bool
        Whether the nearest would do by what is predicted, but the stand-in may do something by itself.
    there : tuple of bool
        By row of `table`: whether its unit stands so already.
    """

    variant: str
    start: Settings
    stand_in: str
    quantity: str
    wanted: float
    table: pd.DataFrame
    predictions: pd.DataFrame
    disagreements: pd.DataFrame
    must_give: tuple[str, ...]
    test: Mapping[str, Any]
    is_exact: bool
    headline: str
    notes: tuple[str, ...]
    units: Mapping[str, str]
    is_open: bool = False
    there: tuple[bool, ...] = ()

    @property
    def best(self) -> dict[str, Value]:
        """Settings of the nearest answer; empty where there is none."""
        names = list(self.start)
        return {name: self.table.iloc[0][name] for name in names} if len(self.table) else {}

    def to_frame(self) -> pd.DataFrame:
        """Return the answers, at full precision."""
        return self.table.copy()

    def summary(self) -> str:
        """Return the answer as text."""
        lines = [self.headline, ""]
        if len(self.predictions):
            lines += ["As it is:", *self._expected(0), ""]
        for place, (row, is_there) in enumerate(zip(rows_of(self.table), self.there, strict=True), start=1):
            lines += [f"{place}. {self._what(row, is_there)}", *self._expected(place), ""]
        lines += [f"What must give: {text}." for text in self.must_give]
        lines += [f"Note: {text}" for text in (*dict.fromkeys(self.disagreements["finding"]), *self.notes)]
        return "\n".join(lines).rstrip() + "\n"

    def _what(self, row: Mapping[str, Any], is_there: bool) -> str:
        changed = [name for name in self.start if row[name] != self.start[name]]
        changes = ", ".join(f"{spaced(name)} {setting(row[name])}" for name in changed) or "nothing else changed"
        where = _where(str(row["unit"]), float(row["minutes"]), is_there)
        does = row["does the same"]
        unknown = "; not known to do the same" if self.is_open else ""
        fits = unknown if does is None else "" if does else f"; {_TOO_FAR}"
        unit = unit_behind(self.units.get(self.quantity, ""))
        return (
            f"{changes}: {spaced(self.quantity)} {number(row['value'], 4)}{unit} ({_off(row['off by'])}), {where}{fits}"
        )

    def _expected(self, place: int) -> list[str]:
        mine = self.predictions[self.predictions["place"] == place]
        lines = []
        for outcome, rows in mine.groupby("outcome", sort=False):
            told = [
                f"{'through ' + spaced(self.quantity) if row['route'] == THROUGH else 'by its parts'} "
                f"{with_interval(row['mean'], row['low'], row['high'], self._column(str(outcome)))}"
                for row in rows.to_dict("records")
            ]
            lines.append(f"   {spaced(str(outcome))}: {', '.join(told)}")
        return lines

    def _column(self, outcome: str) -> Column:
        """Say how an outcome is counted in all of its predictions."""
        mine = self.predictions.loc[self.predictions["outcome"] == outcome, ["mean", "low", "high"]]
        return column_of(self.units.get(outcome, ""), mine.itertuples(index=False))

    def _repr_html_(self) -> str:
        shown = self.table.map(cell_text)
        notes = "".join(f"<p><small>{html.escape(note)}</small></p>" for note in (*self.must_give, *self.notes))
        return f"<p><strong>{html.escape(self.headline)}</strong></p>{shown.to_html(index=False, border=0)}{notes}"

    def __repr__(self) -> str:
        return f"<Equivalents: {self.headline}>"


def make_equivalents(
    stand_in: StandIn,
    start: Settings,
    solved: Solved,
    *,
    variant: str,
    starts: Sequence[Start],
    routes: Sequence[Routes],
    gives: Sequence[str],
    test: Mapping[str, Any],
) -> Equivalents:
    """Put settings, predictions and sentences together."""
    rows = pd.DataFrame([start, *(one.settings for one in solved.nearest)])[list(start)]
    predictions = _predictions(rows, routes)
    fits = [_fits(place, predictions, routes) for place in range(1, len(rows))]
    units = {stand_in.quantity.name: stand_in.quantity.unit, **{one.outcome.name: one.outcome.unit for one in routes}}
    is_near = bool(fits) and fits[0] is not False
    is_open = is_near and fits[0] is None and any(_is_judged(one) for one in routes)
    return Equivalents(
        variant=variant,
        start=start,
        stand_in=stand_in.factor.name,
        quantity=stand_in.quantity.name,
        wanted=solved.wanted,
        table=_table(list(start), solved, starts, fits),
        predictions=predictions,
        disagreements=_disagreements(predictions, routes, stand_in),
        must_give=() if is_near else tuple(gives),
        test=test,
        is_exact=solved.is_exact,
        headline=_headline(stand_in, variant, solved, is_near, is_open),
        notes=_notes(stand_in, start, solved, routes, test),
        units=units,
        is_open=is_open,
        there=tuple(begin.is_there for begin in starts),
    )


def _table(names: Sequence[str], solved: Solved, starts: Sequence[Start], fits: Sequence[bool | None]) -> pd.DataFrame:
    """Lay out one row per answer; see `Equivalents.table`."""
    rows = [
        [*(one.settings[name] for name in names), one.value, one.mismatch, fit,
         begin.unit, begin.cost.minutes, begin.cost.price]
        for one, begin, fit in zip(solved.nearest, starts, fits, strict=True)
    ]  # fmt: skip
    columns = [*names, "value", "off by", "does the same", "unit", "minutes", "cost"]
    return pd.DataFrame(rows, columns=columns).astype({"does the same": object})


def _predictions(rows: pd.DataFrame, routes: Sequence[Routes]) -> pd.DataFrame:
    frames = []
    for one in routes:
        for route, frame in one.predictions(rows).items():
            frames.append(frame.assign(place=range(len(rows)), outcome=one.outcome.name, route=route))
    if not frames:
        return pd.DataFrame({name: [] for name in _COLUMNS})
    return pd.concat(frames, ignore_index=True)[_COLUMNS].sort_values("place", kind="stable", ignore_index=True)


def _is_judged(routes: Routes) -> bool:
    return routes.outcome.matters is not None


def _fits(place: int, predictions: pd.DataFrame, routes: Sequence[Routes]) -> bool | None:
    """Tell whether every outcome moves safely less than what matters.

    By the route that is to be leaned on, and by what the stand-in may do by itself: that the quantity stays says nothing of an
    effect beside it, which few builds hide from either route.
    """
    judged = [one for one in routes if _is_judged(one)]
    if any(one.is_apart or not _stays(place, predictions, one) for one in judged):
        return False
    return True if judged and all(one.is_bounded for one in judged) else None


def _stays(place: int, predictions: pd.DataFrame, one: Routes) -> bool:
    route = THROUGH if one.through is not None and one.preferred is one.through else PARTS
    mine = predictions[(predictions["outcome"] == one.outcome.name) & (predictions["route"] == route)]
    means = mine.set_index("place")["mean"]
    return bool(abs(means[place] - means[0]) <= SHARE_SAFE * (one.outcome.matters or 0.0))


def _disagreements(predictions: pd.DataFrame, routes: Sequence[Routes], stand_in: StandIn) -> pd.DataFrame:
    rows = []
    for place in sorted(set(predictions["place"]) - {0}):
        for one in routes:
            mine = predictions[(predictions["place"] == place) & (predictions["outcome"] == one.outcome.name)]
            found = disagreement(one, stand_in, {row["route"]: row for row in mine.to_dict("records")})
            if found:
                rows.append((place, one.outcome.name, found))
    return pd.DataFrame(rows, columns=["place", "outcome", "finding"])


def _headline(stand_in: StandIn, variant: str, solved: Solved, is_near: bool, is_open: bool) -> str:
    what = f"variant {variant}" if variant else "these settings"
    gone = f"{spaced(stand_in.factor.name)} at {setting(stand_in.to)}"
    unit = unit_behind(stand_in.quantity.unit)
    kept = f"the {spaced(stand_in.quantity.name)} of {what} ({number(solved.wanted, 4)}{unit})"
    if not solved.nearest:
        return f"With {gone} no setting keeps the limits, whatever is done to {_lasting(stand_in)}."
    first = solved.nearest[0]
    lasting = listed(
        [f"{spaced(factor.name)} {setting(first.settings[factor.name])}" for factor in stand_in.lasting], "and"
    )
    comes, is_ = ("comes", "is") if len(stand_in.lasting) == 1 else ("come", "are")
    off = _off(first.mismatch, unit)
    if is_near or off == _SAME:
        doubt = "; whether it does the same is not known yet" if is_open else ""
        doubt = doubt if is_near else f", but {_TOO_FAR}"
        return f"With {gone}, {lasting} {comes} nearest to {kept}: {off}{doubt}."
    return (
        f"With {gone}, no lasting setting within its limits comes near enough to {kept}; the nearest {is_} {lasting}."
    )


def _lasting(stand_in: StandIn) -> str:
    return listed([spaced(factor.name) for factor in stand_in.lasting], "and")


def _off(mismatch: float, unit: str = "") -> str:
    if mismatch == 0:
        return _SAME
    return f"{number(abs(mismatch))}{unit} too {'much' if mismatch > 0 else 'little'}"


def _notes(
    stand_in: StandIn, start: Settings, solved: Solved, routes: Sequence[Routes], test: Mapping[str, Any]
) -> tuple[str, ...]:
    notes = [one.finding for one in routes if one.finding]
    notes += [_own_sentence(stand_in, start, one) for one in routes if _is_judged(one) and not one.is_bounded]
    if any(one.through is None for one in routes):
        notes.append(
            f"{capital(spaced(stand_in.quantity.name))} cannot be a term of a model, so predictions are by its parts alone."
        )
    if not routes:
        notes.append("Nothing has been read that could be predicted from.")
    if not solved.is_exact:
        notes.append("There are too many lasting settings to look at each; the nearest that a search found are listed.")
    if test:
        notes.append(_test_sentence(test))
    return tuple(dict.fromkeys(notes))


def _own_sentence(stand_in: StandIn, start: Settings, one: Routes) -> str:
    """Say what the stand-in may do by itself, beside what it does through the quantity."""
    name, unit = spaced(stand_in.factor.name), unit_behind(one.outcome.unit)
    outcome, quantity = spaced(one.outcome.name), spaced(stand_in.quantity.name)
    change = f"{name} from {setting(start[stand_in.factor.name])} to {setting(stand_in.to)}"
    if not math.isfinite(one.own[0]):
        return f"What {name} does to {outcome} by itself, beside {quantity}, cannot be told from this log."
    low, high = (f"{number(end)}{unit}" for end in one.own)
    does = "moves" if one.is_apart else "may move"
    matters = f"{number(one.outcome.matters)}{unit} matters"
    return f"At the same {quantity}, {change} by itself {does} {outcome} by {low} to {high} (95 %), where {matters}."


def _where(unit: str, minutes: float, is_there: bool) -> str:
    if is_there:
        return f"unit {unit} is so already"
    return f"{'a new unit' if unit == NEW else f'unit {unit}'}, {duration(minutes)}"


def _test_sentence(test: Mapping[str, Any]) -> str:
    where = _where(test["unit"], test["minutes"], test["is_there"])
    settings = listed([f"{spaced(name)} {setting(value)}" for name, value in test["settings"].items()], "and")
    if test["is_equivalent"]:
        return f"Building the first of these ({where}) is what tests the equivalence; read it beside the variant."
    return (
        f"The equivalence is tested best by {settings} ({where}): the same quantity from another mix, where the two "
        f"ways of predicting {spaced(test['outcome'])} lie {number(test['apart'], 2)} standard deviations apart."
    )
