"""How far each setting may drift before an outcome leaves its limits, or loses what matters."""

from __future__ import annotations

import html
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from doe.advise.limits_kept import Watch
from doe.coding import Term
from doe.fit.draws import Draws
from doe.fit.verdicts import EXCLUDED
from doe.model.choices import Value
from doe.model.errors import DataError, UsageError, listed
from doe.model.factor import Factor
from doe.model.given import check_number, check_whole
from doe.model.limit import Derived, Limit
from doe.model.outcome import Outcome
from doe.model.sums import Sum
from doe.model.wording import exact, number, percent, spaced

Array = npt.NDArray[Any]

PROBABILITY = 0.9
N_DRAWS = 4000
_POINTS = 101
_JOINT_DRIFTS = 4000
_HALVINGS = 30
_HALVINGS_ALONE = 12
FREE = 0.999
"""Share of a factor's range on both sides from which on it need not be held at all."""

COLUMNS = [
    "factor",
    "kind",
    "setting",
    "low",
    "high",
    "joint_low",
    "joint_high",
    "levels",
    "breaks_low",
    "breaks_high",
    "care",
]
HOLD, SOME, UNTIL_KNOWN, NO_CARE = "hold it", "some care", "hold until known", "need not be held"


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Tolerances:
    """How far each setting may drift.

    Attributes
    ----------
    table : DataFrame
        One row per factor, the one to hold closest first: `factor`, `kind`, `setting`; `low`, `high`, how far it may drift by
        itself (whole numbers for a count; NaN for levels); `joint_low`, `joint_high`, how far all numbers may drift at the same
        time; `levels`, those that are still fine; `breaks_low`, `breaks_high`, the outcome that goes first on either side
        (empty where the range of the factor ends first); `care`, one of *hold it*, *some care*, *hold until known* (as far as
        the log can tell it may do nothing, or too much; the bounds are those it has if it acts), *need not be held*.
    probability : float
        With which all outcomes stay as promised within these bounds.
    chance : float
        The same with every setting exactly as it should be.
    notes : tuple of str
        What else must be known.
    headline : str
        The answer in one sentence.
    """

    table: pd.DataFrame
    probability: float
    chance: float
    notes: tuple[str, ...]
    headline: str

    def to_frame(self) -> pd.DataFrame:
        """Return the tolerances, at full precision."""
        return self.table.copy()

    def summary(self) -> str:
        """Return the tolerances as text."""
        rows = [f"  {row['factor']}: {drift_text(row)} - {row['care']}{_first(row)}" for row in _rows(self.table)]
        return "\n".join([self.headline, "", *rows, "", *(f"Note: {note}" for note in self.notes)]).rstrip() + "\n"

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><th>{html.escape(row['factor'])}</th><td>{html.escape(drift_text(row))}</td><td>{row['care']}</td></tr>"
            for row in _rows(self.table)
        )
        return f"<p><strong>{html.escape(self.headline)}</strong></p><table>{rows}</table>"

    def __repr__(self) -> str:
        return f"<Tolerances: {self.headline}>"


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]


def drift_text(row: Mapping[str, Any]) -> str:
    """Write how far one setting may drift: ``20 (15 to 32)``, ``9 (8 or 9)``, ``poly (or bamboo)``."""
    if row["low"] != row["low"]:
        others = [level for level in row["levels"] if level != row["setting"]]
        return f"{row['setting']} ({'or ' + listed(others) if others else 'no other'})"
    setting = exact(float(row["setting"]))
    if row["low"] == row["high"]:
        return f"{setting} (no other)" if row["kind"] == "count" else f"{setting} (as near as can be)"
    if row["kind"] == "count" and row["high"] - row["low"] == 1:
        return f"{setting} ({exact(row['low'])} or {exact(row['high'])})"
    return f"{setting} ({number(row['low'])} to {number(row['high'])})"


def _first(row: Mapping[str, Any]) -> str:
    names = list(dict.fromkeys(name for name in (row["breaks_low"], row["breaks_high"]) if name))
    return f" ({listed(names, 'and')} would go first)" if names else ""


def tolerances(
    draws: Sequence[tuple[Outcome, Draws]],
    factors: Sequence[Factor],
    settings: Mapping[str, object],
    *,
    probability: float = PROBABILITY,
    limits: Sequence[Limit] = (),
    derived: Sequence[Derived] = (),
    seed: int = 1,
) -> Tolerances:
    """Work out how far each setting may drift.

    A setting is still fine where, with the stated probability, every outcome at once keeps its limits (`worst` of goals raise,
    lower and hit; the range of goal within) and loses no more than what `matters` against the settings as they should be; an
    outcome without a goal may move by what matters either way. That probability is counted over joint posterior draws, each
    with the offset that one build may have. First each factor is moved by itself, then all numbers drift together, evenly
    spread within their tolerances, which are narrowed by one common share until the probability holds. A factor with room over
    its whole range need not be held only if that is so in the worlds in which it acts, too (`_if_it_acts`).

    Parameters
    ----------
    draws : sequence of (Outcome, Draws)
        The outcomes that count, each with the same number of posterior draws.
    factors : sequence of Factor
    settings : mapping of str to setting
        As they should be, one entry per factor.
    probability : float
        Between 0.5 and 1.
    limits, derived : sequence of Limit, sequence of Derived
        Rules that no drift of one factor by itself may break, and the quantities they use.
    seed : int
        Of build offsets and drifts.

    Returns
    -------
    Tolerances

    Raises
    ------
    UsageError
        If the probability is out of its range.
    DataError
        If no outcome says what it must keep, or a setting is missing or not allowed.
    """
    check_number("probability", probability)
    seed = check_whole("seed", seed)
    if not 0.5 <= probability < 1:
        raise UsageError(f"probability is {probability}; it must be from 0.5 to less than 1.")
    judged = [(outcome, drawn) for outcome, drawn in draws if outcome.goal is not None or outcome.matters is not None]
    if not judged:
        raise DataError(
            "No outcome has a goal or says what matters, so nothing limits a drift; set 'matters' on one of them."
        )
    nominal = _read(factors, settings)
    watch = Watch(judged, factors, nominal, np.random.default_rng(seed), limits, derived)
    chance = float(watch.kept(pd.DataFrame([nominal])).all(axis=0).mean())
    rows = [_row(watch, factor, nominal[factor.name], probability) for factor in factors]
    if chance >= probability:
        rows = [
            _if_it_acts(watch, row, factor, probability, chance) if row[-1] == NO_CARE else row
            for row, factor in zip(rows, factors, strict=True)
        ]
    table = pd.DataFrame(rows, columns=COLUMNS)
    share = (
        _joint_share(watch, table, factors, probability, np.random.default_rng(seed + 1))
        if chance >= probability
        else 0.0
    )
    table["joint_low"], table["joint_high"] = _joint(table, share)
    order = np.argsort([_room(row, factor) for row, factor in zip(rows, factors, strict=True)], kind="stable")
    table = table.iloc[order].reset_index(drop=True)
    notes = (*_notes(table, share, chance, probability), *(_takes_up(rule) for rule in watch.sums))
    return Tolerances(table, probability, chance, notes, _headline(table, chance, probability))


def _read(factors: Sequence[Factor], settings: Mapping[str, object]) -> dict[str, Value]:
    missing = [factor for factor in factors if factor.name not in settings]
    if missing:
        raise DataError(f"The settings have no {missing[0].name}; it {missing[0].allowed()}.")
    return {factor.name: factor.read(settings[factor.name]) for factor in factors}


def _row(watch: Watch, factor: Factor, setting: Value, probability: float) -> tuple[Any, ...]:
    if not factor.is_numeric:
        chances, _ = watch.moved(factor, list(factor.levels))
        levels = tuple(level for level, chance in zip(factor.levels, chances, strict=True) if chance >= probability)
        care = NO_CARE if len(levels) == len(factor.levels) else HOLD if len(levels) <= 1 else SOME
        return factor.name, factor.kind, setting, np.nan, np.nan, np.nan, np.nan, levels, "", "", care
    low, breaks_low = _end(watch, factor, float(setting), factor.span[0], probability)
    high, breaks_high = _end(watch, factor, float(setting), factor.span[1], probability)
    care = _care(factor, float(setting), low, high)
    return factor.name, factor.kind, setting, low, high, low, high, (), breaks_low, breaks_high, care


def _if_it_acts(
    watch: Watch, row: tuple[Any, ...], factor: Factor, probability: float, chance: float
) -> tuple[Any, ...]:
    """Give the room of a factor that seems free, in the worlds in which it acts; *hold until known* where that is less.

    Among all worlds one that may well bend the outcome by twice what matters passes for free as long as it acts in fewer than
    one in ten. Asking for the verdict *too small* instead would be too strict: what can only gain by a drift, or keeps far from
    its limits, need not be known. So the worlds are those in which one of its terms acts, as verdicts are judged given that.
    With the settings as they should be all may be kept less often there, which is no fault of a drift: the bar is lower then.
    Simulated (288 logs of 10 to 28 builds, a bend of 0.7 or 1.4 where 0.5 matters, seeds 4000 to 4011): over all worlds a bent
    factor passes for free in 129, in those where it acts, too, in 15; an idle one in 259 and 151, among them all 45 too small.
    """
    setting = watch.nominal[factor.name]
    for place, (outcome, drawn) in enumerate(watch.judged):
        terms = _terms_of(factor, drawn)
        if not terms:
            return _held_still(row, factor, outcome.name)
        for worlds in _acting(drawn, terms):
            judged = [*watch.judged[:place], (outcome, worlds), *watch.judged[place + 1 :]]
            supposed = Watch(
                judged, watch.factors, watch.nominal, np.random.default_rng(place), watch.limits, watch.derived
            )
            here = float(supposed.kept(pd.DataFrame([watch.nominal])).all(axis=0).mean())
            row = _tighter(row, _row(supposed, factor, setting, probability * min(1.0, here / chance)))
    return row


def _terms_of(factor: Factor, drawn: Draws) -> list[Term]:
    """List the terms that a factor is in, by itself or through a derived quantity."""
    names = {factor.name, *(quantity.name for quantity in drawn.coding.derived if factor.name in quantity.parsed.names)}
    return [term for term in drawn.terms if names & set(term.factors)]


def _acting(drawn: Draws, terms: Sequence[Term]) -> Iterator[Draws]:
    """Yield the draws in which each term acts, as many as there were; bends and interactions that are excluded are left out."""
    count = len(drawn.included)
    for term in terms:
        acts = np.flatnonzero(drawn.included[:, drawn.terms.index(term)])
        if not len(acts) or len(acts) == count or (not term.is_main and len(acts) < EXCLUDED * count):
            continue
        which = np.resize(acts, count)
        yield replace(
            drawn,
            coefficients=drawn.coefficients[which],
            included=drawn.included[which],
            build_sd=drawn.build_sd[which],
            reading_sd=drawn.reading_sd[which],
            variant_means=drawn.variant_means[which],
        )


def _tighter(row: tuple[Any, ...], other: tuple[Any, ...]) -> tuple[Any, ...]:
    """Join the rooms of one factor, that with all worlds and that with those in which it acts."""
    named = dict(zip(COLUMNS, row, strict=True)) | {"care": UNTIL_KNOWN}
    found = dict(zip(COLUMNS, other, strict=True))
    if found["care"] == NO_CARE:
        return row
    if found["low"] != found["low"]:  # levels
        named["levels"] = tuple(level for level in named["levels"] if level in found["levels"])
        return tuple(named.values())
    if found["low"] > named["low"]:
        named |= {name: found[name] for name in ("low", "joint_low", "breaks_low")}
    if found["high"] < named["high"]:
        named |= {name: found[name] for name in ("high", "joint_high", "breaks_high")}
    return tuple(named.values())


def _held_still(row: tuple[Any, ...], factor: Factor, outcome: str) -> tuple[Any, ...]:
    """Give no room to a factor of which an outcome's log says nothing, as it never was varied there."""
    still = dict(zip(COLUMNS, row, strict=True)) | {"care": UNTIL_KNOWN}
    if factor.is_numeric:
        still |= dict.fromkeys(("low", "high", "joint_low", "joint_high"), still["setting"])
        still |= dict.fromkeys(("breaks_low", "breaks_high"), outcome)
    else:
        still["levels"] = (still["setting"],)
    return tuple(still.values())


def _care(factor: Factor, setting: float, low: float, high: float) -> str:
    start, end = factor.span
    if high - low >= FREE * (end - start):
        return NO_CARE
    least = factor.step if factor.step is not None else 0.05 * (end - start)
    above = high - setting if setting < end else np.inf
    below = setting - low if setting > start else np.inf
    return HOLD if min(above, below) < least else SOME


def _end(watch: Watch, factor: Factor, setting: float, end: float, probability: float) -> tuple[float, str]:
    """Walk from the setting to one end of the range, and return where it is no longer fine, and which outcome goes first."""
    if setting == end:
        return end, ""
    steps = round(abs(end - setting)) if factor.kind == "count" else _POINTS - 1
    points = np.linspace(setting, end, steps + 1).tolist()
    chances, worst = watch.moved(factor, points)
    bad = np.flatnonzero(chances < probability)
    if not len(bad):
        return end, ""
    first = int(bad[0])
    if first == 0:
        return setting, worst[0]
    if factor.kind == "count":
        return float(points[first - 1]), worst[first]
    fine, not_fine = float(points[first - 1]), float(points[first])
    for _ in range(_HALVINGS_ALONE):
        middle = (fine + not_fine) / 2
        is_fine = watch.moved(factor, [middle])[0][0] >= probability
        fine, not_fine = (middle, not_fine) if is_fine else (fine, middle)
    return fine, worst[first]


def _joint_share(
    watch: Watch, table: pd.DataFrame, factors: Sequence[Factor], probability: float, rng: np.random.Generator
) -> float:
    """Return the largest common share of the single tolerances that keeps the probability when all numbers drift at once."""
    drifting = table[table["kind"] == "continuous"]
    spots = rng.uniform(-1.0, 1.0, (_JOINT_DRIFTS, len(drifting)))

    def chance(share: float) -> float:
        settings = pd.DataFrame([watch.nominal] * _JOINT_DRIFTS)
        for column, row in enumerate(_rows(drifting)):
            spot, centre = spots[:, column], float(row["setting"])
            reach = np.where(spot < 0, centre - row["low"], row["high"] - centre)
            settings[row["factor"]] = centre + share * spot * reach
        return watch.chance_at(watch.made_up(settings))

    if drifting.empty or chance(1.0) >= probability:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle) >= probability else (low, middle)
    return low


def _joint(table: pd.DataFrame, share: float) -> tuple[Array, Array]:
    """Narrow the tolerances of drifting numbers by one share; a count or a level is chosen, it does not drift."""
    is_drifting = (table["kind"] == "continuous").to_numpy()
    centre = np.array([float(value) if not isinstance(value, str) else np.nan for value in table["setting"]])
    low, high = table["low"].to_numpy(dtype=float), table["high"].to_numpy(dtype=float)
    return (
        np.where(is_drifting, centre - share * (centre - low), low),
        np.where(is_drifting, centre + share * (high - centre), high),
    )


def _room(row: Sequence[Any], factor: Factor) -> float:
    """Return the share of a factor's range, or of its levels, that is still fine."""
    if not factor.is_numeric:
        return len(row[7]) / len(factor.levels)
    start, end = factor.span
    return float((row[4] - row[3]) / (end - start))


def _headline(table: pd.DataFrame, chance: float, probability: float) -> str:
    if chance < probability:
        return (
            f"Even with every setting as it should be, all outcomes are kept with {percent(chance)} only, less than the "
            f"{percent(probability)} asked for, so there is no room for any drift."
        )
    free = _with_care(table, NO_CARE)
    held = _with_care(table, HOLD)
    parts = []
    if held:
        parts.append(f"Hold {listed(held, 'and')}")
    some = _with_care(table, SOME)
    if some:
        parts.append(f"{'take' if parts else 'Take'} some care with {listed(some, 'and')}")
    unknown = _with_care(table, UNTIL_KNOWN)
    if unknown:
        parts.append(
            f"{'hold' if parts else 'Hold'} {listed(unknown, 'and')} until the log can tell all that {_does(unknown)}"
        )
    if free:
        parts.append(f"{'do' if parts else 'Do'} not care about {listed(free, 'and')}")
    return f"{'; '.join(parts)}."


def _notes(table: pd.DataFrame, share: float, chance: float, probability: float) -> tuple[str, ...]:
    if chance < probability:
        return ()
    notes = [
        f"Within these bounds, one setting moved at a time, all outcomes are kept with at least {percent(probability)}."
    ]
    unknown = _with_care(table, UNTIL_KNOWN)
    if unknown:
        named = _does(unknown, listed(unknown, "and"))
        notes.append(
            f"The log cannot tell yet all that {named}; build other settings to find out. The bounds hold even so."
        )
    drifting = [spaced(str(name)) for name in table[(table["kind"] == "continuous")]["factor"]]
    if len(drifting) > 1 and share < 1.0:
        notes.append(
            f"Where {listed(drifting, 'and')} drift together, keep to {percent(share)} of that on either side."
        )
    return tuple(notes)


def _takes_up(rule: Sum) -> str:
    """Say what makes up for a drift where settings must add up."""
    rest, other = spaced(rule.rest.name), spaced(rule.takes_up(rule.rest).name)
    return f"A drift is taken to be made up for by {rest}, one of {rest} by {other}, so that '{rule.rule}' stays true."


def _with_care(table: pd.DataFrame, care: str) -> list[str]:
    return [spaced(str(name)) for name in table.loc[table["care"] == care, "factor"]]


def _does(names: Sequence[str], spoken: str = "") -> str:
    return f"{spoken or ('it' if len(names) == 1 else 'they')} {'does' if len(names) == 1 else 'do'}"
